"""Dry grain per area of combine records, from flow, mass or yield as declared."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.units import HA_PER_ACRE, KG_DRY_PER_BUSHEL_CORN, KG_PER_MG, M2_PER_HA
from stovergeo.inputs.point_columns import KG_PER_BUSHEL, DeclaredColumns, middle
from stovergeo.inputs.tables import to_numbers

#: unit of yield -> (Mg/ha of the mass it counts, how that mass becomes dry: "wet", "market" or "dry")
YIELD_MG_HA: Final = {
    "bu/ac wet": (KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "wet"),
    "bu/ac at 15.5 %": (KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "market"),
    "bu/ac dry": (KG_PER_BUSHEL / KG_PER_MG / HA_PER_ACRE, "dry"),
    "t/ha wet": (1.0, "wet"),
    "t/ha at 15.5 %": (1.0, "market"),
    "t/ha dry": (1.0, "dry"),
    "kg/ha wet": (1 / KG_PER_MG, "wet"),
    "kg/ha dry": (1 / KG_PER_MG, "dry"),
}
#: less ground than this under a record is none, m2 (judgment)
MIN_AREA_M2: Final = 0.001
#: what is said of the unit "bu/ac dry"
DRY_BUSHEL: Final = "A dry bushel was read as 56 lb of oven-dry grain."
_MARKET_DRY_SHARE: Final = KG_DRY_PER_BUSHEL_CORN / KG_PER_BUSHEL


def dry_kg(wet_kg: ArrayLike, moisture_pct: ArrayLike) -> np.ndarray:
    """Return oven-dry mass: wet mass times (1 - moisture, wet basis)."""
    return np.asarray(wet_kg, dtype=np.float64) * (1 - np.asarray(moisture_pct, dtype=np.float64) / 100)


def dry_mg_ha(yields: ArrayLike, unit: str, moisture_pct: ArrayLike) -> np.ndarray:
    """Return dry Mg/ha from a yield in one of the units of `YIELD_MG_HA`."""
    factor, basis = YIELD_MG_HA[unit]
    wet = 1 - np.asarray(moisture_pct, dtype=np.float64) / 100
    share = np.asarray({"wet": wet, "market": _MARKET_DRY_SHARE, "dry": 1.0}[basis])
    return np.asarray(yields, dtype=np.float64) * factor * share


def per_hectare(grain_kg: ArrayLike, area_m2: ArrayLike) -> np.ndarray:
    """Return Mg/ha, NaN where no ground was covered."""
    mass, area = np.broadcast_arrays(np.asarray(grain_kg, dtype=np.float64), np.asarray(area_m2, dtype=np.float64))
    out = np.full(mass.shape, np.nan)
    np.divide(mass / KG_PER_MG, area / M2_PER_HA, out=out, where=area > MIN_AREA_M2)
    return out


def grain_of(
    values: dict[str, np.ndarray | None],
    moisture: np.ndarray | None,
    seconds: np.ndarray | None,
    distance: np.ndarray | None,
    swath: np.ndarray | None,
    col: DeclaredColumns,
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return area m2, dry grain kg, dry grain Mg/ha of each record; None where trouble was noted."""
    given = col.raw("grain_yield")
    unit = col.layer.units.grain_yield
    if given is not None and unit is None:
        col.lacks_unit("grain_yield", "yield.unit", YIELD_MG_HA)
    flow, mass = values["flow"], values["mass"]
    columns = col.layer.columns
    if columns.flow is None and columns.mass is None and columns.grain_yield is None:
        col.wrong("columns", "yield.column", "No column is declared as flow, mass or yield.")
    weighed_wet = flow is not None or mass is not None or (unit is not None and unit.endswith("wet"))
    if weighed_wet and moisture is None and columns.moisture is None:
        said = "The grain is weighed wet, and neither a moisture column nor one moisture is declared."
        col.wrong("columns.moisture", "yield.moisture", said)
    if mass is None and flow is not None:
        # a column that could not be read has its own refusal
        if seconds is None and (columns.seconds is None or values["seconds"] is not None):
            said = "A flow needs the time each record covers; neither seconds nor time stamps tell it."
            col.wrong("columns.seconds", "points.seconds", said)
        if seconds is not None:
            # of durations from time stamps, the usual one counts where a stamp lacks
            gaps = np.isnan(seconds) & (columns.seconds is None)
            mass = flow * np.where(gaps, middle(seconds), seconds)
    if col.trouble or distance is None or swath is None:
        return None
    area = distance * swath
    per_area = None
    if given is not None and unit is not None:
        if unit == "bu/ac dry":
            col.at.key("units.yield").add("yield.dry_bushel", DRY_BUSHEL)
        numbers = to_numbers(given, col.at.column(given.name))
        per_area = dry_mg_ha(numbers, unit, np.nan if moisture is None else moisture)
    if mass is not None and moisture is not None:
        grain = dry_kg(mass, moisture)
        measured = per_hectare(grain, area)
        if per_area is not None:
            _check_agree(measured, per_area, col)
        return area, grain, measured
    if per_area is None:
        return None
    return area, per_area * KG_PER_MG * area / M2_PER_HA, np.where(area > 0, per_area, np.nan)


def _check_agree(measured: np.ndarray, declared: np.ndarray, col: DeclaredColumns) -> None:
    both = (measured > 0) & (declared > 0)
    ratio = float(np.median(measured[both] / declared[both])) if both.any() else 1.0
    if not 0.95 <= ratio <= 1.05:
        said = f"Grain from flow or mass is {ratio:.2f} times the yield column; flow or mass was used."
        col.at.key("units").add("yield.disagree", said)
