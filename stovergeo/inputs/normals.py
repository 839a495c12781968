"""Monthly climate normals of a weather station: rain and air temperature, as the public tables of 1991-2020 hold them.

The layout is that of NOAA NCEI's monthly normals by station: one row a month, month in ``DATE``, rain and melted
snow in ``MLY-PRCP-NORMAL`` (inches), mean air in ``MLY-TAVG-NORMAL`` (degrees F), the place in ``LATITUDE`` and
``LONGITUDE``.
Older tables hold whole hundredths of an inch and tenths of a degree. Names, units and marks are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.units import M_PER_IN
from stovergeo.inputs.open_file import open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.gather import YEAR_RAIN_MM
from stovergeo.inputs.tables import column_missing, read_table, to_numbers
from stovergeo.inputs.text import clean_text, shown

RAIN: Final = "MLY-PRCP-NORMAL"
AIR: Final = "MLY-TAVG-NORMAL"
HIGHEST: Final = "MLY-TMAX-NORMAL"
LOWEST: Final = "MLY-TMIN-NORMAL"
#: no place with crops warms more in the mean day of a month, C (judgment)
_MOST_RANGE_C: Final = 30.0
#: what the tables write for rain too little to be measured; every other number below -1000 is a mark for "no value"
_TRACE: Final = -7777
_NO_VALUE: Final = -1000
#: beyond any year's rain in inches, and any month's air in degrees F: hundredths and tenths then
_MOST_IN: Final = 200.0
_MOST_F: Final = 130.0
#: mean air of the year of ground that grows corn, C (judgment)
YEAR_C: Final = (-2.0, 28.0)


@dataclass(frozen=True, slots=True)
class Normals:
    """The climate of one station, January first."""

    station: str
    latitude: float  #: NaN where the file does not say
    longitude: float
    rain_mm: tuple[float, ...]
    air_c: tuple[float, ...] | None  #: None where the station has none
    day_range_c: tuple[float, ...] | None = None  #: mean highest less mean lowest of the day; None where not told


def read_normals(path: str, folder: Path, units: str, at: Place) -> Normals:
    """Read the normals of a station.

    Parameters
    ----------
    path : str
        As the plan names it.
    folder : Path
        Where relative paths start.
    units : {"us", "metric"}
        Inches and degrees F, or mm and degrees C.
    at : Place
        Gains what is wrong.

    Raises
    ------
    InputError
        ``climate.bad_normals`` and what `open_file` and `read_table` refuse.
    """
    opened = open_file(path, folder, at)
    if opened.kind != "table":
        raise at.refuse("climate.bad_normals", f"{opened.path.name} is no text table.")
    table = read_table(opened, None, at)
    for name in ("DATE", RAIN):
        if name not in table:
            raise column_missing(name, table, at)
    station = _station(table, at)
    order = _months(table, at)
    rain = _values(table, RAIN, order, at)
    if np.isnan(rain).any():
        raise at.refuse("climate.bad_normals", f"Its column {RAIN} has no rain for {_named(np.isnan(rain))}.")
    air = _values(table, AIR, order, at) if AIR in table else np.full(12, np.nan)
    known = not np.isnan(air).any()
    if units == "us":
        rain, air = _from_us(rain, air, known)
    _check(rain, air, known, units, at)
    latitude, longitude = (
        float(to_numbers(table[n], at.column(n))[0]) if n in table else np.nan for n in ("LATITUDE", "LONGITUDE")
    )
    found = tuple(air.tolist()) if known else None
    return Normals(station, latitude, longitude, tuple(rain.tolist()), found, _day_range(table, order, units, at))


def _day_range(table: pd.DataFrame, order: np.ndarray, units: str, at: Place) -> tuple[float, ...] | None:
    """Return how far the air warms and cools in a day, C, where the station tells it and it can be so."""
    if not {HIGHEST, LOWEST} <= set(table):
        return None
    high, low = (_values(table, name, order, at) for name in (HIGHEST, LOWEST))
    degrees = (high - low) / (10 if np.nanmax(np.abs(high), initial=0.0) > _MOST_F else 1)
    if units == "us":
        degrees = degrees / 1.8
    return tuple(degrees.tolist()) if (degrees > 0).all() and degrees.max() < _MOST_RANGE_C else None


def _station(table: pd.DataFrame, at: Place) -> str:
    """Return the name of the one station."""
    column = next((name for name in ("NAME", "STATION") if name in table), None)
    if column is None:
        return "a station that the file does not name"
    names = [clean_text(name) for name in table[column].dropna().unique()]
    if len(names) > 1:
        listed = ", ".join(shown(name) for name in names[:5])
        raise at.refuse("climate.bad_normals", f"It holds {len(names)} stations: {listed}. One is needed.")
    return names[0] if names else "a station that the file does not name"


def _months(table: pd.DataFrame, at: Place) -> np.ndarray:
    """Return the rows of January to December; a month is written 1, 01 or 2010-01."""
    written = table["DATE"].astype("string").str.strip().str.extract(r"^(?:\d{4}-)?(\d{1,2})$")[0]
    months = pd.to_numeric(written, errors="coerce").fillna(0).to_numpy(int)
    if sorted(months.tolist()) != list(range(1, 13)):
        said = f"Its column DATE has {len(months)} rows; the months 1 to 12 are needed, each once."
        raise at.refuse("climate.bad_normals", said)
    return np.argsort(months)


def _values(table: pd.DataFrame, name: str, order: np.ndarray, at: Place) -> np.ndarray:
    values = to_numbers(table[name], at.column(name))[order]
    return np.where(values == _TRACE, 0.0, np.where(values < _NO_VALUE, np.nan, values))


def _from_us(rain: np.ndarray, air: np.ndarray, air_known: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return mm and C from inches and degrees F, or from hundredths and tenths of them."""
    hundredths, tenths = rain.sum() > _MOST_IN, air_known and np.abs(air).max() > _MOST_F
    inches, fahrenheit = rain / 100 if hundredths else rain, air / 10 if tenths else air
    return inches * M_PER_IN * 1000, (fahrenheit - 32) / 1.8


def _check(rain: np.ndarray, air: np.ndarray, air_known: bool, units: str, at: Place) -> None:
    """Refuse a climate in which no corn grows: the units are others."""
    other = "metric" if units == "us" else "us"
    cure = f'Check the file, or give `normals_units = "{other}"`.'
    if rain.min() < 0 or not YEAR_RAIN_MM[0] <= rain.sum() <= YEAR_RAIN_MM[1]:
        said = f"Its twelve months of rain add up to {rain.sum():.0f} mm, which no corn ground gets."
        raise at.refuse("climate.bad_normals", said, cure)
    if air_known and not YEAR_C[0] <= air.mean() <= YEAR_C[1]:
        said = f"Its air is {air.mean():.1f} °C over the year, at which no corn grows."
        raise at.refuse("climate.bad_normals", said, cure)


def _named(missing: np.ndarray) -> str:
    return ", ".join(f"month {number}" for number in np.flatnonzero(missing) + 1)
