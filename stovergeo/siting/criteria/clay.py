"""Clay in the surface soil."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class Clay:
    """Heavy clay holds water under bales and does not carry machines."""

    name = "clay"
    title = "Clay"
    reads = ("clay_pct",)
    source = "handbook, yards.clay (judgement)"
    order = 31
    of_yard = "greatest"
    curable = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Fall from 1 to 0 with clay."""
        clay = site.array("clay_pct")
        good, fair, most = (options.book.value(f"yards.clay.{k}") for k in ("good", "fair", "most"))
        score = ramp(clay, (good, fair, most), (1, 0.7, 0))
        return site.rating(score, ~(clay >= most), clay, "%", limit=most)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say what the clay does."""
        if not allowed:
            return f"Very heavy clay ({value:.0f} %): it stays wet under bales and does not carry a loaded truck."
        if score < 0.7:
            return f"Heavy clay ({value:.0f} %): it needs a base of stone."
        return f"{value:.0f} % clay{': light soil, it drains and carries' if score >= 0.99 else ', somewhat heavy'}."


CRITERION = Clay()
