"""The storage season: which month is how long after baling, and what rain counts by then."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.coefficients import Handbook
from stovergeo.inputs.plan.gather import Storage
from stovergeo.inputs.plan.need import MONTHS

DAYS_PER_MONTH: Final = 365.25 / 12
#: the season whose rain the loss model was calibrated on: September to June
_REFERENCE_MONTHS: Final = (9, 10, 11, 12, 1, 2, 3, 4, 5, 6)


@dataclass(frozen=True, slots=True)
class MonthOfUse:
    """A month in which bales are drawn."""

    month: int  #: 1 to 12
    year: int
    days: int  #: its length; the days before baling in the first month are those of the year after
    months_stored: float  #: from baling to the middle of the days after it


@dataclass(frozen=True, slots=True)
class Climate:
    """Rain that counts, by calendar month."""

    rain_mm: tuple[float, ...]  #: twelve, January first, as given
    air_c: tuple[float, ...]
    counted_mm: tuple[float, ...]  #: the same after the rule for cold months
    spread: tuple[float, float] = (1.0, 1.0)  #: from how much of it to how much the rain may be


def counted_rain_mm(rain_mm: ArrayLike, air_c: ArrayLike, cold_c: float, cold_fraction: float) -> np.ndarray:
    """Return the rain that harms bales, by month: a share of it in months colder than `cold_c`, all of it else."""
    rain = np.asarray(rain_mm, dtype=float)
    return np.where(np.asarray(air_c, dtype=float) < cold_c, cold_fraction * rain, rain)


def climate_of(storage: Storage, coefficients: Handbook) -> Climate:
    """Return the plan's climate, or the handbook's, half a year on in the south, with the rain that counts.

    The rule for cold months is rescaled so that September to June of the handbook's default
    climate counts as the reference rain, on which the loss model was calibrated.
    """
    keys = [m.lower() for m in MONTHS]
    default_rain = [coefficients.value(f"storage.rain_mm.{k}") for k in keys]
    default_air = [coefficients.value(f"storage.air_c.{k}") for k in keys]
    rule = (coefficients.value("storage.cold_c"), coefficients.value("storage.cold_fraction"))
    counted = counted_rain_mm(default_rain, default_air, *rule)
    scale = coefficients.value("storage.rain_reference") / sum(counted[m - 1] for m in _REFERENCE_MONTHS)
    shift = 6 if storage.is_south else 0
    rain = tuple(storage.rain_mm or np.roll(default_rain, shift).tolist())
    air = tuple(storage.air_c or np.roll(default_air, shift).tolist())
    borrowed = coefficients["storage.rain_borrowed"]
    spread = (borrowed.low, borrowed.high) if "rain" in storage.borrowed else (1.0, 1.0)
    return Climate(rain, air, tuple((counted_rain_mm(rain, air, *rule) * scale).tolist()), spread)


def baled_on(storage: Storage, season: int) -> date:
    """Return the day of baling: in the harvest year, or the spring after it."""
    return storage.span(season)[0]


def months_of_use(storage: Storage, season: int) -> list[MonthOfUse]:
    """Return the twelve months from baling on, in order, the first from the day of baling.

    The first month counts whole, so that a year's need is a year's: its few days before baling come
    round again at the year's end and are drawn from the same bales.
    """
    start = baled_on(storage, season)
    found = []
    for step in range(12):
        month = (start.month - 1 + step) % 12 + 1
        year = start.year + (start.month - 1 + step) // 12
        length = calendar.monthrange(year, month)[1]
        first = start if step == 0 else date(year, month, 1)
        middle = (first - start).days + (length - first.day + 1) / 2
        found.append(MonthOfUse(month, year, length, middle / DAYS_PER_MONTH))
    return found


def storage_span(storage: Storage, season: int) -> tuple[date, date]:
    """Return the day of baling and the day the last bale is used (`Storage.span`)."""
    return storage.span(season)


def months_outside(storage: Storage, season: int) -> float:
    """Return months from baling to the last bale used."""
    start, end = storage_span(storage, season)
    return (end - start).days / DAYS_PER_MONTH


def rain_by_mm(climate: Climate, start: date, months: ArrayLike) -> np.ndarray:
    """Return the rain that counted from `start` until so many months later, mm.

    Rain is spread evenly over the days of a month, so it never falls with time.
    """
    days = np.asarray(months, dtype=float) * DAYS_PER_MONTH
    knots, sums = [0.0], [0.0]
    first = start
    while knots[-1] < days.max(initial=0):
        length = calendar.monthrange(first.year, first.month)[1]
        left = length - first.day + 1
        knots.append(knots[-1] + left)
        sums.append(sums[-1] + climate.counted_mm[first.month - 1] * left / length)
        first += timedelta(days=left)
    return np.interp(days, knots, sums)
