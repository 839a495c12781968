"""Natural drainage of the soil."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions

_NAMES = {
    1: "excessively drained",
    2: "somewhat excessively drained",
    3: "well drained",
    4: "moderately well drained",
    5: "somewhat poorly drained",
    6: "poorly drained",
    7: "very poorly drained",
    8: "under water",
}


class Drainage:
    """Scores the drainage class; refuses soils that stay wet."""

    name = "drainage"
    title = "Soil drainage"
    reads = ("drainage_class",)
    source = "soil survey classes; scores are judgement, handbook, yards.drainage"
    order = 30
    of_yard = "greatest"
    curable = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Look the class up."""
        kind = site.array("drainage_class")
        well, fair, poor, wet = (
            options.book.value(f"yards.drainage.{k}") for k in ("well", "moderately_well", "somewhat_poorly", "poorly")
        )
        worst = options.book.value("yards.drainage.worst_class")
        table = np.array([np.nan, well, well, well, fair, poor, wet, wet, 0.0], np.float32)
        score = table[np.nan_to_num(np.rint(kind)).astype(np.uint8)]
        return site.rating(score, ~(kind > worst), kind, "1", limit=worst)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Name the class."""
        name = _NAMES[round(value)].capitalize()
        if not allowed:
            return f"{name} soil: bales on it soak from below and machines sink in."
        return f"{name} soil."


CRITERION = Drainage()
