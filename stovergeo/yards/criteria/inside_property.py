"""Only ground that belongs to the farm."""

from __future__ import annotations

import numpy as np

from stovergeo.yards.site import NotChecked, Rating, Site, SiteOptions


class InsideProperty:
    """Forbids ground outside the property."""

    name = "inside_property"
    title = "On the farm's own ground"
    reads = ("inside_property",)
    source = "the layers given"
    order = 0

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Allow cells marked as inside; a cell of unknown standing is outside."""
        inside = site.array("inside_property")
        own = np.nan_to_num(inside) >= 1
        return site.rating(np.where(own, 1.0, 0.0), own, inside, "1", limit=1.0)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say whose ground it is."""
        return "Inside the property." if allowed else "Outside the property."


CRITERION = InsideProperty()
