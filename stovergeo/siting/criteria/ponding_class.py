"""Water that stands on the soil, by the soil survey's class."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions

_NAMES = ("no", "rare", "occasional", "frequent")


class PondingClass:
    """Refuses soils on which water often stands."""

    name = "ponding_class"
    title = "Ponding by soil"
    reads = ("ponding_class",)
    source = "soil survey classes; scores are judgement, handbook, yards.ponding"
    order = 21
    of_yard = "greatest"
    curable = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Look the class up."""
        kind = site.array("ponding_class")
        rare, worst = options.book.value("yards.ponding.rare"), options.book.value("yards.ponding.worst_class")
        score = np.where(kind <= 0, 1.0, np.where(kind <= 1, rare, 0.0))
        return site.rating(np.where(np.isnan(kind), np.nan, score), ~(kind > worst), kind, "1", limit=worst)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Name the class."""
        name = _NAMES[round(value)]
        return f"The soil survey gives {name} ponding{'' if allowed else ': water would stand under the bales'}."


CRITERION = PondingClass()
