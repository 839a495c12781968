"""Where a falling tree would land."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, around, message, no_layer


class TreeFall:
    """Scores down the ground within one tree height of the crowns."""

    name = "tree_fall"
    title = "Out of reach of falling trees"
    reads = ()
    source = "plane geometry: a tree reaches its own height; the score is judgement, handbook, yards.trees.fall_score"
    order = 64

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Mark the ground within each tree's height."""
        if not site.given("trees"):
            return no_layer("trees")
        frame = site.layer("trees")
        reach = np.zeros(site.shape, bool)
        if frame is not None and "height_m" in frame.columns:
            tall = frame[frame["height_m"] > 0]
            if len(tall):
                reach = site.touched([around(tall.geometry, tall["height_m"].to_numpy(float))])
        elif frame is not None:
            return NotChecked(message("not_checked.no_heights", layer=message("layer.trees")))
        low = options.coefficients.value("yards.trees.fall_score")
        return site.rating(np.where(reach, low, 1), site.everywhere(True), reach, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether a tree would reach it."""
        return message("tree_fall.reached" if value >= 0.5 else "tree_fall.clear")


CRITERION = TreeFall()
