"""Whether ground carries machines: water in the topsoil, frost, snow; or rain alone where the soil is not known."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from stovergeo.core.coefficients import Handbook
from stovergeo.window.autumns import Autumns

#: drainage classes of the soil survey, 1 excessively to 8 subaqueous -> key of their daily drainage
DRAINAGE: Final = (*["well"] * 3, "moderately_well", "somewhat_poorly", *["poorly"] * 3)
#: snow lying for a mm of water in it, where snow was not measured (judgment)
SNOW_MM_PER_MM: Final = 10.0
#: days in a row that freeze ground (judgment)
_FROST_DAYS: Final = 3
#: share of its capacity below which topsoil under stubble dries no further (judgment)
_DRIEST: Final = 0.4
ALL_DAY: Final = 24.0


class Carrying(NamedTuple):
    """What is the same for all fields and draws, by autumn and day."""

    water_mm: np.ndarray  #: rain and melted snow that reach the ground, (years, days)
    frozen: np.ndarray  #: (years, days)
    thaw: np.ndarray  #: frozen before, above freezing by day, (years, days)
    snowed: np.ndarray  #: snow too deep, (years, days)
    by_rain: np.ndarray  #: fit by the rule of rain alone, (years, days)
    wetness: (
        np.ndarray
    )  #: water in the topsoil over its capacity, by drainage, (4, years, days); empty without latitude


def carrying(past: Autumns, coefficients: Handbook) -> Carrying:
    """Return what decides whether ground carries machines.

    The topsoil is a bucket: rain and melted snow fill it, a share of the evaporation of a short crop empties it, and
    what is above its capacity drains by a share a day (judgment throughout). Evaporation is Hargreaves' form by
    temperature and latitude (from memory); without a latitude only the rule of rain is left.
    """
    water, lying = melted_mm(past.rain_mm, past.tmax_c)
    snow = np.where(np.isfinite(past.snow_mm), past.snow_mm, SNOW_MM_PER_MM * lying)
    frozen = _frozen(past.tmax_c, coefficients.value("window.ground.frozen"))
    before = np.concatenate([np.zeros_like(frozen[:, :1]), frozen[:, :-1]], axis=1)
    wetness = np.empty((0, *water.shape))
    if np.isfinite(past.latitude):
        et = coefficients.value("window.ground.evaporation") * evaporation_mm(past)
        drains = np.array([coefficients.value(f"window.ground.drains.{name}") for name in dict.fromkeys(DRAINAGE)])
        capacity = coefficients.value("window.ground.depth") * coefficients.value("window.ground.capacity")
        wetness = _bucket(water, et, drains, capacity, coefficients.value("window.ground.start"))
    return Carrying(
        water_mm=water,
        frozen=frozen,
        thaw=before & (past.tmin_c < 0) & (past.tmax_c > 0),
        snowed=snow > coefficients.value("window.ground.snow"),
        by_rain=fit_by_rain(past.rain_mm, coefficients),
        wetness=wetness,
    )


def carries_until(
    ground: Carrying,
    drainage_class: np.ndarray,
    clay_pct: np.ndarray,
    tiled: np.ndarray,
    share: np.ndarray,
    coefficients: Handbook,
) -> np.ndarray:
    """Return the hour until which the ground of each field carries machines, (years, fields, days).

    Parameters
    ----------
    ground : Carrying
    drainage_class : float array (fields,)
        Class of the soil survey, 1 to 8; NaN where not known: then rain alone decides.
    clay_pct : float array (fields,)
        NaN where not known: no allowance is made.
    tiled : bool array (fields,)
        Tile drains the ground like the next better class.
    share : float array (fields,)
        Water at which ground still carries, over its capacity.
    coefficients : Handbook

    Returns
    -------
    float array
        0 not at all, 24 all day; between, until the frozen ground thaws.
    """
    years, days = ground.water_mm.shape
    limit = share * np.where(
        clay_pct > coefficients.value("window.ground.clay"), coefficients.value("window.ground.clay_share"), 1.0
    )
    names = list(dict.fromkeys(DRAINAGE))
    fit = np.empty((years, len(share), days), dtype=bool)
    for f, number in enumerate(drainage_class):
        if np.isnan(number) or not len(ground.wetness):
            fit[:, f] = ground.by_rain
            continue
        place = names.index(DRAINAGE[int(number) - 1])
        fit[:, f] = ground.wetness[max(0, place - 1) if tiled[f] else place] <= limit[f]
    fit |= ground.frozen[:, None]
    thaw = ground.thaw[:, None] & ~fit
    until = np.where(fit, ALL_DAY, np.where(thaw, coefficients.value("window.ground.thaw_hour"), 0.0))
    return np.where(ground.snowed[:, None], 0.0, until)


def fit_by_rain(rain_mm: np.ndarray, coefficients: Handbook) -> np.ndarray:
    """Return whether ground is fit by rain alone: of the day, the day before and the two before (judgment)."""
    today, one, two = (coefficients.value(f"window.ground.rain_{name}") for name in ("day", "next", "two"))
    wet = rain_mm > today
    wet[:, 1:] |= rain_mm[:, :-1] > one
    wet[:, 2:] |= rain_mm[:, :-2] > two
    return ~wet


def melted_mm(rain_mm: np.ndarray, tmax_c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return water that reaches the ground and water that lies as snow, mm: it is held while a day stays below 0 °C."""
    water, lying = np.zeros_like(rain_mm), np.zeros_like(rain_mm)
    held = np.zeros(len(rain_mm))
    for d in range(rain_mm.shape[1]):
        cold = tmax_c[:, d] < 0
        held = held + rain_mm[:, d]
        water[:, d] = np.where(cold, 0.0, held)
        held = np.where(cold, held, 0.0)
        lying[:, d] = held
    return water, lying


