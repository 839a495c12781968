"""The base the ground needs, by its cost."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message
from stovergeo.siting.yard import base_kind, kind_message

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
        kind = base_kind(
            site.array("drainage_class"),
            site.array("clay_pct"),
            options.coefficients.value("yards.clay.good"),
            options.coefficients.value("yards.clay.fair"),
            options.coefficients.value("yards.clay.most"),
        )
        value = np.where(kind == 0, np.nan, kind)
        return site.rating(_SCORES[kind], site.everywhere(True), value, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Name the base."""
        return message("base.criterion", base=kind_message(round(value)))


CRITERION = Base()
