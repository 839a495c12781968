"""Waterways: where runoff gathers after heavy rain."""

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
        # centres of two cells are farther apart than the cells themselves by up to one diagonal
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


CRITERION = FlowPath()