def evaporation_mm(past: Autumns) -> np.ndarray:
    """Return the evaporation of a short crop, mm a day: 0.0023 Ra (T + 17.8) sqrt(TR) (Hargreaves, from memory)."""
    day = (np.arange(past.days) + _day_of_year(past.start)) % 365
    mean, spread = (past.tmin_c + past.tmax_c) / 2, np.maximum(past.tmax_c - past.tmin_c, 0)
    radiation_mm = 0.408 * sun_above_mj_m2(past.latitude, day)
    return np.maximum(0.0, 0.0023 * radiation_mm * (mean + 17.8) * np.sqrt(spread))


def sun_above_mj_m2(latitude: float, day_of_year: np.ndarray) -> np.ndarray:
    """Return the sun's energy above the air, MJ/m2 a day (FAO Irrigation and Drainage Paper 56, from memory)."""
    angle = 2 * np.pi * day_of_year / 365
    distance = 1 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    phi = np.radians(latitude)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    high = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset)
    return 24 * 60 / np.pi * 0.0820 * distance * high


def _day_of_year(start: tuple[int, int]) -> int:
    return int(np.datetime64(f"2001-{start[0]:02d}-{start[1]:02d}").astype("datetime64[D]").astype(int) - 11322)


def _frozen(tmax_c: np.ndarray, limit_c: float) -> np.ndarray:
    """Return whether a day and those before it, three in a row, stayed below a limit."""
    cold = tmax_c < limit_c
    frozen = cold.copy()
    for back in range(1, _FROST_DAYS):
        frozen[:, back:] &= cold[:, :-back]
        frozen[:, :back] = False
    return frozen


@njit(cache=True, nogil=True)
def _bucket(water: np.ndarray, et: np.ndarray, drains: np.ndarray, capacity: float, start: float) -> np.ndarray:
    years, days = water.shape
    wetness = np.empty((len(drains), years, days))
    for k in range(len(drains)):
        for y in range(years):
            held = start * capacity
            for d in range(days):
                held = max(held + water[y, d] - et[y, d], _DRIEST * capacity)
                if held > capacity:
                    held -= drains[k] * (held - capacity)
                wetness[k, y, d] = held / capacity
    return wetness
