"""Made-up weather by rule: thirty autumns of wet and dry spells, and days set by hand. All numbers invented."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.inputs.place import Place
from stovergeo.window import Autumns

NORTH = 42.0


def at() -> Place:
    return Place("weather", Report())


def made_days(first: int = 1991, last: int = 2020, seed: int = 1, wet: float = 1.0) -> pd.DataFrame:
    """Return August to December of years as daily rows: rain in spells, cooler as autumn goes on, cooler when wet.

    `wet` moves how often a dry day turns wet; 0 is no rain at all.
    """
    rows = []
    for year in range(first, last + 1):
        rng = np.random.default_rng([seed, year])
        days = pd.date_range(date(year, 8, 1), date(year, 12, 31))
        own = rng.normal(0, 1.5)  # warm and cold years
        raining, anomaly = False, 0.0
        for k, day in enumerate(days):
            raining = rng.random() < (0.5 if raining else min(0.95, 0.2 * wet))
            anomaly = 0.7 * anomaly + rng.normal(0, 2.5)
            mean = 22.5 - 0.19 * k + own + anomaly - 2 * raining
            spread = max(2.0, rng.normal(7.5 if raining else 12.5, 2))
            rain = round(float(rng.exponential(8.0)) + 0.3, 1) if raining else 0.0
            rows.append((day, rain, round(mean + spread / 2, 1), round(mean - spread / 2, 1)))
    return pd.DataFrame(rows, columns=["date", "rain_mm", "tmax_c", "tmin_c"])


def as_autumns(days: pd.DataFrame, length: int = 106, latitude: float = NORTH) -> Autumns:
    """Return made-up days as complete autumns from 1 September on."""
    table = days.set_index("date")
    years = sorted({day.year for day in table.index})
    found = [table.reindex(pd.date_range(date(year, 9, 1), periods=length)) for year in years]
    arrays = {name: np.array([one[name] for one in found]) for name in ("rain_mm", "tmin_c", "tmax_c")}
    none = np.full(arrays["rain_mm"].shape, np.nan)
    return Autumns(tuple(years), (9, 1), **arrays, dew_c=none, humidity_pct=none, snow_mm=none, latitude=latitude)


def steady(tmax_c: float, tmin_c: float, days: int, rain_mm: tuple[float, ...] = (), years: int = 1) -> Autumns:
    """Return autumns of equal days, with rain on the first ones."""
    shape = (years, days)
    rain = np.zeros(shape)
    rain[:, : len(rain_mm)] = rain_mm
    none = np.full(shape, np.nan)
    every = tuple(range(2001, 2001 + years))
    return Autumns(every, (9, 1), rain, np.full(shape, tmin_c), np.full(shape, tmax_c), none, none, none, NORTH)


def station_file(folder: Path, days: pd.DataFrame, tenths: bool = True, hour: str = "2400", flag: str = "") -> Path:
    """Write days as a by-station file of the public network: one column an element, one of flags beside each."""
    factor = 10 if tenths else 1
    table = pd.DataFrame({"STATION": "MADE0000001", "DATE": days["date"].dt.strftime("%Y-%m-%d")})
    table["LATITUDE"], table["LONGITUDE"], table["ELEVATION"], table["NAME"] = NORTH, -93.5, 300.0, "MADE UP, XX"
    for element, column in (("PRCP", "rain_mm"), ("TMAX", "tmax_c"), ("TMIN", "tmin_c")):
        values = (days[column] * factor).round(0 if tenths else 1)
        table[element] = [f"{v:.0f}" if tenths else f"{v}" for v in values]
        table.loc[days[column].isna().to_numpy(), element] = ""
        table[f"{element}_ATTRIBUTES"] = f",{flag},7,{hour}"
    path = folder / "station.csv"
    table.to_csv(path, index=False)
    return path
