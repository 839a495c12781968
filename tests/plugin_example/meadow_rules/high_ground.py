"""High ground: the higher a stack stands above the lowest ground of the farm, the better."""

import numpy as np

from stovergeo.core.units import M_PER_FT
from stovergeo.siting import Rating, Site, SiteOptions


class HighGround:
    """Scores by height over the lowest ground; forbids nothing."""

    name = "high_ground"
    title = "High ground"
    reads = ("elevation_m",)
    source = "judgement"

    def rate(self, site: Site, options: SiteOptions) -> Rating:
        """Score 0 at the lowest ground of the farm, 1 at the highest."""
        height = site.array("elevation_m")
        above = height - np.nanmin(height)
        return site.rating(above / max(np.nanmax(above), 0.01), np.ones(site.shape, bool), above, "m")

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say how high the ground lies."""
        high = f"{value / M_PER_FT:.0f} ft" if units == "us" else f"{value:.1f} m"
        return f"{high} above the lowest ground of the farm."


CRITERION = HighGround()
