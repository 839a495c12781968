"""The glossary is the authority: a name that ends in a unit is in that unit, and a number's name says its unit."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from importlib import import_module

import pytest

import stovergeo
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.schemas import TABLES
from stovergeo.core.stack import VARIABLES

#: what a name ends in -> unit, the longest ending first
ENDINGS = {
    "_kwh_m2": "kWh/m2",
    "_kg_m3": "kg/m3",
    "_mg_ha": "Mg/ha",
    "_kg_ha": "kg/ha",
    "_kg_s": "kg/s",
    "_m2": "m2",
    "_m3": "m3",
    "_ha": "ha",
    "_mg": "Mg",
    "_kg": "kg",
    "_km": "km",
    "_cm": "cm",
    "_mm": "mm",
    "_pct": "%",
    "_deg": "degree",
    "_m": "m",
    "_s": "s",
    "_c": "C",
}
#: numbers without a unit, or whose unit is named where they are taken
UNITLESS = {
    *("slope", "intercept", "fraction", "over_fraction", "dearer", "gap", "change"),  # shares and ratios
    *("turns", "share", "steps", "cloud", "through_trees"),
    *("x", "y", "latitude", "longitude", "labels"),  # places, and numbers of zones
    *("seconds", "gap_records", "drainage_class", "core_c", "mj_m2_day", "hours_a_day"),
    *("value_per_mg", "cost_max", "overrides"),  # money, in dollars
}


def unit_in(name: str) -> str | None:
    """Return the unit that a name ends in."""
    return next((unit for ending, unit in ENDINGS.items() if name.endswith(ending)), None)


def declared() -> Iterator[tuple[str, str]]:
    yield from ((name, kind.unit) for name, kind in VARIABLES.items())
    for table in TABLES.values():
        yield from ((name, column.unit) for name, column in table.items() if column.kind == "number")


def test_a_name_that_ends_in_a_unit_is_declared_in_it() -> None:
    wrong = {name: unit for name, unit in declared() if unit_in(name) not in (None, unit)}
    assert wrong == {}


def test_what_has_a_unit_says_it_in_its_name() -> None:
    """Soil properties go by the names of their science, money by what it pays for."""
    spelled = {"soil_erodibility", "soil_loss_tolerance", "wind_erodibility", "soil_carbon", "manure_carbon", "seconds"}
    silent = {name: unit for name, unit in declared() if unit not in ("1", "", "$") and unit_in(name) is None}
    assert set(silent) <= spelled


@pytest.mark.parametrize("package", stovergeo._BY_PACKAGE)
def test_every_number_a_package_is_given_says_its_unit(package: str) -> None:
    module = import_module(f"stovergeo.{package}")
    silent = {
        f"{name}({argument})"
        for name in getattr(module, "__all__", ())
        if inspect.isfunction(getattr(module, name))
        for argument, taken in inspect.signature(getattr(module, name)).parameters.items()
        if "float" in str(taken.annotation) and unit_in(argument) is None and argument not in UNITLESS
    }
    assert silent == set()


def test_a_meaning_stands_on_its_own() -> None:
    """It is read alone: beside a number on the map, in `sources.csv`, as the name of a raster."""
    meanings = {name: kind.long_name for name, kind in VARIABLES.items()}
    meanings |= {f"{table}.{name}": column.meaning for table, made in TABLES.items() for name, column in made.items()}
    meanings |= {coefficient.key: coefficient.meaning for _, coefficient in load_handbook().items()}
    assert all(meanings.values())
    leaning = re.compile(r"(the same|as above|likewise|ditto|see above)\b", re.IGNORECASE)
    assert {name: said for name, said in meanings.items() if leaning.match(said)} == {}
