"""Highly erodible land by soil map unit and field: what the survey lists, and what its indices let expect.

The rule (7 CFR 12.21 and 12.22) goes by map unit, by water or by wind, and by field. It uses the values that were
frozen on 1 January 1990, which no survey file carries, so arithmetic never finds land highly erodible: a listing says
so, and the conservation office decides.
"""

from __future__ import annotations

from typing import Final, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.units import HA_PER_ACRE, Quantity
from stovergeo.inputs.plan.crop import Crop
from stovergeo.residue.messages import catalog
from stovergeo.residue.production import Amount
from stovergeo.residue.soil_loss import erodibility_index

State = Literal["listed", "may be", "not known", "below"]
LISTED, MAY_BE, BELOW = 2.0, 1.0, 0.0  #: classes of a map unit, as in the survey; NaN not known
MOST_NAMED: Final = 6  #: fields that a message names
_UNIT_PLOT_M: Final = 22.13
#: upper slope (%) and exponent of the slope length (AH-537); steeper ground has the last
_EXPONENTS: Final = ((1.0, 0.2), (3.5, 0.3), (5.0, 0.4))
_STEEP: Final = 0.5
_ROUNDED: Final = 1e-9  # 20 of 60 acres are a third


def length_slope(slope_pct: Amount, length_m: Amount) -> Amount:
    """Return LS of a slope by the equation of AH-537, which the rule uses.

    Examples
    --------
    A slope of 2 % and 100 ft:

    >>> round(float(length_slope(2.0, 30.48)), 4)
    0.2007
    """
    slope = np.asarray(slope_pct, dtype=float)
    conditions = [slope < upper for upper, _ in _EXPONENTS]
    m = np.select(conditions, [power for _, power in _EXPONENTS], _STEEP)
    sine = np.sin(np.arctan(slope / 100))
    return (np.asarray(length_m, dtype=float) / _UNIT_PLOT_M) ** m * (65.41 * sine**2 + 4.56 * sine + 0.065)


def wind_index(climate_pct: Amount, wind_erodibility: Amount, tolerance: Amount) -> Amount:
    """Return the wind erodibility index C I / T; C in percent, I and T in one unit.

    Examples
    --------
    >>> wind_index(50.0, 220.0, 5.0)
    22.0
    """
    return climate_pct / 100 * wind_erodibility / tolerance


def unit_classes(soils: pd.DataFrame, crop: Crop, coefficients: Handbook) -> np.ndarray:
    """Return the class of each map unit: the survey's, else what its slopes and the plan's R and C let expect.

    Computed, a unit is `MAY_BE` where an index can reach the threshold, `BELOW` where neither can, and NaN where that
    is not known; without the plan's wind climate the wind is not known.

    Parameters
    ----------
    soils : DataFrame
        The SOILS table.
    crop : Crop
    coefficients : Handbook
    """
    threshold = coefficients.value("retention.erodible_index")
    tolerance = soils["soil_loss_tolerance"].where(soils["soil_loss_tolerance"] > 0)
    steepest = length_slope(soils["slope_high_pct"], soils["slope_length_high_m"])
    water = erodibility_index(crop.erosivity, soils["soil_erodibility"], steepest, tolerance)
    climate = np.nan if crop.wind_climate_pct is None else crop.wind_climate_pct
    wind = wind_index(climate, soils["wind_erodibility"], tolerance)
    expected = np.where(water.isna() | wind.isna(), np.nan, BELOW)
    expected = np.where((water >= threshold) | (wind >= threshold), MAY_BE, expected)
    return soils["erodible_class"].where(soils["erodible_class"].notna(), expected).to_numpy(dtype=float)


def field_state(classes: np.ndarray, area_ha: np.ndarray, coefficients: Handbook) -> State:
    """Return whether land of some classes makes a field highly erodible: a third of it, or 50 acres.

    Parameters
    ----------
    classes, area_ha : array
        Class and area of each piece of the field.
    """
    whole = float(area_ha.sum())
    share, most = (coefficients.value(f"retention.erodible_field.{key}") for key in ("share", "area"))

    def enough(among: np.ndarray) -> bool:
        part = float(area_ha[among].sum())
        return part > 0 and part >= min(share * whole, most) * (1 - _ROUNDED)

    if enough(classes == LISTED):
        return "listed"
    if enough(classes >= MAY_BE):
        return "may be"
    return "not known" if enough((classes >= MAY_BE) | np.isnan(classes)) else "below"


def field_states(
    stack: xr.Dataset, soils: pd.DataFrame, fields: gpd.GeoDataFrame, crop: Crop, coefficients: Handbook
) -> dict[str, State]:
    """Return by name how each field on a stack stands.

    Parameters
    ----------
    stack : Dataset
        With ``field_number``, ``cell_area_ha`` and ``soil_number``, the row in `soils`.
    soils : DataFrame
    fields : GeoDataFrame
        In the order of ``field_number``.
    crop : Crop
    coefficients : Handbook
    """
    classes = np.append(unit_classes(soils, crop, coefficients), np.nan)  # the last where no soil is known
    rows = np.nan_to_num(stack["soil_number"].to_numpy(), nan=len(soils)).astype(int)
    area, number = stack["cell_area_ha"].to_numpy().astype(float), stack["field_number"].to_numpy()
    found: dict[str, State] = {}
    for at, name in enumerate(fields["name"]):
        own = number == at
        found[str(name)] = field_state(classes[rows[own]], area[own], coefficients)
    return found


def erodible_land_messages(states: dict[str, State], coefficients: Handbook) -> list[Message]:
    """Return one message a state, with the fields it holds for; nothing of fields below the rule's share."""
    area = coefficients.value("retention.erodible_field.area")
    most = Quantity(area, round(area / HA_PER_ACRE, 4), "ac")
    found = []
    for state, key in (("listed", "listed"), ("may be", "may_be"), ("not known", "unknown")):
        names: tuple[str | Message, ...] = tuple(name for name, one in states.items() if one == state)
        if len(names) > MOST_NAMED:
            rest = len(names) - MOST_NAMED + 1
            names = (*names[: MOST_NAMED - 1], catalog("erodible_land.more", count=rest))
        if names:
            values = {"most": most} if state == "listed" else {}
            found.append(catalog(f"erodible_land.{key}", fields=names, **values))
    return found
