"""What a zone says of itself, in plain sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stovergeo.core.units import MG_HA_PER_TON_ACRE


def per_area(mg_ha: float, units: str) -> str:
    """Write a mass per area the way the farm reads it: ``1.3 ton/ac`` or ``2.9 Mg/ha``."""
    return f"{mg_ha:.1f} Mg/ha" if units == "metric" else f"{mg_ha / MG_HA_PER_TON_ACRE:.2f} ton/ac"


def ground_words(zone: Mapping[str, Any], units: str) -> str:
    """Say what the ground of a zone grows, must keep and can spare."""
    if zone["kept_free"]:
        return "Kept free because the landowner said so: nothing is baled here, and all stover stays."
    if zone["unknown_share"] > 0.5:
        return "No yield is known on most of this ground, so nothing is taken."
    if zone["removable_mg_ha"] <= 0:
        rule = str(zone["binding_rule"]).replace("_", " ")
        why = f"; of all rules, {rule} asks for most" if rule else ""
        return f"Left whole: what it grows must stay{why}."
    said = (
        f"Grows {per_area(zone['stover_mg_ha'], units)} dry stover, must keep {per_area(zone['keep_mg_ha'], units)}, "
        f"can spare {per_area(zone['removable_mg_ha'], units)} taken evenly."
    )
    if zone["left_share"] > 0.02:
        share = f"{100 * zone['left_share']:.0f} %"
        said += f" {share} of it can spare nothing and is too narrow to go round; it holds the rest back."
    return said


def method_words(zone: Mapping[str, Any], method: Mapping[str, Any], units: str) -> str:
    """Say how a zone is gathered and why no more is taken."""
    title = str(method.get("title") or method["method"]).replace("_", " ")
    title = title[:1].upper() + title[1:]
    took = per_area(method["take_mg_ha"], units)
    room = zone["removable_mg_ha"] - method["take_mg_ha"]
    if room < 0.05 * max(zone["removable_mg_ha"], 1e-9):
        return f"{zone['reason']} {title} takes {took}, as much as may leave."
    return f"{zone['reason']} {title} takes {took}; {per_area(room, units)} of what may leave stays as well."


def leave_words(zone: Mapping[str, Any], offered: bool) -> str:
    """Say why nothing is gathered where something could be spared."""
    if zone["removable_mg_ha"] <= 0:
        return str(zone["reason"])
    why = "no way of gathering stays within that" if not offered else "it is not needed or does not pay this season"
    return f"{zone['reason']} Left: {why}."
