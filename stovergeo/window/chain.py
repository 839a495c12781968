"""Moisture of stover hour by hour, and the hours of each day in which it can be baled."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.window.drying import Drying
from stovergeo.window.humidity import Air, vapor_of


class Hours(NamedTuple):
    """What each hour does to stover, for one set of constants; arrays of (years, days, 24)."""

    equilibrium: np.ndarray  #: kg/kg
    tissue: np.ndarray  #: share of the water above equilibrium that stays; first axis: `METHODS`
    rain_water: np.ndarray  #: share of the rain water that stays
    dewy: np.ndarray  #: whether dew falls
    damp: float  #: share of the water below equilibrium that stays lacking


class Wetting(NamedTuple):
    """Water that reaches the ground, and how stover holds it."""

    water_mm: np.ndarray  #: rain and melted snow, (years, days)
    rain_mm: np.ndarray  #: rain and snow that fall, (years, days)
    held: float
    fills_mm: float
    soak: float


class Lots(NamedTuple):
    """The stover of each field in each year, arrays of (years, fields) or (fields,)."""

    ready: np.ndarray  #: first day it lies in the field
    shredded: np.ndarray  #: first day it lies as its method says; before, as the combine left it
    method: np.ndarray  #: index into `METHODS`, (fields,)
    start: np.ndarray  #: kg/kg on its first day
    probe_day: np.ndarray  #: day on whose morning its moisture was measured, -1 for none, (fields,)
    probe: np.ndarray  #: kg/kg that was measured, (fields,)


class Fit(NamedTuple):
    """What an hour must be to bale in it."""

    limit: float  #: wettest stover, kg/kg
    first_hour: int
    last_hour: int
    rain_mm: float  #: of the day
    carries_until: np.ndarray  #: hour of the day until which the ground carries, (years, fields, days)


class Blocks(NamedTuple):
    """The longest run of fit hours of each day, arrays of (years, fields, days)."""

    hours: np.ndarray
    first: np.ndarray  #: hour at which it starts
    moisture: np.ndarray  #: % of the whole, mean of the run; NaN where no hour is fit
    evening: np.ndarray  #: % of the whole at the end of the day; NaN before the stover lies in the field


def hours_of(air: Air, drying: Drying, methods: Collection[int] = (0, 1, 2), first_day: int = 0) -> Hours:
    """Return what each hour does to stover under one set of constants.

    Parameters
    ----------
    air : Air
    drying : Drying
    methods : collection of int
        Indices into `METHODS` that are asked for; the drying of the others is left as it comes.
    first_day : int
        Day before which no stover lies; earlier hours are left as they come.
    """
    vapor = vapor_of(air, drying.dew_offset_c)
    factors = np.array(drying.factors())
    asked = np.array(sorted(methods), dtype=np.int64)
    return Hours(*_hours(air.saturation_kpa, vapor, factors, drying, asked, first_day), np.exp(-drying.uptake / 24))


@njit(cache=True, nogil=True)
def _hours(
    saturation: np.ndarray, vapor: np.ndarray, factors: np.ndarray, drying: Drying, asked: np.ndarray, first_day: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    shape = saturation.shape
    equilibrium, rain_water = np.empty(shape), np.empty(shape)
    tissue = np.empty((len(factors), *shape))
    dewy = np.empty(shape, np.bool_)
    for y in range(shape[0]):
        for d in range(first_day, shape[1]):
            for h in range(24):
                full, there = saturation[y, d, h], vapor[y, d]
                deficit = max(0.0, full - there)
                humidity = min(1.0, there / full)
                dewy[y, d, h] = humidity > drying.dew_falls
                capped = min(humidity, drying.most)
                equilibrium[y, d, h] = drying.a_pct / 100 * (capped / (1 - capped)) ** drying.b
                rain_water[y, d, h] = np.exp(-drying.rain_water * deficit / 24)
                for k in asked:
                    tissue[k, y, d, h] = np.exp(-drying.tissue * factors[k] * deficit / 24)
    return equilibrium, tissue, rain_water, dewy


@njit(cache=True, nogil=True)
def follow(hours: Hours, wetting: Wetting, lots: Lots, fit: Fit) -> Blocks:
    """Return the fit hours and the moisture of each field on each day.

    Two stores by dry mass: water in the tissue, and rain water held on it. A day's rain comes first: it fills what is
    still free of the store, and a share soaks in. Hour by hour rain water dries by the vapor-pressure deficit, and
    the tissue moves toward equilibrium: down by the deficit, up at a rate of its own. Form and constants are
    judgment, after published two-store models.
    """
    years, days = wetting.water_mm.shape
    fields = len(lots.method)
    longest = np.zeros((years, fields, days), np.float32)
    first = np.zeros((years, fields, days), np.float32)
    moisture = np.full((years, fields, days), np.nan, np.float32)
    evening = np.full((years, fields, days), np.nan, np.float32)
    for y in range(years):
        for f in range(fields):
            tissue, on_it = lots.start[y, f], 0.0
            for d in range(max(0, lots.ready[y, f]), days):
                if d == lots.probe_day[f]:
                    tissue, on_it = lots.probe[f], 0.0
                filled = wetting.held * (1 - np.exp(-wetting.water_mm[y, d] / wetting.fills_mm))
                add = max(0.0, min(filled, wetting.held - on_it))
                tissue += wetting.soak * add
                on_it += (1 - wetting.soak) * add
                method = lots.method[f] if d >= lots.shredded[y, f] else 0
                last = min(float(fit.last_hour), fit.carries_until[y, f, d])
                dry_day = wetting.rain_mm[y, d] <= fit.rain_mm
                run, water = 0, 0.0
                for h in range(24):
                    on_it *= hours.rain_water[y, d, h]
                    end = hours.equilibrium[y, d, h]
                    away = tissue - end
                    tissue = end + away * (hours.tissue[method, y, d, h] if away > 0 else hours.damp)
                    both = tissue + on_it
                    if dry_day and fit.first_hour <= h < last and both <= fit.limit and not hours.dewy[y, d, h]:
                        run += 1
                        water += both / (1 + both)
                        if run > longest[y, f, d]:
                            longest[y, f, d] = run
                            first[y, f, d] = h + 1 - run
                            moisture[y, f, d] = 100 * water / run
                    else:
                        run, water = 0, 0.0
                evening[y, f, d] = 100 * (tissue + on_it) / (1 + tissue + on_it)
    return Blocks(longest, first, moisture, evening)


def dry_basis(moisture_pct: np.ndarray | float) -> np.ndarray:
    """Return water by dry mass, kg/kg, from moisture in % of the whole."""
    share = np.asarray(moisture_pct, dtype=float) / 100
    return share / (1 - share)
