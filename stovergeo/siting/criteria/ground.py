"""The direction in which the ground falls, and what base it needs under bales."""

from __future__ import annotations

from typing import Final

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import SIDES, NotChecked, Rating, Site, SiteOptions, message
from stovergeo.siting.yard import base_kind, kind_message

#: latitude from which the noon sun stands on one side all year, degrees: the tropics
_TROPIC: Final = 23.44
#: cosine of the angle to the noon sun's side from which a side counts as sunny, or as shady
_SIDE: Final = 0.38


class SlopeDirection:
    """A gentle slope to the noon sun is best: to the south, south of the equator to the north.

    On flat ground it does not matter, and towards the equator ever less, since the sun stands on either side in turn.
    """

    name = "slope_direction"
    title = "Direction of the slope"
    reads = ("aspect_deg", "slope_pct")
    source = "Blasi, Kansas State 2021: gentle slope facing south or south-east; its mirror: judgment"
    order = 60
    of_yard = "direction"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Score by the cosine from the noon sun's side, faded out below the slope that drains well.

        Ground on the other side loses nothing where it gets more sun than open flat ground. The limit
        holds the noon sun's direction.
        """
        aspect, slope = site.array("aspect_deg"), site.array("slope_pct")
        least = options.coefficients.value("yards.slope.direction_min")
        full = options.coefficients.value("yards.slope.best_low")
        sunny = 180.0 if site.latitude >= 0 else 0.0
        to_sun = np.cos(np.radians(aspect - sunny))
        away = (1 - to_sun) / 2
        matters = np.clip(slope / full, 0, 1) * min(1.0, abs(site.latitude) / _TROPIC)
        score = np.where(slope < 0.1, 1.0, 1 - (1 - least) * away * matters)  # flat ground has no aspect
        if "sun_fraction" in site.stack:
            score = np.where((to_sun < -_SIDE) & (site.array("sun_fraction") > 1), 1.0, score)
        return site.rating(score, site.everywhere(True), aspect, "degree", limit=sunny)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Name the direction; of ground between, or whose sun does not tell, nothing more."""
        if np.isnan(value):
            return message("slope_direction.level")
        side = SIDES[round(value / 45) % 8]
        to_sun = np.cos(np.radians(value - limit))
        if to_sun > _SIDE:
            return message("slope_direction.early", side=side)
        late = to_sun < -_SIDE and score <= 0.75
        return message("slope_direction.late" if late else "slope_direction.falls", side=side)


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
