"""Out of the way of planting."""

from __future__ import annotations

import numpy as np

from stovergeo.core.distance import distance_to_cells
from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp


class FieldEdge:
    """Stacks stand into the next season: edges, headlands and farmstead ground before the middle of a field."""

    name = "field_edge"
    title = "Out of the way of planting"
    reads = ("field_number",)
    source = "handbook, yards.field_edge (judgement)"
    order = 66

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Score by the distance into the field."""
        outside = ~np.isfinite(site.array("field_number"))
        if not outside.any():  # the field fills the grid: its edge is not on the map
            return NotChecked(message("not_checked.no_edge"))
        inward = distance_to_cells(outside, site.cell_m)
        good, far, least = (options.coefficients.value(f"yards.field_edge.{k}") for k in ("good", "far", "least"))
        return site.rating(ramp(inward, (good, far), (1, least)), site.everywhere(True), inward, "m")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far in the field it lies."""
        if value <= 0:
            return message("field_edge.outside")
        return message("field_edge.near" if score > 0.8 else "field_edge.inside", value=value)


CRITERION = FieldEdge()
