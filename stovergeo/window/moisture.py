"""Moisture of stover day by day, standing and lying, and a calendar of fit hours."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stovergeo.core.coefficients import Handbook
from stovergeo.window.autumns import Autumns
from stovergeo.window.chain import Blocks, Fit, Lots, Wetting, dry_basis, follow, hours_of
from stovergeo.window.draws import middle
from stovergeo.window.drying import METHODS, Drying, drying_of
from stovergeo.window.ground import ALL_DAY, melted_mm
from stovergeo.window.humidity import Air, air_by_day, vapor_of
from stovergeo.window.replay import Setting, blocks_of

#: limits shown side by side, % of the whole: which of them is chosen matters as much as how fast stover dries
LIMITS_PCT = (20.0, 25.0, 30.0)
#: fit hours that make a day worth counting (judgment)
_WORTH_H = 3.0


def daily_moisture(
    past: Autumns,
    start_pct: float,
    method: str,
    limit_pct: float,
    coefficients: Handbook,
    drying: Drying | None = None,
) -> pd.DataFrame:
    """Return moisture and fit hours by day of stover that lies from the first day on, on ground that always carries.

    Parameters
    ----------
    past : Autumns
    start_pct : float
        Moisture on the morning of the first day, % of the whole.
    method : str
        One of `METHODS`.
    limit_pct : float
        Wettest stover that is baled.
    coefficients : Handbook
    drying : Drying, optional
        Other constants than the handbook's.

    Returns
    -------
    DataFrame
        One row a year and day: year, day, moisture_pct (at the day's end), fit_hours.
    """
    used = drying or drying_of(coefficients)
    years = len(past.years)
    zero = np.zeros((years, 1), dtype=np.int64)
    kind = np.array([METHODS.index(method)])
    none = np.array([-1]), np.array([np.nan])
    lots = Lots(zero, zero, kind, np.full((years, 1), dry_basis(start_pct)), *none)
    water, _ = melted_mm(past.rain_mm, past.tmax_c)
    wetting = Wetting(water, past.rain_mm, used.held, used.fills_mm, used.soak)
    first, last = (int(coefficients.value(f"window.crew.{name}_hour")) for name in ("first", "last"))
    carries = np.full((years, 1, past.days), ALL_DAY)
    fit = Fit(float(dry_basis(limit_pct)), first, last, coefficients.value("window.rain.day"), carries)
    air = air_by_day(past.tmin_c, past.tmax_c, past.dew_c, past.humidity_pct)
    blocks = follow(hours_of(air, used), wetting, lots, fit)
    frame = pd.DataFrame({"year": np.repeat(past.years, past.days), "day": np.tile(np.arange(past.days), years)})
    return frame.assign(moisture_pct=blocks.evening[:, 0].ravel(), fit_hours=blocks.hours[:, 0].ravel())


def standing_moisture(air: Air, start_pct: float, drying: Drying) -> np.ndarray:
    """Return the moisture of standing stover at the end of each day, % of the whole, (years, days).

    It dries at a share of the rate of shredded stover and takes up no rain.
    """
    deficit = np.maximum(0.0, air.saturation_kpa - vapor_of(air, drying.dew_offset_c)[..., None])
    stays = np.exp(-drying.tissue * drying.standing * deficit / 24)
    end = hours_of(air, drying).equilibrium
    years, days, _ = deficit.shape
    water = np.full(years, float(dry_basis(start_pct)))
    found = np.empty((years, days))
    for d in range(days):
        for h in range(24):
            away = water - end[:, d, h]
            water = np.where(away > 0, end[:, d, h] + away * stays[:, d, h], water)
        found[:, d] = 100 * water / (1 + water)
    return found


def fit_days(shared: Setting) -> pd.DataFrame:
    """Return how many days and hours of an autumn each field is fit, by limit, mean of the years.

    Returns
    -------
    DataFrame
        field, limit_pct, days (with as many fit hours in a row as a crew goes out for), hours (of those days).
    """
    one = middle(shared.past, shared.fields, shared.coefficients)
    block_h = shared.coefficients.value("window.crew.block")
    rows = []
    for limit_pct in LIMITS_PCT:
        hours = blocks_of(shared, one, limit_pct).hours
        worth = (hours > 0) & (hours >= block_h)
        days, sums = worth.sum(axis=2).mean(axis=0), np.where(worth, hours, 0).sum(axis=2).mean(axis=0)
        rows += [(f.name, limit_pct, float(days[k]), float(sums[k])) for k, f in enumerate(shared.fields)]
    return pd.DataFrame(rows, columns=["field", "limit_pct", "days", "hours"])


def fit_calendar(shared: Setting) -> pd.DataFrame:
    """Return for each day the share of past years with three fit hours or more in at least one field, by limit.

    Returns
    -------
    DataFrame
        day; share_20, share_25, share_30.
    """
    one = middle(shared.past, shared.fields, shared.coefficients)
    columns: dict[str, np.ndarray] = {"day": np.arange(shared.past.days)}
    for limit_pct in LIMITS_PCT:
        blocks: Blocks = blocks_of(shared, one, limit_pct)
        columns[f"share_{limit_pct:.0f}"] = (blocks.hours >= _WORTH_H).any(axis=1).mean(axis=0)
    return pd.DataFrame(columns)
