"""Whole autumns of a station, as they were: the years that are replayed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import pandas as pd
from pyproj import Geod

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog
from stovergeo.inputs.place import Place
from stovergeo.inputs.weather import StationWeather

message = Catalog("stovergeo.window")
#: first day of an autumn north of the equator, and its days: 1 September to 15 December (judgment)
NORTHERN_START: Final = (9, 1)
AUTUMN_DAYS: Final = 106


@dataclass(frozen=True, slots=True)
class Autumns:
    """Complete autumns, one row a year, one column a day."""

    years: tuple[int, ...]  #: year of the first day of each autumn
    start: tuple[int, int]  #: month and day of the first day
    rain_mm: np.ndarray  #: rain and melted snow, (years, days)
    tmin_c: np.ndarray
    tmax_c: np.ndarray
    dew_c: np.ndarray  #: dew point where measured, NaN elsewhere
    humidity_pct: np.ndarray  #: mean relative humidity where measured, NaN elsewhere
    snow_mm: np.ndarray  #: snow lying where measured, NaN elsewhere
    latitude: float  #: NaN where not known
    left_out: tuple[int, ...] = ()  #: years that were not complete

    @property
    def days(self) -> int:
        """Days of an autumn."""
        return self.rain_mm.shape[1]

    def day_of(self, month: int, day: int) -> int:
        """Return the index of a calendar day; it may lie outside the autumn."""
        first = date(2001, *self.start)
        found = date(2001, month, day)
        return (found - first).days if found >= first else (date(2002, month, day) - first).days

    def weekdays(self) -> np.ndarray:
        """Return the weekday of each day, 0 for Monday, (years, days)."""
        first = np.array([date(year, *self.start).weekday() for year in self.years])
        return (first[:, None] + np.arange(self.days)) % 7

    def at_latitude(self, latitude: float) -> Autumns:
        """Return the same autumns at a latitude, degrees north."""
        return replace(self, latitude=latitude)

    def only(self, rows: np.ndarray) -> Autumns:
        """Return some of the autumns: by index or by a mask."""
        return replace(
            self,
            years=tuple(np.array(self.years)[rows].tolist()),
            **{name: getattr(self, name)[rows] for name in _ARRAYS},
        )


_ARRAYS: Final = ("rain_mm", "tmin_c", "tmax_c", "dew_c", "humidity_pct", "snow_mm")


def autumns(
    weather: StationWeather,
    coefficients: Handbook,
    at: Place,
    start: tuple[int, int] = NORTHERN_START,
    days: int = AUTUMN_DAYS,
) -> Autumns:
    """Return the complete autumns of a station.

    An autumn is left out, and named, where a temperature is not known or rain is not known on more than a small
    share of its days. In the others a day without known rain counts as a wet day of the station's median: never as a
    dry one.

    Parameters
    ----------
    weather : StationWeather
    coefficients : Handbook
    at : Place
        Where problems are noted.
    start : tuple of int
        Month and day of the first day; south of the equator another half of the year.
    days : int

    Raises
    ------
    InputError
        ``weather.too_few``.
    """
    most = coefficients.value("window.years.missing")
    kept: list[tuple[int, pd.DataFrame]] = []
    left_out: list[tuple[int, pd.DataFrame]] = []
    for year, season in _seasons(weather.days, start, days):
        rain_unknown = season["rain_mm"].isna().mean()
        whole = season[["tmin_c", "tmax_c"]].notna().all(axis=None) and rain_unknown <= most
        (kept if whole else left_out).append((year, season))
    wet = pd.concat([season["rain_mm"] for _, season in kept]) if kept else pd.Series(dtype=float)
    wet_day_mm = float(wet[wet > 0].median())
    if np.isnan(wet_day_mm):  # no rain at all: nothing to take for an unknown day
        left_out += [(year, season) for year, season in kept if season["rain_mm"].isna().any()]
        kept = [(year, season) for year, season in kept if season["rain_mm"].notna().all()]
    if left_out:
        years = ", ".join(str(year) for year, _ in sorted(left_out, key=lambda pair: pair[0]))
        at.add("weather.left_out", f"Left out, because too many days are not known: {years}.")
    least = coefficients.value("window.years.least")
    if len(kept) < least:
        raise at.refuse("weather.too_few", f"{len(kept)} autumns are complete; at least {least:g} are needed.")
    unknown = sum(int(season["rain_mm"].isna().sum()) for _, season in kept)
    if unknown:
        at.add("weather.rain_unknown", message("weather.rain_unknown", days=unknown))
    arrays = {ours: np.array([season[theirs] for _, season in kept], dtype=float) for ours, theirs in _COLUMNS.items()}
    arrays["rain_mm"] = np.where(np.isnan(arrays["rain_mm"]), wet_day_mm, arrays["rain_mm"])
    years_left_out = tuple(sorted(year for year, _ in left_out))
    return Autumns(tuple(year for year, _ in kept), start, **arrays, latitude=weather.latitude, left_out=years_left_out)


_COLUMNS: Final = {name: {"snow_mm": "snow_depth_mm"}.get(name, name) for name in _ARRAYS}


def _seasons(days: pd.DataFrame, start: tuple[int, int], length: int) -> Iterator[tuple[int, pd.DataFrame]]:
    """Yield each autumn that the file touches, days it does not hold as unknown."""
    for year in range(days.index[0].year - 1, days.index[-1].year + 1):
        span = pd.date_range(date(year, *start), periods=length)
        if span[-1] >= days.index[0] and span[0] <= days.index[-1]:
            yield year, days.reindex(span)


def with_this_season(past: Autumns, so_far: pd.DataFrame) -> Autumns:
    """Return the autumns with the days of this season so far in place of their own, for the days still to come.

    Parameters
    ----------
    past : Autumns
    so_far : DataFrame
        Days of this season, as `StationWeather.days`, from the first day of the autumn on, without gaps.

    Raises
    ------
    ValueError
        Where a day's rain or temperature is not known, or the days do not begin with the autumn.
    """
    first = so_far.index[0]
    if (first.month, first.day) != past.start:
        raise ValueError(
            f"this season must begin on day {past.start[1]} of month {past.start[0]}, not on {first.date()}"
        )
    if so_far[["rain_mm", "tmin_c", "tmax_c"]].isna().any(axis=None):
        raise ValueError("a day of this season is not known; give it, or end before it")
    known = min(len(so_far), past.days)
    arrays = {}
    for ours, theirs in _COLUMNS.items():
        arrays[ours] = getattr(past, ours).copy()
        arrays[ours][:, :known] = so_far[theirs].to_numpy(dtype=float)[:known]
    return replace(past, **arrays)


def check_station(
    weather: StationWeather, latitude: float, longitude: float, elevation_m: float, coefficients: Handbook, at: Place
) -> None:
    """Warn where the station lies far from the farm, or much higher or lower (``weather.far``).

    Nothing is said of what is not known.
    """
    away_m = float("nan")
    if np.isfinite([weather.latitude, weather.longitude, latitude, longitude]).all():
        away_m = Geod(ellps="WGS84").inv(weather.longitude, weather.latitude, longitude, latitude)[2]
    if away_m > 1000 * coefficients.value("window.years.distance"):
        at.add("weather.far", message("weather.away", away=away_m / 1000))
    apart_m = abs(weather.elevation_m - elevation_m)
    if apart_m > coefficients.value("window.years.height"):
        at.add("weather.far", message("weather.height", apart=apart_m))
