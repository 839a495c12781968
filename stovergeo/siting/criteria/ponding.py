"""Hollows that hold water, from the elevation."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.say import depth
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class Ponding:
    """Refuses hollows deeper than the noise of the elevation."""

    name = "ponding"
    title = "Hollows that hold water"
    reads = ("ponding_m",)
    source = "fill depth; the least depth that counts is judgement, handbook, yards.ponding.most_m"
    order = 22
    of_yard = "greatest"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Fall from 1 to 0 with the depth to which the place fills."""
        deep = site.array("ponding_m")
        most = options.book.value("yards.ponding.most_m")
        return site.rating(ramp(deep, (0, most), (1, 0)), ~(deep >= most), deep, "m", limit=most)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say how deep water would stand."""
        if not allowed:
            return f"A hollow: water stands up to {depth(value, units)} deep here before it runs off."
        return "Water does not stand here." if value < 0.01 else f"A shallow dip, at most {depth(value, units)} deep."


CRITERION = Ponding()
