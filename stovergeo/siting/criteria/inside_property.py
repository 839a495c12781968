"""Only ground that belongs to the farm."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_erosion

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message

_AROUND = np.ones((3, 3), bool)


class InsideProperty:
    """Forbids ground outside the property."""

    name = "inside_property"
    title = "On the farm's own ground"
    reads = ("inside_property",)
    source = "the layers given"
    order = 0

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Allow cells marked as inside; a cell of unknown standing is outside.

        A cell is marked by its centre, so one on the line lies partly outside. Where
        property lines are given their own clear distance sees to that; where they are
        not, the outermost cells are left out.
        """
        inside = site.array("inside_property")
        own = np.nan_to_num(inside) >= 1
        if site.layer("property") is None:
            own = binary_erosion(own, _AROUND, border_value=1)
        return site.rating(own, own, inside, "1", limit=1.0)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whose ground it is."""
        if allowed:
            return message("inside_property.inside")
        return message("inside_property.edge" if value >= 1 else "inside_property.outside")


CRITERION = InsideProperty()
