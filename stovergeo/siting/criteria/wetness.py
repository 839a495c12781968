"""Topographic wetness, by rank on the farm."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp


class Wetness:
    """Scores by rank: absolute values change with cell size and flow method."""

    name = "wetness"
    title = "Lie of the ground, wet or dry"
    reads = ("wetness",)
    source = "Beven & Kirkby 1979 index, ranked within the farm; scores are judgement, handbook, yards.wetness"
    order = 62

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Rank each cell among all cells of the grid."""
        wetness = site.array("wetness")
        known = wetness[np.isfinite(wetness)]
        # 1,001 quantiles rank to a tenth of a percent; sorting every cell would cost far more
        shares = np.linspace(0, 1, 1001)
        marks = np.quantile(known[:: max(1, known.size // 200_000)], shares)
        # a value that much of the ground has gets the middle of its ranks
        marks, first, count = np.unique(marks, return_index=True, return_counts=True)
        rank = np.interp(wetness, marks, shares[first] + (count - 1) / 2000)
        dry, wet = (
            options.coefficients.value("yards.wetness.dry_rank"),
            options.coefficients.value("yards.wetness.wet_rank"),
        )
        return site.rating(ramp(rank, (dry, wet), (1, 0)), site.everywhere(True), rank, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how it ranks."""
        if value <= 0.5:
            return message("wetness.dry", drier=1 - value)
        return message("wetness.wet", wetter=value)


CRITERION = Wetness()
