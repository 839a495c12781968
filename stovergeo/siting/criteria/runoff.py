"""Where runoff gathers, and how wet the ground lies."""

from __future__ import annotations

import numpy as np

from stovergeo.core.distance import distance_to_cells
from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp


class FlowPath:
    """Keeps stacks out of, and clear of, gathered flow."""

    name = "flow_path"
    title = "Clear of waterways"
    reads = ("concentrated_flow",)
    source = "handbook, setbacks.flow_path"
    order = 23
    of_yard = "least"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Forbid the clear distance around cells of gathered flow."""
        flow = site.array("concentrated_flow") >= 1
        own = options.yards.setbacks.waterway_m
        number = options.coefficients["setbacks.flow_path"]
        asked = number.value if own is None else own
        distance = distance_to_cells(flow, site.cell_m)
        # centers of two cells are farther apart than the cells themselves by up to one diagonal
        near = distance < asked + np.sqrt(2) * site.cell_m
        score = ramp(distance, (asked, max(number.high, asked + 1)), (0.6, 1))
        if not flow.any():
            score = np.ones(site.shape, np.float32)
        score[near] = 0
        return site.rating(score, ~near, distance, "m", limit=asked)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far the nearest waterway is."""
        if np.isnan(value):
            return message("flow_path.none")
        if not allowed:
            return message("flow_path.refused", limit=limit)
        return message("flow_path.clear", value=value)


FLOW_PATH = FlowPath()


class Wetness:
    """Scores by rank: absolute values change with cell size and flow method."""

    name = "wetness"
    title = "Lie of the ground, wet or dry"
    reads = ("wetness",)
    source = "Beven & Kirkby 1979 index, ranked within the farm; scores are judgment, handbook, yards.wetness"
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
        dry_wet = options.values("yards.wetness", "dry_rank", "wet_rank")
        return site.rating(ramp(rank, dry_wet, (1, 0)), site.everywhere(True), rank, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how it ranks."""
        return message("wetness.dry", drier=1 - value) if value <= 0.5 else message("wetness.wet", wetter=value)


WETNESS = Wetness()
