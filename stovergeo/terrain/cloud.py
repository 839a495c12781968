"""How much of the clear-sky beam clouds let through, from what weather records hold.

Formulas of FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes & Smith 1998), chapter 3.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

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


def sun_declination_rad(day: Any) -> np.ndarray:
    """Return the sun's declination on a day of the year."""
    return 0.409 * np.sin(2 * np.pi * np.asarray(day) / 365 - 1.39)  # FAO-56 eq. 24


def sunset_angle_rad(latitude: float, day: Any) -> np.ndarray:
    """Return the hour angle of sunset; latitude in degrees north."""
    turn = -np.tan(np.radians(latitude)) * np.tan(sun_declination_rad(day))
    return np.arccos(np.clip(turn, -1, 1))  # FAO-56 eq. 25


def day_length_h(latitude: float, day: Any) -> np.ndarray:
    """Return hours of daylight; latitude in degrees north."""
    return 24 / np.pi * sunset_angle_rad(latitude, day)  # FAO-56 eq. 34


def _days(month: int) -> np.ndarray:
    if month not in range(1, 13):
        raise ContractError(f"months are numbered 1 to 12, not {month}")
    return np.arange(_MONTH_STARTS[month - 1], _MONTH_STARTS[month])
