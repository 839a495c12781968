"""Columns of erodibility K, tolerance T, wind erodibility and carbon whose unit the plan declares, in SI.

The US soil survey's own columns need no word: they are in US units by its definition. A column from elsewhere is
taken only with its unit.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.messages import Catalog
from stovergeo.core.units import Quantity, parse_quantity, to_si
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import SoilsLayer
from stovergeo.inputs.tables import find_column, to_numbers

message = Catalog("stovergeo.inputs")


class Measure(NamedTuple):
    """What a column measures: dimension, the survey's name and unit for it, and the most that occurs."""

    dimension: str
    survey: str
    survey_unit: str
    most: str  #: judgment; the soil survey's steps end below
    template: str


#: SOILS column -> what it measures; the plan's key is the SOILS column without "soil_" or "soil_loss_"
MEASURES: Final = {
    "soil_erodibility": Measure("soil erodibility", "kwfact", "US", "0.9 US", "soil.range_k"),
    "soil_loss_tolerance": Measure("soil loss", "tfact", "ton/ac/yr", "5 ton/ac/yr", "soil.range_loss"),
    "wind_erodibility": Measure("soil loss", "wei", "ton/ac/yr", "310 ton/ac/yr", "soil.range_loss"),
    "soil_carbon": Measure("mass per area", "soc0_30", "g/m2", "600 t/ha", "soil.range_carbon"),
}
#: rounding of a tolerance of 5 ton/ac/yr to 11.2 or 11.25 t/ha/yr is no fault
_ROUNDED: Final = 1.005


def declared_name(target: str) -> str:
    """Return the name under which a declared column stands in the frame, in SI."""
    return f"declared {target}"


def with_declared(soils: gpd.GeoDataFrame, layer: SoilsLayer, joined: bool, at: Place) -> gpd.GeoDataFrame:
    """Return soil polygons with each column that the plan declares, in SI, under `declared_name`.

    Parameters
    ----------
    joined : bool
        The attributes come from the survey's tables, whose units are given.

    Raises
    ------
    InputError
        ``soil.unit`` where a column comes without its unit or a unit is declared for the survey's tables,
        ``column.missing`` where there is no such column.
    """
    soils = soils.drop(columns=[n for t in MEASURES if (n := declared_name(t)) in soils.columns])
    for target, measure in MEASURES.items():
        key = target.removeprefix("soil_").removeprefix("loss_")
        column, unit = getattr(layer.columns, key), getattr(layer.units, key)
        if column is None and unit is None:
            continue
        if joined:
            said = "The soils come from the soil survey's tables, which are in US units."
            cure = f"Take {key} out of [layers.soils.columns] and [layers.soils.units]."
            raise at.key(f"units.{key}").refuse("soil.unit", said, cure)
        if unit is None:
            raise at.key(f"units.{key}").refuse("soil.unit", f"The unit of the column {column!r} is not declared.")
        place = at.key(f"columns.{key}" if column else f"units.{key}")
        folded = {str(c).lower(): str(c) for c in soils.columns}
        found = find_column(soils, column or folded.get(measure.survey, measure.survey), (), place)
        soils[declared_name(target)] = _in_si(soils[found], measure, unit, at.column(found))
    return soils


def measured(value: float, unit: str, measure: Measure) -> Quantity:
    """Return a value in SI that remembers the unit it stands in."""
    return Quantity(to_si(value, unit, measure.dimension), value, unit)


def _in_si(column: pd.Series, measure: Measure, unit: str, at: Place) -> np.ndarray:
    given = to_numbers(column, at)
    values = given * to_si(1.0, unit, measure.dimension)
    most = parse_quantity(measure.most, measure.dimension)
    wrong = (values < 0) | (values > most * _ROUNDED)
    if wrong.any():
        found = measured(float(given[wrong][0]), unit, measure)
        at.add("soil.range", message(measure.template, count=int(wrong.sum()), most=most, found=found))
    return np.where(wrong, np.nan, values)
