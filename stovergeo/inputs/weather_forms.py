"""The forms a daily weather file comes in, each read into the same columns in mm and °C."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.units import M_PER_IN
from stovergeo.inputs.place import Place
from stovergeo.inputs.tables import column_missing, to_numbers
from stovergeo.inputs.text import clean_text, shown

MM_PER_IN: Final = 1000 * M_PER_IN
#: names of GHCN-Daily -> our column, and the factor of the raw file (elements and units as the network's readme lists
#: them, seen in public copies; RHAV is in whole percent)
ELEMENTS: Final = {
    "PRCP": ("rain_mm", 0.1),
    "TMAX": ("tmax_c", 0.1),
    "TMIN": ("tmin_c", 0.1),
    "ADPT": ("dew_c", 0.1),
    "RHAV": ("humidity_pct", 1.0),
    "SNWD": ("snow_depth_mm", 1.0),
}
#: measured over several days, and how many days: multi-day rain
MULTI_DAY: Final = ("MDPR", "DAPR")
#: missing in the raw file (from memory)
MISSING: Final = (9999.0, -9999.0)
#: measurement, quality and source flag and hour of reading, where each element has a row
_FLAG_PARTS: Final = ("M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")
NEEDED: Final = ("rain_mm", "tmax_c", "tmin_c")

Convert = Callable[[np.ndarray], np.ndarray]
_RAIN: Final[dict[str, Convert]] = {"mm": lambda v: v, "cm": lambda v: 10 * v, "in": lambda v: MM_PER_IN * v}
_HEAT: Final[dict[str, Convert]] = {"C": lambda v: v, "F": lambda v: (v - 32) / 1.8}
#: units a plain file may declare: name of a day's value -> unit -> conversion
UNITS: Final[dict[str, dict[str, Convert]]] = {
    "rain_mm": _RAIN,
    "snow_depth_mm": _RAIN,
    **dict.fromkeys(("tmax_c", "tmin_c", "dew_c"), _HEAT),
    "humidity_pct": {"%": lambda v: v, "fraction": lambda v: 100 * v},
}


@dataclass(frozen=True, slots=True)
class Daily:
    """A file's days as read, before they are checked."""

    values: pd.DataFrame  #: columns of a day in mm, °C and %, by date; dates may repeat
    hours: pd.Series | None  #: hour of reading of each row, NaN where not given
    station: str
    table: pd.DataFrame  #: the rows as read


def from_station_table(frame: pd.DataFrame, tenths: bool, at: Place) -> Daily:
    """Return the days of a by-station file with one column an element, as GHCN-Daily serves it.

    Each element has a column of flags, ``PRCP_ATTRIBUTES`` and so on: measurement, quality and source flag, and the
    hour of reading, separated by commas. A value with a quality flag failed a check of the network and becomes
    unknown.
    """
    _need(frame, ("DATE", "PRCP", "TMAX", "TMIN"), at)
    dates = _dates(frame["DATE"], at.column("DATE"))
    flags = {name: _flags(frame, name) for name in (*ELEMENTS, *MULTI_DAY) if name in frame}
    raw = {name: _kept(frame[name], flags[name].iloc[:, 1], at.column(name)) for name in flags}
    return _daily(raw, flags, tenths, dates, frame, _station(frame, "STATION", at), at)


def from_elements(frame: pd.DataFrame, at: Place) -> Daily:
    """Return the days of a by-station file with one row an element and day, in tenths of mm and °C."""
    _need(frame, ("DATE", "ELEMENT", "DATA_VALUE", "Q_FLAG"), at)
    station = _station(frame, "ID", at)
    wanted = frame[frame["ELEMENT"].isin([*ELEMENTS, *MULTI_DAY])]
    keys = [wanted["DATE"], wanted["ELEMENT"]]
    if wanted.duplicated(["DATE", "ELEMENT"]).any():
        first = wanted[wanted.duplicated(["DATE", "ELEMENT"])].iloc[0]
        said = f"{first['ELEMENT']} of {first['DATE']} stands in several rows."
        raise at.refuse("weather.dates", said)
    parts = [part for part in ("DATA_VALUE", *_FLAG_PARTS) if part in wanted]
    tables = {part: wanted[part].groupby(keys).first().unstack() for part in parts}
    values = tables["DATA_VALUE"]
    _need(values, ("PRCP", "TMAX", "TMIN"), at)
    flags, raw = {}, {}
    blank = pd.Series("", index=values.index, dtype="string")
    for name in values.columns:
        own = (tables[part][name].astype("string").fillna("") if part in tables else blank for part in _FLAG_PARTS)
        flags[name] = pd.DataFrame(dict(enumerate(own))).reset_index(drop=True)
        raw[name] = _kept(values[name].reset_index(drop=True), flags[name].iloc[:, 1], at.column(name))
    dates = _dates(pd.Series(values.index.astype(str)), at.column("DATE"))
    return _daily(raw, flags, True, dates, frame, station, at)


