"""Out of the way of planting."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.distance import distance_to_cells
from stovergeo.siting.say import length
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


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
            return NotChecked("Distance from the field's edge: the field fills the map.")
        inward = distance_to_cells(outside, site.cell_m)
        good, far, least = (options.book.value(f"yards.field_edge.{k}") for k in ("good", "far", "least"))
        return site.rating(ramp(inward, (good, far), (1, least)), site.everywhere(True), inward, "m")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say where it lies."""
        if value <= 0:
            return "Outside the crop ground."
        return (
            f"{length(value, units)} in from the edge of the field{'' if score > 0.8 else ': in the way of planting'}."
        )


CRITERION = FieldEdge()
