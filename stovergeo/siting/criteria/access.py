"""A way for loaded machines from a road or gate."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp
from stovergeo.siting.way import way_m

#: layers that a machine cannot drive over
_BARRIERS = ("water", "buildings", "trees")


class Access:
    """Refuses ground that no loaded mover can reach; scores the rest by the length of the way."""

    name = "access"
    title = "Route to a road or gate"
    reads = ()
    source = "least-cost route over the ground; limits are judgement, handbook, yards.way"
    order = 45
    of_yard = "way"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Find the easiest route from every cell to the nearest road or gate."""
        starts = [
            shape for name in ("roads", "gates") if (frame := site.layer(name)) is not None for shape in frame.geometry
        ]
        start = site.touched(starts)
        if not start.any():
            return NotChecked(message("not_checked.no_way", layers=(message("layer.roads"), message("layer.gates"))))
        most, weight = (
            options.coefficients.value("yards.way.slope_max"),
            options.coefficients.value("yards.way.slope_weight"),
        )
        hardness = np.ones(site.shape, np.float32)
        if "slope_pct" in site.stack:
            slope = np.nan_to_num(site.array("slope_pct"))
            hardness = np.where(slope > most, np.nan, 1 + weight * slope).astype(np.float32)
        for name in _BARRIERS:
            if (frame := site.layer(name)) is not None:
                hardness[site.touched(list(frame.geometry))] = np.nan
        if (own := site.layer("property")) is not None:
            # nobody drives over the neighbour's ground, but the verge between road and line is crossed
            verge = site.distance_m("roads") <= options.coefficients.value("yards.way.verge")
            hardness[~site.touched(list(own.geometry)) & ~verge] = np.nan
        way = way_m(start, hardness, site.cell_m)
        good, far = options.coefficients.value("yards.way.good"), options.coefficients.value("yards.way.far")
        reached = np.isfinite(way)
        score = np.where(reached, ramp(way, (good, far, 3 * far), (1, 0.2, 0)), 0)
        return site.rating(score, reached, way, "m", limit=most)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how long the way is, or what cuts it."""
        if not allowed:
            return message("access.no_way", limit=limit)
        return message("access.way", value=value)


CRITERION = Access()
