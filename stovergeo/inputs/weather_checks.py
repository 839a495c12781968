"""What daily weather must look like: units, values no weather gives, the hour of reading, gaps."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from stovergeo.inputs.place import Place
from stovergeo.inputs.weather_forms import Daily

#: values beyond these are no weather of a place where corn grows (judgment)
POSSIBLE: Final = {
    "rain_mm": (0.0, 500.0),
    "tmax_c": (-55.0, 55.0),
    "tmin_c": (-60.0, 45.0),
    "dew_c": (-65.0, 35.0),
    "humidity_pct": (0.0, 100.0),
    "snow_depth_mm": (0.0, 5000.0),
}
#: rain that one wet day in ten exceeds, mm: tenths read as mm lie above, inches or mm read as tenths below; gridded
#: records with much drizzle lie between (judgment)
WET_DAY_MM: Final = (2.5, 100.0)
#: the warmest days of a record of a growing season, °C (judgment)
WARMEST_C: Final = (12.0, 55.0)
#: share of impossible values above which a column is not what it is taken for (judgment)
MAX_ABSURD: Final = 0.05
#: days in a row over which a temperature is filled between its neighbors (judgment)
MAX_FILLED: Final = 3
#: hour of reading before which rain and highest temperature belong to the day before (from memory)
NOON: Final = 12.0
#: days with rain, or with a temperature, fewer than which no unit can be told from the values
_ENOUGH: Final = 10


def check_units(values: pd.DataFrame, at: Place) -> None:
    """Refuse a file whose values do not fit the unit they are taken to be in.

    Raises
    ------
    InputError
        ``weather.unit_wrong``.
    """
    rain = values["rain_mm"].to_numpy(dtype=float)
    wet = rain[rain > 0]
    if len(wet) >= _ENOUGH:
        heavy = float(np.quantile(wet, 0.9))
        if not WET_DAY_MM[0] <= heavy <= WET_DAY_MM[1]:
            likely = "inches, or mm already and not tenths" if heavy < WET_DAY_MM[0] else "tenths of a mm"
            said = f"One wet day in ten would have {heavy:.3g} mm or more, which looks like {likely}."
            raise at.part("rain").refuse("weather.unit_wrong", said)
    heat = values["tmax_c"].to_numpy(dtype=float)
    heat = heat[np.isfinite(heat)]
    if len(heat) >= _ENOUGH:
        warmest = float(np.quantile(heat, 0.98))
        if not WARMEST_C[0] <= warmest <= WARMEST_C[1]:
            likely = (
                "degrees F, or tenths of a degree" if warmest > WARMEST_C[1] else "degrees already, not tenths or F"
            )
            said = f"The warmest days would have {warmest:.3g} °C, which looks like {likely}."
            raise at.part("highest temperature").refuse("weather.unit_wrong", said)


def drop_repeated(daily: Daily, at: Place) -> pd.DataFrame:
    """Return one row a day, without gaps in the calendar; refuse a day that is given twice with different values."""
    values = daily.values[~daily.values.index.duplicated()]
    again = daily.values[daily.values.index.duplicated(keep=False)]
    if len(again):
        different = again.groupby(level=0).nunique(dropna=False).max(axis=1) > 1
        if different.any():
            day = different.index[different.to_numpy()][0].date().isoformat()
            raise at.refuse("weather.dates", f"{int(different.sum()):,} days have two different rows, such as {day}.")
    return values.sort_index().asfreq("D")


def drop_absurd(values: pd.DataFrame, at: Place) -> pd.DataFrame:
    """Return the days with values that no weather gives set to unknown, and counted.

    Raises
    ------
    InputError
        ``weather.absurd_many`` where more than one value in twenty of a column is such.
    """
    kept = values.copy()
    for name, (low, high) in POSSIBLE.items():
        if name in kept:
            _drop(kept, kept[name].notna() & ~kept[name].between(low, high), [name], at)
    crossed = kept["tmax_c"] < kept["tmin_c"]
    _drop(kept, crossed, ["tmax_c", "tmin_c"], at)
    return kept


def _drop(kept: pd.DataFrame, absurd: pd.Series, names: list[str], at: Place) -> None:
    count, known = int(absurd.sum()), int(kept[names[0]].notna().sum())
    if count:
        here = at.part(" and ".join(names))
        day = absurd.index[absurd.to_numpy()][0]
        example = " and ".join(f"{kept.loc[day, name]:g}" for name in names)
        said = f"{count:,} of {known:,} values are impossible, such as {example} on {day.date().isoformat()}."
        if count > max(MAX_ABSURD * known, 1):
            raise here.refuse("weather.absurd_many", said)
        here.add("weather.absurd", said)
    kept.loc[absurd, names] = np.nan


def to_day_of_weather(
    values: pd.DataFrame, hours: pd.Series | None, given_hour: float | None, at: Place
) -> tuple[pd.DataFrame, int]:
    """Return the days with rain and highest temperature on the day they fell, and how many were moved.

    An observer who reads in the morning writes down the rain and the highest temperature of the day before.
    """
    by_day = pd.Series(np.nan, index=values.index)
    if hours is not None:
        first = hours[~hours.index.duplicated()]
        by_day = first.reindex(values.index)
    if given_hour is not None:
        by_day = by_day.fillna(given_hour)
    known = by_day.notna() | values["rain_mm"].isna()
    if not known.all():
        said = f"The hour of reading is not known on {int((~known).sum()):,} of {len(values):,} days."
        at.add("weather.hour", said)
    morning = (by_day < NOON).to_numpy()
    if not morning.any():
        return values, 0
    moved = values.reindex(pd.date_range(values.index[0] - pd.Timedelta(days=1), values.index[-1]))
    for name in ("rain_mm", "tmax_c"):
        own = values[name].where(~morning)
        before = values[name].where(morning)
        before.index = before.index - pd.Timedelta(days=1)
        moved[name] = own.reindex(moved.index).combine_first(before).reindex(moved.index)
    at.add("weather.shifted", f"Rain and highest temperature of {int(morning.sum()):,} days were moved one day back.")
    return moved, int(morning.sum())


def fill_short_gaps(values: pd.DataFrame, at: Place) -> pd.DataFrame:
    """Return the days with gaps of temperature of at most three days filled in a straight line; rain stays unknown."""
    filled = values.copy()
    for name in ("tmax_c", "tmin_c"):
        column = values[name]
        gap = column.isna()
        run = gap.groupby((~gap).cumsum()).transform("sum")
        short = gap & (run <= MAX_FILLED)
        line = column.interpolate("linear", limit_area="inside")
        filled[name] = column.where(~short, line)
        count = int((short & filled[name].notna()).sum())
        if count:
            at.part(name).add("weather.gaps", f"{count:,} days were filled between their neighbors.")
    return filled
