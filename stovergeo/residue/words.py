"""Numbers as a grower reads them."""

from __future__ import annotations

from typing import Literal

from stovergeo.core.units import HA_PER_ACRE, KG_HA_PER_LB_ACRE, KG_PER_MG, MG_HA_PER_TON_ACRE, MG_PER_TON

Units = Literal["us", "metric"]


def per_area(mg_ha: float, units: Units) -> str:
    """Return a mass per area in words: ``2.3 ton/ac`` or ``5.2 Mg/ha``; never "0.0" of something."""
    if 0 < mg_ha < 0.05 * MG_HA_PER_TON_ACRE:
        return "next to nothing"
    return f"{mg_ha / MG_HA_PER_TON_ACRE:.1f} ton/ac" if units == "us" else f"{mg_ha:.1f} Mg/ha"


def plant_food(mg_ha: float, units: Units) -> str:
    """Return plant food per area in words: ``50 lb/ac`` or ``56 kg/ha``."""
    kg_ha = mg_ha * KG_PER_MG
    return f"{kg_ha / KG_HA_PER_LB_ACRE:.0f} lb/ac" if units == "us" else f"{kg_ha:.0f} kg/ha"


def land(ha: float, units: Units) -> str:
    """Return an area in words: ``12 ac`` or ``4.9 ha``."""
    value, unit = (ha / HA_PER_ACRE, "ac") if units == "us" else (ha, "ha")
    return f"{value:,.0f} {unit}" if value >= 10 else f"{value:.1f} {unit}"


def mass(mg: float, units: Units) -> str:
    """Return a dry mass in words: ``312 tons`` or ``283 Mg``."""
    return f"{mg / MG_PER_TON:,.0f} tons" if units == "us" else f"{mg:,.0f} Mg"


def percent(share: float) -> str:
    """Return a share as a whole per cent."""
    return f"{100 * share:.0f} %"


def share_of_ground(keep_mg_ha: float, stover_mg_ha: float) -> str:
    """Return in words how much of some ground an all-or-nothing rule holds back, from means over it."""
    share = keep_mg_ha / stover_mg_ha if stover_mg_ha > 0 else 1.0
    if share > 0.995:
        return "all of this ground"
    return f"about {percent(share)} of this ground" if share >= 0.015 else "a little of this ground"


def listed(words: list[str]) -> str:
    """Return ``a``, ``a and b`` or ``a, b and c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""
