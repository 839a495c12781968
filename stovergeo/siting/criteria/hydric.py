"""Soils formed under water."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class Hydric:
    """Scores the hydric rating; the ground may be a wetland."""

    name = "hydric"
    title = "Hydric soil"
    reads = ("hydric",)
    source = "soil survey rating; scores are judgement, handbook, yards.hydric"
    order = 61

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Look the rating up."""
        hydric = site.array("hydric")
        unranked, wet = (options.book.value(f"yards.hydric.{k}") for k in ("unranked", "hydric"))
        return site.rating(ramp(hydric, (0, 0.5, 1), (1, unranked, wet)), site.everywhere(True), hydric, "1")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say what the rating means."""
        if value >= 0.9:
            return "Hydric soil: it may be a wetland; ask the conservation office before building on it."
        return "Not a hydric soil." if value <= 0.1 else "The soil survey does not say whether this soil is hydric."


CRITERION = Hydric()
