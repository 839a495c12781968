"""The direction in which the ground falls, and what base it needs under bales."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import SIDES, NotChecked, Rating, Site, SiteOptions, message
from stovergeo.siting.yard import base_kind, kind_message


class SlopeDirection:
    """A gentle slope to the south is best; on flat ground it does not matter."""

    name = "slope_direction"
    title = "Direction of the slope"
    reads = ("aspect_deg", "slope_pct")
    source = "Blasi, Kansas State 2021: gentle slope facing south or south-east"
    order = 60
    of_yard = "direction"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Score by the cosine from south, faded out below the slope that drains well."""
        aspect, slope = site.array("aspect_deg"), site.array("slope_pct")
        least = options.coefficients.value("yards.slope.direction_min")
        full = options.coefficients.value("yards.slope.best_low")
        northward = (1 + np.cos(np.radians(aspect))) / 2  # 1 to the north, 0 to the south
        matters = np.clip(slope / full, 0, 1)
        score = np.where(slope < 0.1, 1.0, 1 - (1 - least) * northward * matters)  # flat ground has no aspect
        return site.rating(score, site.everywhere(True), aspect, "degree")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Name the direction."""
        if np.isnan(value):
            return message("slope_direction.level")
        side = SIDES[round(value / 45) % 8]
        return message("slope_direction.early" if score > 0.75 else "slope_direction.late", side=side)


SLOPE_DIRECTION = SlopeDirection()


_SCORES = np.array([np.nan, 1.0, 0.9, 0.6, 0.3], np.float32)


class Base:
    """Scores ground by how little has to be laid under the bales."""

    name = "base"
    title = "Base needed"
    reads = ("drainage_class", "clay_pct")
    source = "handbook, yards.base"
    order = 68

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Name the base of each cell."""
        clay = options.values("yards.clay", "good", "fair", "most")
        kind = base_kind(site.array("drainage_class"), site.array("clay_pct"), *clay)
        value = np.where(kind == 0, np.nan, kind)
        return site.rating(_SCORES[kind], site.everywhere(True), value, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Name the base."""
        return message("base.criterion", base=kind_message(round(value)))


BASE = Base()
