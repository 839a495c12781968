"""Columns of combine points as declared, in SI: moisture, time, way and width of each record."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.inputs.plan.layers import PointsLayer
from stovergeo.inputs.point_checks import pass_spacing_m, report_frozen
from stovergeo.inputs.tables import (
    FLOW_KG_S,
    LENGTH_M,
    MASS_KG,
    SECONDS,
    SPEED_M_S,
    column_missing,
    to_numbers,
    unit_in_name,
)
from stovergeo.inputs.text import clean_column

message = Catalog("stovergeo.inputs")
#: roles with a unit: role -> (factors by unit, problem to name when the unit lacks)
MEASURED: Final = {
    "flow": (FLOW_KG_S, "yield.unit"),
    "mass": (MASS_KG, "yield.unit"),
    "moisture": ({"%": 1.0, "fraction": 100.0}, "yield.moisture_unit"),
    "swath": (LENGTH_M, "points.unit"),
    "distance": (LENGTH_M, "points.unit"),
    "speed": (SPEED_M_S, "points.unit"),
    "height": (LENGTH_M, "points.unit"),
    "seconds": (SECONDS, "points.unit"),
}
#: roles of which less than nothing is no reading; negative grain is left to the cleaning, which counts it
_NEVER_NEGATIVE: Final = ("moisture", "swath", "distance", "speed", "seconds")
#: roles that change from record to record in a machine that works
_MOVING: Final = ("flow", "mass", "moisture", "distance", "speed")
#: median moisture of a corn harvest, % (common practice, no source)
USUAL_MOISTURE_PCT: Final = (7.0, 45.0)
#: widths of the machines of one farm differ by less than this (six and eighteen rows: three; judgement)
MAX_WIDTHS: Final = 4.0
#: share of time stamps that repeat the one before, above which they are too coarse to tell durations (judgement)
MAX_REPEATED: Final = 0.25
#: epoch of GPS time, 1980-01-06, in Unix seconds, less the 18 leap seconds since (IS-GPS-200; from memory)
GPS_EPOCH_S: Final = 315_964_800 - 18


class DeclaredColumns:
    """The declared columns of one table as arrays in SI."""

    def __init__(self, frame: pd.DataFrame, layer: PointsLayer, where: str, report: Report) -> None:
        self.frame, self.layer, self.where, self.report = frame, layer, where, report
        self.trouble: list[InputError] = []
        self.n = len(frame)

    def raw(self, role: str) -> pd.Series | None:
        """Return the column declared for a role as it is in the file; None where there is none, which is noted."""
        name = getattr(self.layer.columns, role)
        if name is None:
            return None
        if name not in self.frame.columns:
            names = [str(c) for c in self.frame.columns if c != "geometry"]
            self.trouble.append(column_missing(name, names, f"{self.where}.columns.{_key(role)}", self.report))
            return None
        return self.frame[name]

    def measured(self, role: str) -> np.ndarray | None:
        """Return the column of a role in the SI unit of `MEASURED`; None where it or its unit is not there."""
        column = self.raw(role)
        if column is None:
            return None
        factors, code = MEASURED[role]
        unit = getattr(self.layer.units, role)
        if unit is None:
            self.lacks_unit(role, code, tuple(factors))
            return None
        named = unit_in_name(str(column.name))
        if named in factors and named != unit:
            said = f"The name of the column {column.name!r} says {named}, the plan {unit}; the plan is followed."
            self.report.add("points.name_unit", f"{self.where}.units.{_key(role)}", said)
        numbers = to_numbers(column, f"{self.where}, column {column.name!r}", self.report)
        if role in _NEVER_NEGATIVE:
            numbers = self._without_negative(numbers, role, str(column.name))
        if role in _MOVING:
            grain = role in ("flow", "mass")
            report_frozen(numbers, f"{self.where}, column {column.name!r}", self.report, zeros=grain)
        return numbers * factors[unit]

    def _without_negative(self, numbers: np.ndarray, role: str, name: str) -> np.ndarray:
        negative = numbers < 0
        if negative.any():
            said = f"{int(negative.sum()):,} of {len(numbers):,} values are less than nothing; taken as unknown."
            self.report.add("points.negative", f"{self.where}, column {name!r}", said)
        return np.where(negative, np.nan, numbers)

    def lacks_unit(self, role: str, code: str, known: tuple[str, ...]) -> None:
        """Note that a declared column has no unit."""
        said = (
            f"The column {getattr(self.layer.columns, role)!r} is read as {_key(role)}, but its unit is not declared."
        )
        cure = f'Add {_key(role)} = "..." under [layers.yield_points.units]; known are: {", ".join(known)}.'
        self.trouble.append(self.report.refuse(code, f"{self.where}.units.{_key(role)}", said, cure))

    def text(self, role: str) -> pd.Series | None:
        """Return the column of a role as cleaned text."""
        column = self.raw(role)
        return None if column is None else clean_column(column, f"{self.where}, column {column.name!r}", self.report)


def _key(role: str) -> str:
    return "yield" if role == "grain_yield" else role


def moisture_of(column: np.ndarray | None, col: DeclaredColumns) -> np.ndarray | None:
    """Return the moisture of each record, %, once it can be that of a corn harvest; None where nothing tells it."""
    where = f"{col.where}.units.moisture"
    if column is None:
        return None if col.layer.moisture_pct is None else np.full(col.n, col.layer.moisture_pct)
    if not np.isfinite(column).any():
        col.trouble.append(col.report.refuse("yield.moisture", where, "The moisture column holds no number."))
        return None
    typical = middle(column)
    if col.layer.units.moisture == "%" and typical <= 1:
        said = f"Moisture is declared in %, but half of it is under {typical:.3g}: it looks like a fraction."
        col.trouble.append(col.report.refuse("yield.moisture", where, said, 'If it is, write moisture = "fraction".'))
    elif col.layer.units.moisture == "fraction" and typical > 100:
        said = f"Moisture is declared as a fraction, but half of it is over {typical / 100:.3g}: it looks like %."
        col.trouble.append(col.report.refuse("yield.moisture", where, said, 'If it is, write moisture = "%".'))
    elif not USUAL_MOISTURE_PCT[0] <= typical <= USUAL_MOISTURE_PCT[1]:
        said = f"Half of the moistures are below {typical:.3g} %, which no corn harvest is."
        col.trouble.append(col.report.refuse("yield.moisture", where, said, "Check the column and its unit."))
    gaps = int(np.isnan(column).sum())
    if gaps:
        said = f"{gaps:,} of {col.n:,} records have no moisture; their dry grain is unknown."
        col.report.add("yield.moisture_gaps", f"{col.where}.columns.moisture", said)
    return column


def seconds_of(
    column: np.ndarray | None, machine: pd.Series | None, col: DeclaredColumns
) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Return the duration of each record, NaN where nothing tells it, and its time stamp; None where nothing does."""
    time = _time(col)
    if column is None and col.layer.record_s is not None:
        column = np.full(col.n, col.layer.record_s)
    steps = np.empty(0) if time is None else _steps_s(time, machine)
    if column is not None and not (column > 0).any():
        column = None
    if column is None and time is not None and _tells_durations(steps):
        usual = middle(steps[steps > 0])
        # a pause or a step backwards says nothing of the record after it
        column = np.where((steps > 0) & (steps <= 3 * usual), steps, np.where(np.isfinite(time), usual, np.nan))
        col.report.add(
            "points.seconds_from_time",
            f"{col.where}.columns.seconds",
            f"Durations were taken from the time stamps (usually {usual:.3g} s).",
        )
    elif column is not None:
        ratio = middle(column) / middle(steps[steps > 0])
        if np.isfinite(ratio) and not 0.8 <= ratio <= 1.25:
            said = f"Records claim {ratio:.2g} times the seconds that pass between their time stamps."
            col.report.add("points.disagree", f"{col.where}.columns.seconds", said)
    else:
        said = "Nothing tells how long a record took" + _why_no_durations(steps, col)
        col.report.add("points.no_time", f"{col.where}.columns.time", said)
    return column, time


