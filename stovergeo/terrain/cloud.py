"""How much of the clear-sky beam clouds let through, from what weather records hold.

Formulas of FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes & Smith 1998), chapter 3.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.errors import ContractError

#: first day of each month in a common year, and the day after the last
_MONTH_STARTS = np.cumsum([1, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def cloud_from_sunshine(hours_a_day: Mapping[int, float], latitude: float) -> dict[int, float]:
    """Return the share of the clear-sky beam that comes through, by month, from hours of bright sunshine.

    Parameters
    ----------
    hours_a_day : mapping of int to float
        Mean hours of bright sunshine a day, by calendar month 1 to 12.
    latitude : float
        Degrees north.

    Raises
    ------
    ContractError
        When there is more sunshine than daylight: the hours are not for a day.
    """
    shares = {}
    for month, hours in hours_a_day.items():
        daylight = float(day_length_h(latitude, _days(month)).mean())
        if not 0 <= hours <= daylight * 1.02:
            raise ContractError(f"{hours:g} h of sunshine a day in month {month}, but the day has {daylight:.1f} h")
        shares[month] = min(hours / daylight, 1.0)
    return shares


def cloud_from_radiation(
    mj_m2_day: Mapping[int, float], latitude: float, altitude_m: float, book: Handbook | None = None
) -> dict[int, float]:
    """Return the share of the clear-sky beam that comes through, by month, from global radiation on the flat.

    Parameters
    ----------
    mj_m2_day : mapping of int to float
        Mean global radiation, MJ/m2 a day, by calendar month 1 to 12.
    latitude, altitude_m : float
        Degrees north; metres above the sea.
    book : Handbook, optional
        ``terrain.angstrom_a`` and ``terrain.angstrom_b``.

    Raises
    ------
    ContractError
        When more comes down than under a clear sky: the unit is not MJ/m2 a day.
    """
    numbers = load_handbook() if book is None else book
    a, b = numbers.value("terrain.angstrom_a"), numbers.value("terrain.angstrom_b")
    shares = {}
    for month, radiation in mj_m2_day.items():
        above = float(extraterrestrial_mj_m2(latitude, _days(month)).mean())
        clear = clear_sky_mj_m2(above, altitude_m)
        if not 0 <= radiation <= clear * 1.1:
            raise ContractError(f"{radiation:g} MJ/m2 a day in month {month}, but a clear sky gives {clear:.1f}")
        # the inverse of FAO-56 eq. 35; sunshine lasts n of N hours, and it is then that the beam comes through
        shares[month] = float(np.clip((radiation / above - a) / b, 0, 1))
    return shares


def sun_declination_rad(day: Any) -> np.ndarray:
    """Return the sun's declination on a day of the year."""
    return 0.409 * np.sin(2 * np.pi * np.asarray(day) / 365 - 1.39)  # FAO-56 eq. 24


def sunset_angle_rad(latitude: float, day: Any) -> np.ndarray:
    """Return the hour angle of sunset; latitude in degrees north."""
    turn = -np.tan(np.radians(latitude)) * np.tan(sun_declination_rad(day))
    return np.arccos(np.clip(turn, -1, 1))  # FAO-56 eq. 25


def extraterrestrial_mj_m2(latitude: float, day: Any) -> np.ndarray:
    """Return radiation above the air on a level plane, MJ/m2 a day; latitude in degrees north."""
    nearness = 1 + 0.033 * np.cos(2 * np.pi * np.asarray(day) / 365)  # FAO-56 eq. 23
    sunset, tilt, north = sunset_angle_rad(latitude, day), sun_declination_rad(day), np.radians(latitude)
    height = sunset * np.sin(north) * np.sin(tilt) + np.cos(north) * np.cos(tilt) * np.sin(sunset)
    return 24 * 60 / np.pi * 0.0820 * nearness * height  # FAO-56 eq. 21, solar constant in MJ/(m2 min)


def day_length_h(latitude: float, day: Any) -> np.ndarray:
    """Return hours of daylight; latitude in degrees north."""
    return 24 / np.pi * sunset_angle_rad(latitude, day)  # FAO-56 eq. 34


def clear_sky_mj_m2(extraterrestrial: Any, altitude_m: float) -> Any:
    """Return global radiation under a clear sky in the unit of `extraterrestrial`."""
    return (0.75 + 2e-5 * altitude_m) * extraterrestrial  # FAO-56 eq. 37


def global_from_sunshine(extraterrestrial: Any, sunshine_share: Any, a: float, b: float) -> Any:
    """Return global radiation from the share of daylight with bright sunshine (Angstrom's formula)."""
    return (a + b * sunshine_share) * extraterrestrial  # FAO-56 eq. 35


def _days(month: int) -> np.ndarray:
    if month not in range(1, 13):
        raise ContractError(f"months are numbered 1 to 12, not {month}")
    return np.arange(_MONTH_STARTS[month - 1], _MONTH_STARTS[month])
