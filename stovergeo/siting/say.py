"""Numbers in the reader's units."""

from __future__ import annotations

import math

from stovergeo.core.units import HA_PER_ACRE, M_PER_FT, M_PER_IN, M_PER_MI


def length(metres: float, units: str) -> str:
    """Return a length as text: ``length(30.48, "us") == "100 ft"``; miles or kilometres when it is long."""
    if not math.isfinite(metres):
        return "an unknown distance"
    if units == "metric":
        return f"{metres / 1000:.1f} km" if metres >= 1000 else f"{metres:.0f} m" if metres >= 10 else f"{metres:.1f} m"
    feet = metres / M_PER_FT
    return f"{metres / M_PER_MI:.1f} miles" if feet >= 2640 else f"{feet:.0f} ft"


def depth(metres: float, units: str) -> str:
    """Return a small depth as text: ``depth(0.1524, "us") == "6 in"``."""
    return f"{metres * 100:.0f} cm" if units == "metric" else f"{metres / M_PER_IN:.0f} in"


def area(hectares: float, units: str) -> str:
    """Return an area as text."""
    return f"{hectares:.2f} ha" if units == "metric" else f"{hectares / HA_PER_ACRE:.2f} acres"


def share(value: float) -> str:
    """Return a share of one as whole percent."""
    return f"{100 * value:.0f} %"