def _steps_s(time: np.ndarray, machine: pd.Series | None) -> np.ndarray:
    """Return the time since the record before of the same machine, NaN at its first."""
    stamps = pd.Series(time)
    steps = stamps.diff() if machine is None else stamps.groupby(machine.to_numpy(), dropna=False).diff()
    return steps.to_numpy(dtype=np.float64)


def _tells_durations(steps: np.ndarray) -> bool:
    """Return whether time stamps are fine enough to tell one record from the next."""
    return bool((steps > 0).any()) and float((steps == 0).sum()) <= MAX_REPEATED * np.isfinite(steps).sum()


def _why_no_durations(steps: np.ndarray, col: DeclaredColumns) -> str:
    if not len(steps):
        return "."
    name = repr(col.layer.columns.time)
    if not np.isfinite(steps).any():
        return f": the column {name} holds no time."
    return f": {(steps == 0).sum():,} of {col.n:,} records repeat the time in {name} of the record before."


def _time(col: DeclaredColumns) -> np.ndarray | None:
    column = col.raw("time")
    if column is None:
        return None
    unit = col.layer.units.time
    where = f"{col.where}.units.time"
    if unit is None:
        said = f"The epoch of the column {column.name!r} is not declared; time stays unused."
        col.report.add("points.time_unit", where, said)
        return None
    if unit == "iso":
        stamps = pd.to_datetime(column, errors="coerce", utc=True, format="mixed")
        seconds = (stamps - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(seconds=1)
        return seconds.to_numpy(dtype=np.float64)
    seconds = to_numbers(column, f"{col.where}, column {column.name!r}", col.report)
    return seconds + GPS_EPOCH_S if unit == "gps s" else seconds


def distance_of(
    values: dict[str, np.ndarray | None], seconds: np.ndarray | None, col: DeclaredColumns
) -> np.ndarray | None:
    """Return the way covered in each record, m: from its column, from speed and time, else from the positions."""
    spacing = _spacing_m(col.frame)
    where = f"{col.where}.columns.distance"
    if (distance := values["distance"]) is None and (speed := values["speed"]) is not None and seconds is not None:
        distance = speed * seconds
    if distance is None:
        usual = middle(spacing[spacing > 0])
        col.report.add(
            "points.distance_from_places",
            where,
            message("length.way_from_places", way=usual),
        )
        return np.where(spacing <= 3 * usual, spacing, usual)
    moving = (spacing > 0) & (distance > 0)
    ratio = float(np.median(distance[moving]) / np.median(spacing[moving])) if moving.any() else 1.0
    if not 0.8 <= ratio <= 1.25:
        said = f"Records claim {ratio:.2g} times the way between their positions."
        col.report.add(
            "points.disagree", where, said, "Check the units of distance, speed and seconds, and the order of the rows."
        )
    return distance


def believed_swath(swath: np.ndarray, col: DeclaredColumns) -> np.ndarray:
    """Return the widths, unknown where one is far wider than the others: its ground would swallow its neighbours'."""
    steps = _spacing_m(col.frame)
    x, y = col.frame.geometry.x.to_numpy(), col.frame.geometry.y.to_numpy()
    apart = pass_spacing_m(x, y, float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0)
    claimed = middle(swath)
    if apart is not None and np.isfinite(claimed) and not 0.75 <= claimed / apart <= 1.35:
        said = message("length.width_and_passes", claimed=claimed, apart=apart)
        col.report.add("points.disagree", f"{col.where}.columns.swath", said, "Check the swath and its unit.")
    wide = swath > MAX_WIDTHS * claimed
    if wide.any():
        widest, count = float(np.nanmax(swath)), int(wide.sum())
        said = message("length.wide", count=count, all=len(swath), widest=widest, claimed=claimed)
        col.report.add("points.wide", f"{col.where}.columns.swath", said)
    return np.where(wide, np.nan, swath)


def middle(values: np.ndarray) -> float:
    """Return the median of what is known, NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _spacing_m(frame: gpd.GeoDataFrame) -> np.ndarray:
    x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    return np.hypot(np.diff(x, prepend=np.nan), np.diff(y, prepend=np.nan))
