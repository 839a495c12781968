"""Places the grower already uses or proposes."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions


class KnownPlace:
    """Scores up the grower's own places; they are held to every other criterion all the same."""

    name = "known_place"
    title = "Known to the grower"
    reads = ()
    source = "the layer `yards`"
    order = 69

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Mark the grower's places."""
        frame = site.layer("yards")
        if frame is None:  # where none is given the criterion says nothing and weighs nothing
            return site.rating(site.everywhere(np.nan), site.everywhere(True), site.everywhere(0.0), "1")
        known = site.touched(list(frame.geometry))
        return site.rating(np.where(known, 1, 0.7), site.everywhere(True), known, "1")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say whether the grower named it."""
        return "The grower uses or proposes this place." if value >= 0.5 else "A new place."


CRITERION = KnownPlace()
