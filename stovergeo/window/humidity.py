"""Humidity by the hour from a daily file: temperature between its extremes, vapor pressure by what was measured."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.messages import Catalog, Message
from stovergeo.window.autumns import Autumns

message = Catalog("stovergeo.window")
#: hours of the lowest and the highest temperature (judgment)
COLDEST_HOUR = 6
WARMEST_HOUR = 15


class Air(NamedTuple):
    """Air by the hour, before the dew offset is known: what all draws of the model share."""

    saturation_kpa: np.ndarray  #: saturation vapor pressure, (years, days, 24)
    vapor_kpa: np.ndarray  #: vapor pressure where humidity was measured, NaN elsewhere, (years, days)
    tmin_c: np.ndarray  #: (years, days)


def saturation_kpa(temperature_c: ArrayLike) -> np.ndarray:
    """Return the saturation vapor pressure over water, kPa (form of FAO Irrigation and Drainage Paper 56, from memory).

    Examples
    --------
    >>> saturation_kpa(20.0).round(4).item()
    2.3383
    """
    t = np.asarray(temperature_c, dtype=float)
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def hourly_c(tmin_c: np.ndarray, tmax_c: np.ndarray) -> np.ndarray:
    """Return the temperature of 24 hours of each day, (..., days, 24).

    Half a cosine from the lowest at 6 h up to the highest at 15 h, and half a cosine down to the lowest of the next
    day. Before the first day and after the last their own extremes hold.
    """
    hour = np.arange(24)
    rising = (1 - np.cos(np.pi * (hour - COLDEST_HOUR) / (WARMEST_HOUR - COLDEST_HOUR))) / 2
    falling = (1 + np.cos(np.pi * ((hour - WARMEST_HOUR) % 24) / (24 - WARMEST_HOUR + COLDEST_HOUR))) / 2
    before = np.concatenate([tmax_c[..., :1], tmax_c[..., :-1]], axis=-1)
    after = np.concatenate([tmin_c[..., 1:], tmin_c[..., -1:]], axis=-1)
    night = hour < COLDEST_HOUR
    day = (hour >= COLDEST_HOUR) & (hour <= WARMEST_HOUR)
    high = np.where(night, before[..., None], tmax_c[..., None])
    low = np.where(night | day, tmin_c[..., None], after[..., None])
    return low + (high - low) * np.where(day, rising, falling)


def air_of(past: Autumns) -> Air:
    """Return the air of each hour: vapor pressure from the dew point, else from the mean humidity, else left open."""
    return air_by_day(past.tmin_c, past.tmax_c, past.dew_c, past.humidity_pct)


def air_by_day(tmin_c: np.ndarray, tmax_c: np.ndarray, dew_c: np.ndarray, humidity_pct: np.ndarray) -> Air:
    """Return the air of each hour of days in a row, arrays of (years, days); see `air_of`."""
    saturated = saturation_kpa(hourly_c(tmin_c, tmax_c))
    by_humidity = humidity_pct / 100 * saturated.mean(axis=-1)
    vapor = np.where(np.isfinite(dew_c), saturation_kpa(dew_c), by_humidity)
    return Air(saturated, vapor, tmin_c)


def vapor_of(air: Air, dew_offset_c: float) -> np.ndarray:
    """Return the vapor pressure of each day, kPa: as measured, else of a dew point below the lowest temperature."""
    return np.where(np.isfinite(air.vapor_kpa), air.vapor_kpa, saturation_kpa(air.tmin_c - dew_offset_c))


def humidity_messages(air: Air) -> list[Message]:
    """Return on how many days humidity was measured, where it was not on all."""
    measured, days = int(np.isfinite(air.vapor_kpa).sum()), air.vapor_kpa.size
    return [] if measured == days else [message("weather.humidity", measured=measured, days=days)]
