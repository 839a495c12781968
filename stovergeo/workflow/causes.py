"""What most likely makes a yield some times as much as it should be."""

from __future__ import annotations

import math
from typing import Final

from stovergeo.core.messages import Catalog, Message
from stovergeo.core.units import CORN_MARKET_MOISTURE, KG_PER_LB, M_PER_FT

message = Catalog("stovergeo.workflow")
_DRY: Final = 1 - CORN_MARKET_MOISTURE
#: recorded over true -> key of the cause
CAUSES: Final = {
    "kg_as_lb": KG_PER_LB,
    "lb_as_kg": 1 / KG_PER_LB,
    "half": 0.5,
    "double": 2.0,
    "dry_as_wet": _DRY,
    "wet_as_dry": 1 / _DRY,
    "ft_as_m": M_PER_FT,
    "m_as_ft": 1 / M_PER_FT,
}
#: how near a factor lies to that of its cause, as a share (judgment)
NEAR: Final = 0.02


def likely_cause(ratio: float, near: float = NEAR) -> Message | None:
    """Return what makes a recorded yield `ratio` times the true one, or None where no usual error does."""
    apart = {name: abs(ratio / factor - 1) for name, factor in CAUSES.items()}
    name = min(apart, key=lambda n: apart[n])
    return message(f"cause.{name}") if apart[name] <= near else None


def with_cause(said: Message, ratio: float) -> Message:
    """Return what is said of a ratio of yields with its likely cause."""
    far = abs(math.log(ratio)) > math.log(1.4)  # nearer to one, crops explain as much as any wrong unit
    cause = likely_cause(ratio, near=0.1) if far else None
    return message("pair.two", one=said, other=cause or message("cause.calibration"))
