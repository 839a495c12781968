"""Places the grower already uses or proposes."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message


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

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether the grower named it."""
        return message("known_place.named" if value >= 0.5 else "known_place.new")


CRITERION = KnownPlace()
