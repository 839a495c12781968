"""Columns of combine points as declared, in SI: moisture, time, distance and width of each record."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.errors import Problem
from stovergeo.core.messages import Catalog
from stovergeo.core.units import KG_PER_LB, KG_PER_MG, LB_PER_BUSHEL_CORN, M_PER_FT, M_PER_MI
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import PointsLayer
from stovergeo.inputs.point_checks import pass_spacing_m, report_frozen
from stovergeo.inputs.tables import LENGTH_M, column_missing, to_numbers, unit_in_name
from stovergeo.inputs.text import clean_column

message = Catalog("stovergeo.inputs")
KG_PER_BUSHEL: Final = LB_PER_BUSHEL_CORN * KG_PER_LB
SPEED_M_S: Final = {"mph": M_PER_MI / 3600, "km/h": 1 / 3.6, "m/s": 1.0, "ft/s": M_PER_FT}
SECONDS: Final = {"s": 1.0, "ms": 0.001}
MASS_KG: Final = {"lb": KG_PER_LB, "kg": 1.0}
FLOW_KG_S: Final = {"lb/s": KG_PER_LB, "kg/s": 1.0, "t/h": KG_PER_MG / 3600, "bu/h": KG_PER_BUSHEL / 3600}
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
#: widths of the machines of one farm differ by less than this (six and eighteen rows: three; judgment)
MAX_WIDTHS: Final = 4.0
#: share of time stamps that repeat the one before, above which they are too coarse to tell durations (judgment)
MAX_REPEATED: Final = 0.25
#: epoch of GPS time, 1980-01-06, in Unix seconds, less the 18 leap seconds since (IS-GPS-200; from memory)
GPS_EPOCH_S: Final = 315_964_800 - 18


class DeclaredColumns:
    """The declared columns of one table as arrays in SI."""

    def __init__(self, frame: gpd.GeoDataFrame, layer: PointsLayer, at: Place) -> None:
        self.frame, self.layer, self.at = frame, layer, at
        self.trouble: list[Problem] = []
        self.n = len(frame)

    def wrong(self, key: str, code: str, what: str, cure: str | None = None) -> None:
        """Note a problem that forbids the table, at a key of the layer, and go on to find the others."""
        self.trouble += self.at.key(key).refuse(code, what, cure).problems

    def raw(self, role: str) -> pd.Series | None:
        """Return the column declared for a role as it is in the file; None where there is none, which is noted."""
        name = getattr(self.layer.columns, role)
        if name is None or name in self.frame.columns:
            return None if name is None else self.frame[name]
        self.trouble += column_missing(name, self.frame, self.at.key(f"columns.{_key(role)}")).problems
        return None

    def measured(self, role: str) -> np.ndarray | None:
        """Return the column of a role in the SI unit of `MEASURED`; None where it or its unit is not there."""
        column = self.raw(role)
        if column is None:
            return None
        factors, code = MEASURED[role]
        unit = getattr(self.layer.units, role)
        if unit is None:
            self.lacks_unit(role, code, factors)
            return None
        named = unit_in_name(str(column.name))
        if named in factors and named != unit:
            said = f"The name of the column {column.name!r} says {named}, the plan {unit}; the plan is followed."
            self.at.key(f"units.{role}").add("points.name_unit", said)
        place = self.at.column(column.name)
        numbers = to_numbers(column, place)
        if role in _NEVER_NEGATIVE and (negative := numbers < 0).any():
            said = f"{int(negative.sum()):,} of {len(numbers):,} values are less than nothing; taken as unknown."
            place.add("points.negative", said)
            numbers = np.where(negative, np.nan, numbers)
        if role in _MOVING:
            report_frozen(numbers, place, zeros=role in ("flow", "mass"))
        return numbers * factors[unit]

    def lacks_unit(self, role: str, code: str, known: Iterable[str]) -> None:
        """Note that a declared column has no unit."""
        key, name = _key(role), getattr(self.layer.columns, role)
        said = f"The column {name!r} is read as {key}, but its unit is not declared."
        cure = f'Add {key} = "..." under [layers.yield_points.units]; known are: {", ".join(known)}.'
        self.wrong(f"units.{key}", code, said, cure)

    def text(self, role: str) -> pd.Series | None:
        """Return the column of a role as cleaned text."""
        column = self.raw(role)
        return None if column is None else clean_column(column, self.at.column(column.name))


def _key(role: str) -> str:
    return "yield" if role == "grain_yield" else role


def moisture_of(column: np.ndarray | None, col: DeclaredColumns) -> np.ndarray | None:
    """Return the moisture of each record, %, once it can be that of a corn harvest; None where nothing tells it."""
    if column is None:
        return None if col.layer.moisture_pct is None else np.full(col.n, col.layer.moisture_pct)
    if not np.isfinite(column).any():
        col.wrong("units.moisture", "yield.moisture", "The moisture column holds no number.")
        return None
    typical = middle(column)
    said = cure = ""
    if col.layer.units.moisture == "%" and typical <= 1:
        said = f"Moisture is declared in %, but half of it is under {typical:.3g}: it looks like a fraction."
        cure = 'If it is, write moisture = "fraction".'
    elif col.layer.units.moisture == "fraction" and typical > 100:
        said = f"Moisture is declared as a fraction, but half of it is over {typical / 100:.3g}: it looks like %."
        cure = 'If it is, write moisture = "%".'
    elif not USUAL_MOISTURE_PCT[0] <= typical <= USUAL_MOISTURE_PCT[1]:
        said = f"Half of the moistures are below {typical:.3g} %, which no corn harvest is."
        cure = "Check the column and its unit."
    if said:
        col.wrong("units.moisture", "yield.moisture", said, cure)
    if gaps := int(np.isnan(column).sum()):
        said = f"{gaps:,} of {col.n:,} records have no moisture; their dry grain is unknown."
        col.at.key("columns.moisture").add("yield.moisture_gaps", said)
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
    # stamps are fine enough to tell one record from the next
    fine = (steps > 0).any() and (steps == 0).sum() <= MAX_REPEATED * np.isfinite(steps).sum()
    if column is None and time is not None and fine:
        usual = middle(steps[steps > 0])
        # a pause or a step backwards says nothing of the record after it
        column = np.where((steps > 0) & (steps <= 3 * usual), steps, np.where(np.isfinite(time), usual, np.nan))
        said = f"Durations were taken from the time stamps (typically {usual:.3g} s)."
        col.at.key("columns.seconds").add("points.seconds_from_time", said)
    elif column is not None:
        ratio = middle(column) / middle(steps[steps > 0])
        if np.isfinite(ratio) and not 0.8 <= ratio <= 1.25:
            said = f"Records claim {ratio:.2g} times the seconds that pass between their time stamps."
            col.at.key("columns.seconds").add("points.disagree", said)
    else:
        said = "Nothing tells how long a record took" + _why_no_durations(steps, col)
        col.at.key("columns.time").add("points.no_time", said)
    return column, time


def _steps_s(time: np.ndarray, machine: pd.Series | None) -> np.ndarray:
    """Return the time since the record before of the same machine, NaN at its first."""
    stamps = pd.Series(time)
    steps = stamps.diff() if machine is None else stamps.groupby(machine.to_numpy(), dropna=False).diff()
    return steps.to_numpy(dtype=np.float64)


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
    if unit is None:
        said = f"The epoch of the column {column.name!r} is not declared; time stays unused."
        col.at.key("units.time").add("points.time_unit", said)
        return None
    if unit == "iso":
        stamps = pd.to_datetime(column, errors="coerce", utc=True, format="mixed")
        seconds = (stamps - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(seconds=1)
        return seconds.to_numpy(dtype=np.float64)
    seconds = to_numbers(column, col.at.column(column.name))
    return seconds + GPS_EPOCH_S if unit == "gps s" else seconds


def distance_of(
    values: dict[str, np.ndarray | None], seconds: np.ndarray | None, col: DeclaredColumns
) -> np.ndarray | None:
    """Return the distance covered in each record, m: from its column, from speed and time, else from the positions."""
    spacing = _spacing_m(col.frame)
    place = col.at.key("columns.distance")
    if (distance := values["distance"]) is None and (speed := values["speed"]) is not None and seconds is not None:
        distance = speed * seconds
    if distance is None:
        usual = middle(spacing[spacing > 0])
        place.add("points.distance_from_places", message("length.way_from_places", way=usual))
        return np.where(spacing <= 3 * usual, spacing, usual)
    moving = (spacing > 0) & (distance > 0)
    ratio = float(np.median(distance[moving]) / np.median(spacing[moving])) if moving.any() else 1.0
    if not 0.8 <= ratio <= 1.25:
        said = f"Records claim {ratio:.2g} times the distance between their positions."
        place.add("points.disagree", said, "Check the units of distance, speed and seconds, and the order of the rows.")
    return distance


def believed_swath(swath: np.ndarray, col: DeclaredColumns) -> np.ndarray:
    """Return the widths, unknown where one is far wider than the others: its ground would swallow its neighbors'."""
    steps = _spacing_m(col.frame)
    x, y = col.frame.geometry.x.to_numpy(), col.frame.geometry.y.to_numpy()
    apart = pass_spacing_m(x, y, middle(steps[steps > 0]))
    claimed, place = middle(swath), col.at.key("columns.swath")
    if apart is not None and np.isfinite(claimed) and not 0.75 <= claimed / apart <= 1.35:
        said = message("length.width_and_passes", claimed=claimed, apart=apart)
        place.add("points.disagree", said, "Check the swath and its unit.")
    wide = swath > MAX_WIDTHS * claimed
    if wide.any():
        widest, count = float(np.nanmax(swath)), int(wide.sum())
        place.add("points.wide", message("length.wide", count=count, all=len(swath), widest=widest, claimed=claimed))
    return np.where(wide, np.nan, swath)


def middle(values: np.ndarray) -> float:
    """Return the median of what is known, NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _spacing_m(frame: gpd.GeoDataFrame) -> np.ndarray:
    x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    return np.hypot(np.diff(x, prepend=np.nan), np.diff(y, prepend=np.nan))
