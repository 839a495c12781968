"""A weather station's daily file, as the station's service or the user writes it, to days in mm and °C."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import numpy as np
import pandas as pd

from stovergeo.inputs.open_file import open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.tables import read_table, to_numbers
from stovergeo.inputs.weather_checks import check_units, drop_absurd, drop_repeated, fill_short_gaps, to_day_of_weather
from stovergeo.inputs.weather_forms import UNITS, Daily, from_elements, from_plain, from_station_table

Form = Literal["ghcn", "ghcn_metric", "plain"]
#: what a day may hold -> what it is
DAILY: Final = {
    "rain_mm": "rain and melted snow",
    "tmax_c": "highest air temperature",
    "tmin_c": "lowest air temperature",
    "dew_c": "dew point, mean of the day",
    "humidity_pct": "relative humidity, mean of the day",
    "snow_depth_mm": "snow lying",
}


@dataclass(frozen=True, slots=True)
class WeatherSource:
    """How a daily file is written.

    ``ghcn`` is the public by-station file of the Global Historical Climatology Network (GHCN-Daily): rain in tenths of
    a mm, temperatures in tenths of a °C, each value with its flags. ``ghcn_metric`` has the same columns in mm and °C,
    as the network's access service returns them on request. ``plain`` is any other table; its columns and units are
    declared.
    """

    form: Form
    columns: Mapping[str, str] = field(default_factory=dict)  #: plain: ``date`` and names of `DAILY` -> column
    units: Mapping[str, str] = field(default_factory=dict)  #: plain: names of `DAILY` -> unit, as `UNITS` lists them
    observation_hour: float | None = None  #: hour of reading, where the file does not give it


@dataclass(frozen=True, slots=True)
class StationWeather:
    """The daily weather of one station; unknown is NaN."""

    days: pd.DataFrame  #: one row a calendar day without gaps, columns of `DAILY`
    station: str
    latitude: float
    longitude: float
    elevation_m: float
    shifted_days: int  #: rain and highest temperature moved to the day before, where the reading was in the morning


def read_weather(text: str, folder: Path, source: WeatherSource, at: Place) -> StationWeather:
    """Read and check a station's daily file.

    Values that failed the network's quality checks, and values no weather gives, become unknown. Totals of several
    days are spread over them. Lowest and highest temperatures are filled over at most three days in a row.

    Parameters
    ----------
    text : str
        Path; relative paths start at `folder`.
    folder : Path
    source : WeatherSource
    at : Place

    Returns
    -------
    StationWeather

    Raises
    ------
    InputError
        As `open_file` and `read_table`; ``weather.columns``, ``weather.unit``, ``weather.unit_wrong``,
        ``weather.dates``, ``weather.stations``, ``weather.absurd_many``.
    """
    opened = open_file(text, folder, at)
    if opened.kind != "table":
        said = f"{opened.path.name} is no table of text or spreadsheet."
        raise at.refuse("weather.columns", said)
    frame = read_table(opened, None, at)
    if source.form == "plain":
        daily = from_plain(frame, source.columns, source.units, at)
    elif {"ELEMENT", "DATE"} <= set(frame.columns):
        daily = from_elements(frame, at)
    else:
        daily = from_station_table(frame, source.form == "ghcn", at)
    check_units(daily.values, at)
    values, shifted = to_day_of_weather(drop_repeated(daily, at), daily.hours, source.observation_hour, at)
    values = fill_short_gaps(drop_absurd(values, at), at)
    latitude, longitude, elevation_m = _place_of(daily, at)
    columns = {name: values.get(name, np.nan) for name in DAILY}
    days = pd.DataFrame(columns, index=values.index)
    return StationWeather(days, daily.station, latitude, longitude, elevation_m, shifted)


def _place_of(daily: Daily, at: Place) -> tuple[float, float, float]:
    """Return latitude, longitude and elevation of the station, NaN where the file does not give them."""
    found = [float("nan")] * 3
    for k, name in enumerate(("LATITUDE", "LONGITUDE", "ELEVATION")):
        if name in daily.table:
            known = to_numbers(daily.table[name], at.column(name))
            known = known[np.isfinite(known)]
            found[k] = float(known[-1]) if len(known) else float("nan")
    return found[0], found[1], found[2]


__all__ = ["DAILY", "UNITS", "StationWeather", "WeatherSource", "read_weather"]
