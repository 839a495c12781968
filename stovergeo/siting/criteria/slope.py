"""Ground steep enough to drain, not so steep that bales roll."""

from __future__ import annotations

import numpy as np

from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, ramp


class Slope:
    """Best between two slopes, nothing on the flat, forbidden where too steep."""

    name = "slope"
    title = "Slope"
    reads = ("slope_pct",)
    source = "handbook, yards.slope"
    order = 40

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Score by a trapezoid over slope."""
        slope = site.array("slope_pct")
        flat, low, high, most = (
            options.book.value(f"yards.slope.{k}") for k in ("worst_flat", "best_low", "best_high", "most")
        )
        return site.rating(ramp(slope, (flat, low, high, most), (0, 1, 1, 0)), ~(slope >= most), slope, "%", limit=most)

    def words(self, value: float, score: float, allowed: bool, *, units: str = "us", limit: float = np.nan) -> str:
        """Say what the slope does to rain and machines."""
        if not allowed:
            return f"Too steep: {value:.1f} % slope; bales roll and loaders tip from {limit:g} %."
        if score >= 0.95:
            return f"{value:.1f} % slope: rain runs off, and it is easy to work on."
        if value < limit / 2 and score >= 0.8:
            return f"{value:.1f} % slope: gentle, rain runs off."
        if value < limit / 2:
            return f"{value:.1f} % slope: {'a little' if score >= 0.7 else 'too'} flat, water leaves slowly."
        if score >= 0.7:
            return f"{value:.1f} % slope: drains well, a little steep for loading."
        return f"{value:.1f} % slope: steep; chock the rows and load from above."


CRITERION = Slope()
