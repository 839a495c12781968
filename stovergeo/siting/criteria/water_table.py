"""How near free water comes to the surface in the year."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.say import length
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class WaterTable:
    """Refuses ground whose water table comes near the surface."""

    name = "water_table"
    title = "Water table"
    reads = ("water_table_cm",)
    source = "depths: Soil Survey Manual; scores are judgement, handbook, yards.water_table"
    order = 32
    of_yard = "least"
    curable = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Rise from 0 to 1 with depth."""
        deep = site.array("water_table_cm")
        least, poor, fair, good = (
            options.book.value(f"yards.water_table.{k}") for k in ("least", "poor", "fair", "good")
        )
        score = ramp(deep, (least, poor, fair, good), (0, 0.35, 0.7, 1))
        return site.rating(score, ~(deep < least), deep, "cm", limit=least)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say how deep the water stands."""
        if value >= 200:
            return "No water within 7 ft of the surface." if units == "us" else "No water within 2 m of the surface."
        deep = length(value / 100, units)
        return f"Water comes within {deep} of the surface{'' if allowed else ': too near for bales'}."


CRITERION = WaterTable()
