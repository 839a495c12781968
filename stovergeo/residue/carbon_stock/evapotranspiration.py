"""Potential evapotranspiration by month, from temperature and latitude, after Thornthwaite and after Hargreaves.

Neither needs more than a table of monthly normals. South latitudes are negative; January is the first month everywhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stovergeo.residue.production import Amount
from stovergeo.terrain.beam import day_length_h, sun_declination_rad, sunset_angle_rad

#: days of each month of a year of 365, and the day of the year that stands for it
DAYS: Final = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MIDDLE: Final = np.array([15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349])
_FIRST: Final = np.concatenate([[0], np.cumsum(DAYS)[:-1]])


def mean_day_length(latitude_deg: Amount) -> np.ndarray:
    """Return the mean length of the days of each month, hours, shape (..., 12).

    The mean over all days: the middle day is some minutes off.

    Raises
    ------
    ValueError
        For a latitude beyond the poles.

    Examples
    --------
    >>> [round(float(hours), 1) for hours in mean_day_length(-42.0)[[0, 6]]]
    [14.7, 9.3]
    """
    hours = day_length_h(_on_earth(latitude_deg)[..., None], np.arange(1, 366))
    return np.add.reduceat(hours, _FIRST, axis=-1) / DAYS


def extraterrestrial_radiation(latitude_deg: Amount, day: Amount) -> Amount:
    """Return the sun's radiation above the air on a day of the year, MJ/(m2 day) (FAO 56, eq. 21 and 23)."""
    latitude = np.radians(latitude_deg)
    sunset, tilt = sunset_angle_rad(latitude_deg, day), sun_declination_rad(day)
    nearness = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    height = sunset * np.sin(latitude) * np.sin(tilt) + np.cos(latitude) * np.cos(tilt) * np.sin(sunset)
    return 24 * 60 / np.pi * 0.0820 * nearness * height


def thornthwaite_from_days(temperature_c: Amount, day_length_hours: Amount) -> np.ndarray:
    """Return potential evapotranspiration by month, mm, from day lengths that are known.

    A year without a month above 0 C has none. The equation has no branch of its own for heat: in months above some
    26 C it gives more than Thornthwaite's own table did.

    Parameters
    ----------
    temperature_c : array, shape (..., 12)
        Monthly mean of the air.
    day_length_hours : array, shape (..., 12)
        Mean of the month's days.
    """
    warm = np.maximum(temperature_c, 0.0)
    heat = np.sum((warm / 5) ** 1.514, axis=-1, keepdims=True)
    power = 6.75e-7 * heat**3 - 7.71e-5 * heat**2 + 0.01792 * heat + 0.49239
    ratio = 10 * warm / np.where(heat == 0, 1.0, heat)
    return 16 * (day_length_hours / 12) * (DAYS / 30) * ratio**power


def thornthwaite(temperature_c: Amount, latitude_deg: Amount) -> np.ndarray:
    """Return potential evapotranspiration by month after Thornthwaite (1948), mm.

    Parameters
    ----------
    temperature_c : array, shape (..., 12)
        Monthly mean of the air.
    latitude_deg : float or array, shape (...)

    Examples
    --------
    >>> july = thornthwaite(np.array([-7, -4.5, 2.5, 9.5, 16, 21.5, 23.3, 22, 18, 11, 3.2, -3.8]), 42.0)[6]
    >>> round(float(july), 1)
    145.8
    """
    return thornthwaite_from_days(np.asarray(temperature_c, dtype=float), mean_day_length(latitude_deg))


def hargreaves_a_day(temperature_c: Amount, day_range_c: Amount, radiation_mj_m2: Amount) -> np.ndarray:
    """Return reference evapotranspiration after Hargreaves (FAO 56, eq. 52), mm a day; 0 below -17.8 C.

    Parameters
    ----------
    temperature_c : array
        Mean of the air.
    day_range_c : array
        Mean highest less mean lowest temperature of the day.
    radiation_mj_m2 : array
        As `extraterrestrial_radiation` returns it.

    Raises
    ------
    ValueError
        For a range below 0: the highest and lowest temperatures have changed places.
    """
    if np.any(np.asarray(day_range_c) < 0):
        raise ValueError("the highest temperature of a day cannot be below its lowest: day_range_c is negative")
    return 0.0023 * np.maximum(temperature_c + 17.8, 0.0) * np.sqrt(day_range_c) * 0.408 * radiation_mj_m2


def hargreaves(temperature_c: Amount, day_range_c: Amount, latitude_deg: Amount) -> np.ndarray:
    """Return potential evapotranspiration by month after Hargreaves, mm; see `hargreaves_a_day`.

    Parameters
    ----------
    temperature_c, day_range_c : array, shape (..., 12)
    latitude_deg : float or array, shape (...)
    """
    radiation = extraterrestrial_radiation(_on_earth(latitude_deg)[..., None], MIDDLE)
    a_day = hargreaves_a_day(np.asarray(temperature_c, dtype=float), np.asarray(day_range_c, dtype=float), radiation)
    return DAYS * a_day


def _on_earth(latitude_deg: Amount) -> Amount:
    if np.any(np.abs(latitude_deg) > 90):
        raise ValueError("a latitude lies between -90 and 90 degrees")
    return np.asarray(latitude_deg, dtype=float)