def from_plain(frame: pd.DataFrame, columns: Mapping[str, str], units: Mapping[str, str], at: Place) -> Daily:
    """Return the days of a plain table whose columns and units are declared."""
    lacking = [name for name in ("date", *NEEDED) if name not in columns]
    if lacking:
        raise at.refuse("weather.columns", f"No column is declared for {', '.join(map(_key, lacking))}.")
    unknown = [name for name in columns if name not in ("date", *UNITS)]
    if unknown:
        said = f"{shown(unknown[0])} is nothing a day of weather holds here; known are {', '.join(map(_key, UNITS))}."
        raise at.refuse("weather.columns", said)
    values = {}
    for name, column in columns.items():
        if column not in frame:
            raise column_missing(column, frame, at)
        if name == "date":
            continue
        convert = UNITS[name].get(units.get(name, ""))
        if convert is None:
            given = f"the unit {shown(units[name])}" if name in units else "no unit"
            said = f"Column {shown(column)} has {given}; known are {', '.join(UNITS[name])}."
            raise at.refuse("weather.unit", said)
        values[name] = convert(to_numbers(frame[column], at.column(column)))
    dates = _dates(frame[columns["date"]], at.column(columns["date"]))
    return Daily(pd.DataFrame(values, index=dates), None, "", frame)


def _key(name: str) -> str:
    """Return a day's value as the plan file names it: without its unit."""
    return name if name == "date" else name.rpartition("_")[0]


def _daily(
    raw: Mapping[str, np.ndarray],
    flags: Mapping[str, pd.DataFrame],
    tenths: bool,
    dates: pd.DatetimeIndex,
    frame: pd.DataFrame,
    station: str,
    at: Place,
) -> Daily:
    """Return a network file's days in mm and °C, totals of several days spread over them."""
    factor = {name: share if tenths else 1.0 for name, (_, share) in ELEMENTS.items()}
    values = pd.DataFrame({ELEMENTS[n][0]: factor[n] * raw[n] for n in ELEMENTS if n in raw}, index=dates)
    if set(MULTI_DAY) <= set(raw):
        _spread(values, raw["MDPR"] * factor["PRCP"], raw["DAPR"], at)
    hours = pd.to_numeric(flags["PRCP"].iloc[:, 3], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return Daily(values, pd.Series(hours // 100, index=dates), station, frame)


def _spread(values: pd.DataFrame, total_mm: np.ndarray, days: np.ndarray, at: Place) -> None:
    """Spread rain that was read after several days evenly over those days, where no rain of their own is known."""
    rain = values["rain_mm"]
    spread = 0
    for row in np.flatnonzero(np.isfinite(total_mm) & (days > 1)):
        last = values.index[row]
        over = pd.date_range(last - pd.Timedelta(days=int(days[row]) - 1), last)
        here = rain.index.isin(over) & rain.isna().to_numpy()
        rain[here] = total_mm[row] / days[row]
        spread += 1
    if spread:
        values["rain_mm"] = rain
        at.add("weather.several_days", f"{spread:,} totals of several days were spread evenly over their days.")


def _kept(column: pd.Series, quality: pd.Series, at: Place) -> np.ndarray:
    """Return an element's values, NaN where missing or failed by a quality check."""
    numbers = to_numbers(column, at)
    numbers = np.where(np.isin(numbers, MISSING), np.nan, numbers)
    failed = (quality.str.strip() != "").to_numpy(dtype=bool) & np.isfinite(numbers)
    if failed.any():
        letters = ", ".join(sorted(set(quality[failed].str.strip())))
        said = f"{int(failed.sum()):,} of {int(np.isfinite(numbers).sum()):,} values failed a check (flags {letters})."
        at.add("weather.flagged", said)
    return np.where(failed, np.nan, numbers)


def _flags(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return the four flags of an element: measurement, quality, source, hour."""
    column = f"{name}_ATTRIBUTES"
    if column not in frame:
        return pd.DataFrame("", index=frame.index, columns=range(4), dtype="string")
    parts = frame[column].astype("string").fillna("").str.split(",", expand=True)
    return parts.reindex(columns=range(4)).fillna("")


def _dates(column: pd.Series, at: Place) -> pd.DatetimeIndex:
    """Return the dates of a column, written year first."""
    text = column.astype("string").str.strip()
    dates = pd.to_datetime(text, format="ISO8601", errors="coerce")
    wrong = np.flatnonzero(dates.isna().to_numpy())
    if len(wrong):
        example = clean_text(text.iloc[int(wrong[0])])
        said = f"{len(wrong):,} of {len(text):,} dates cannot be read, such as {shown(example, 40)}."
        raise at.refuse("weather.dates", said)
    return pd.DatetimeIndex(dates).tz_localize(None).normalize()


def _need(frame: pd.DataFrame, names: tuple[str, ...], at: Place) -> None:
    lacking = [name for name in names if name not in frame.columns]
    if lacking:
        there = ", ".join(shown(str(name), 30) for name in frame.columns[:20])
        raise at.refuse("weather.columns", f"The file has no {', '.join(lacking)}; it has {there}.")


def _station(frame: pd.DataFrame, column: str, at: Place) -> str:
    """Return the one station of a file."""
    names = sorted({clean_text(name) for name in frame[column].dropna()}) if column in frame else []
    if len(names) > 1:
        raise at.refuse("weather.stations", f"The file holds {len(names)} stations: {shown(', '.join(names))}.")
    return names[0] if names else ""
