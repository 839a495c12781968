"""The arithmetic of one combine record: flow, moisture, swath and distance to dry grain per area."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.units import (
    HA_PER_ACRE,
    KG_DRY_PER_BUSHEL_CORN,
    KG_PER_LB,
    KG_PER_MG,
    LB_PER_BUSHEL_CORN,
    M2_PER_HA,
    M_PER_FT,
    M_PER_IN,
    M_PER_MI,
)

_KG_PER_BUSHEL: Final = LB_PER_BUSHEL_CORN * KG_PER_LB

LENGTH_M: Final = {"in": M_PER_IN, "ft": M_PER_FT, "m": 1.0, "cm": 0.01}
SPEED_M_S: Final = {"mph": M_PER_MI / 3600, "km/h": 1 / 3.6, "m/s": 1.0, "ft/s": M_PER_FT}
SECONDS: Final = {"s": 1.0, "ms": 0.001}
MASS_KG: Final = {"lb": KG_PER_LB, "kg": 1.0}
FLOW_KG_S: Final = {"lb/s": KG_PER_LB, "kg/s": 1.0, "t/h": KG_PER_MG / 3600, "bu/h": _KG_PER_BUSHEL / 3600}
#: unit of yield -> (Mg/ha of the mass it counts, how that mass becomes dry: "wet", "market" or "dry")
YIELD_MG_HA: Final = {
    "bu/ac wet": (_KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "wet"),
    "bu/ac at 15.5 %": (_KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "market"),
    "bu/ac dry": (_KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "dry"),
    "t/ha wet": (1.0, "wet"),
    "t/ha at 15.5 %": (1.0, "market"),
    "t/ha dry": (1.0, "dry"),
    "kg/ha wet": (1 / KG_PER_MG, "wet"),
    "kg/ha dry": (1 / KG_PER_MG, "dry"),
}
#: less ground than this under a record is none, m2 (judgement)
MIN_AREA_M2: Final = 0.001
_MARKET_DRY_SHARE: Final = KG_DRY_PER_BUSHEL_CORN / _KG_PER_BUSHEL


def dry_kg(wet_kg: ArrayLike, moisture_pct: ArrayLike) -> np.ndarray:
    """Return oven-dry mass: wet mass times (1 - moisture, wet basis)."""
    return np.asarray(wet_kg, dtype=np.float64) * (1 - np.asarray(moisture_pct, dtype=np.float64) / 100)


def dry_mg_ha(yields: ArrayLike, unit: str, moisture_pct: ArrayLike) -> np.ndarray:
    """Return dry Mg/ha from a yield in one of the units of `YIELD_MG_HA`."""
    factor, basis = YIELD_MG_HA[unit]
    share: np.ndarray | float = 1.0
    if basis == "wet":
        share = 1 - np.asarray(moisture_pct, dtype=np.float64) / 100
    elif basis == "market":
        share = _MARKET_DRY_SHARE
    return np.asarray(yields, dtype=np.float64) * factor * share


def per_hectare(grain_kg: ArrayLike, area_m2: ArrayLike) -> np.ndarray:
    """Return Mg/ha, NaN where no ground was covered."""
    mass, area = np.broadcast_arrays(np.asarray(grain_kg, dtype=np.float64), np.asarray(area_m2, dtype=np.float64))
    out = np.full(mass.shape, np.nan)
    np.divide(mass / KG_PER_MG, area / M2_PER_HA, out=out, where=area > MIN_AREA_M2)
    return out
