"""Flooding from streams, by the soil survey's class."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions

_NAMES = (
    "no flooding",
    "very rare flooding",
    "rare flooding",
    "occasional flooding",
    "frequent flooding",
    "very frequent flooding",
)


class Flooding:
    """Refuses ground that floods more often than rarely."""

    name = "flooding"
    title = "Flooding"
    reads = ("flooding_class",)
    source = "soil survey classes; scores are judgement, handbook, yards.flooding"
    order = 20
    of_yard = "greatest"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Look the class up."""
        kind = site.array("flooding_class")
        rare, worst = options.book.value("yards.flooding.rare"), options.book.value("yards.flooding.worst_class")
        score = np.where(kind <= 1, 1.0, np.where(kind <= 2, rare, 0.0))
        return site.rating(np.where(np.isnan(kind), np.nan, score), ~(kind > worst), kind, "1", limit=worst)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Name the class."""
        name = _NAMES[round(value)]
        return f"{name.capitalize()}." if allowed else f"{name.capitalize()}: a flood would take the bales."


CRITERION = Flooding()
