"""High ground: the higher a stack stands above the lowest ground of the farm, the better."""

import numpy as np

from stovergeo.core.messages import Catalog, Message
from stovergeo.siting import Rating, Site, SiteOptions

message = Catalog("meadow_rules")


class HighGround:
    """Scores by height over the lowest ground; forbids nothing."""

    name = "high_ground"
    title = "High ground"
    reads = ("elevation_m",)
    source = "judgment"

    def rate(self, site: Site, options: SiteOptions) -> Rating:
        """Score 0 at the lowest ground of the farm, 1 at the highest."""
        height = site.array("elevation_m")
        above = height - np.nanmin(height)
        return site.rating(above / max(np.nanmax(above), 0.01), np.ones(site.shape, bool), above, "m")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how high the ground lies."""
        return message("high_ground.above", height=value)


CRITERION = HighGround()
