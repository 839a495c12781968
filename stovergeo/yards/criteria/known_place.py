"""Places the grower already uses or proposes."""

from __future__ import annotations

import numpy as np

from stovergeo.yards.site import NotChecked, Rating, Site, SiteOptions


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
        known = np.zeros(site.shape, bool) if frame is None else site.touched(list(frame.geometry))
        # where none is given the criterion says nothing and weighs nothing
        score = np.full(site.shape, np.nan) if frame is None else np.where(known, 1, 0.7)
        return site.rating(score, np.ones(site.shape, bool), known, "1")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say whether the grower named it."""
        return "The grower uses or proposes this place." if value >= 0.5 else "A new place."


CRITERION = KnownPlace()
