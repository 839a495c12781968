"""The season's direct sun."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.say import share
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class Sun:
    """Scores the sun as a share of open flat ground, under terrain, trees and buildings."""

    name = "sun"
    title = "Sun in the storage season"
    reads = ("sun_share",)
    source = "handbook, yards.sun (judgement); sun dries: Martinson, Univ. Minnesota"
    order = 63

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Rise from 0 to 1 with the share."""
        sun = site.array("sun_share")
        worst, good = options.book.value("yards.sun.worst"), options.book.value("yards.sun.good")
        return site.rating(ramp(sun, (worst, good), (0, 1)), site.everywhere(True), sun, "1")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say how much sun it gets."""
        if score >= 0.99:
            return f"Full sun: {share(value)} of open flat ground over the storage season."
        shade = "shaded" if score < 0.5 else "lightly shaded"
        return f"{share(value)} of the sun of open flat ground: {shade} by hills, trees or buildings."


CRITERION = Sun()
