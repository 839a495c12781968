"""Height above the nearest drainage."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.say import length
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class DrainageHeight:
    """Refuses bottom ground."""

    name = "drainage_height"
    title = "Height above drainage"
    reads = ("drainage_height_m",)
    source = "Renno et al. 2008 height; limits are judgement, handbook, yards.drainage_height"
    order = 24
    of_yard = "least"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Rise from 0 to 1 with height."""
        height = site.array("drainage_height_m")
        least, good = (
            options.book.value("yards.drainage_height.least"),
            options.book.value("yards.drainage_height.good"),
        )
        return site.rating(ramp(height, (least, good), (0.3, 1)), ~(height < least), height, "m", limit=least)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say how high it lies."""
        if not allowed:
            return f"Bottom ground: less than {length(limit, units)} above the drainage, wet whenever it runs."
        return f"{length(value, units)} above the nearest drainage."


CRITERION = DrainageHeight()
