"""Pace of a baler by its shape, the stover's moisture and the windrow, all stops counted."""

from __future__ import annotations

from typing import Final

from stovergeo.bales.capacity import material_capacity_mg_h
from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import M2_PER_HA

_KG_M2_PER_MG_HA = 1000 / M2_PER_HA
#: shape and whether the stover is wet -> what a baler takes in, all stops counted; of squares the plan's own paces
_INTAKE: Final = {
    ("round", False): "window.pace.round_dry",
    ("round", True): "window.pace.round_wet",
    ("square", False): "machine.flow.square",
    ("square", True): "machine.flow.square_wet",
}


def pace_mg_h(shape: str, moisture_pct: float, removal_mg_ha: float, windrow_m: float, coefficients: Handbook) -> float:
    """Return dry stover that one baler makes into bales in an hour of fieldwork, Mg/h.

    The less of what the baler takes in and what its ground speed brings. Between the dry and the wet trials nothing
    was measured; the dry pace, the slower one, holds up to the moisture of wet stover.

    Parameters
    ----------
    shape : str
        ``round`` (in net) or ``square``.
    moisture_pct : float
        Of the whole.
    removal_mg_ha : float
        Dry stover gathered.
    windrow_m : float
        Width brought into one windrow.
    coefficients : Handbook
    """
    is_wet = moisture_pct > coefficients.value("window.pace.wet")
    intake = coefficients.value(_INTAKE[shape, is_wet])
    thin = removal_mg_ha * _KG_M2_PER_MG_HA * windrow_m < coefficients.value("window.pace.thin")
    if shape == "round" and thin:
        intake = min(intake, coefficients.value("window.pace.round_thin"))
    speed = coefficients.value("machine.speed.baler")
    efficiency = coefficients.value(f"window.pace.efficiency_{shape}")
    return min(intake, material_capacity_mg_h(speed, windrow_m, removal_mg_ha, efficiency))
