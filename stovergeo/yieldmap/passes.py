"""Records in driving order: passes, headings, times from the ends."""

from __future__ import annotations

import gc
from dataclasses import dataclass, replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numba import njit

from stovergeo.yieldmap.many_records import every, side_by_side, typical

_FAR_M = 100_000.0


@dataclass(frozen=True, slots=True)
class Track:
    """The records of all machines in driving order; every array has length n and this order."""

    order: np.ndarray  #: row of the points table
    as_filed: bool  #: whether that is the table's own order
    machine: np.ndarray  #: number of the machine, an index into `machine_names`
    machine_names: list[str]
    x: np.ndarray  #: position at the end of the record
    y: np.ndarray
    seconds: np.ndarray  #: time the record covers; the typical one where that is not known, 1 where none is
    timed: np.ndarray  #: bool: whether the time the record covers is known
    clock: np.ndarray  #: s since the machine's first record, never backwards inside a pass
    pass_id: np.ndarray  #: 0, 1, ... in driving order
    start: np.ndarray  #: (passes + 1,) the first record of each pass, and the number of records
    east: np.ndarray  #: unit heading
    north: np.ndarray
    swath: np.ndarray  #: width cut, m
    length: np.ndarray  #: ground covered, m
    clock_steps_back: int  #: times the clock was set back while driving on
    sorted_by_time: bool  #: whether the file's own order had to be changed

    @property
    def passes(self) -> int:
        """Number of passes."""
        return len(self.start) - 1

    def heading_deg(self) -> np.ndarray:
        """Return the heading of each record, 0 to 360 degrees from north by east."""
        angle = np.degrees(np.arctan2(self.east, self.north))
        return np.add(angle, 360, out=angle, where=angle < 0)

    def at_middle(self) -> Track:
        """Return the track with every record in the middle of the ground it covered, half its way back."""
        half = 0.5 * self.length
        return replace(self, x=self.x - half * self.east, y=self.y - half * self.north)

    def driven(self, values: np.ndarray) -> np.ndarray:
        """Put values of the points table into driving order; the very array where it is in it."""
        return values if self.as_filed else values[self.order]

    def back(self, values: np.ndarray) -> np.ndarray:
        """Put values in driving order back into the order of the points table; the very array where it is in it."""
        if self.as_filed:
            return values
        out = np.empty_like(values)
        out[self.order] = values
        return out


class Way(NamedTuple):
    """What of a track tells footprints, as compiled loops take it; see `Track`."""

    x: np.ndarray
    y: np.ndarray
    east: np.ndarray
    north: np.ndarray
    length: np.ndarray
    swath: np.ndarray
    pass_id: np.ndarray


def way_of(track: Track) -> Way:
    """Return the way of a track."""
    return Way(track.x, track.y, track.east, track.north, track.length, track.swath, track.pass_id)


def coordinates(points: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return x and y of points; NaN where there is no position."""
    geometry = points.geometry.to_numpy()
    return side_by_side(lambda: shapely.get_x(geometry), lambda: shapely.get_y(geometry))


def points_at(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return points, (n,), at coordinates.

    Python does not look for garbage among them: it would search the growing million again and again, and find none.
    """
    searching, frozen = gc.isenabled(), gc.get_freeze_count()
    gc.disable()
    try:
        return shapely.points(x, y)
    finally:
        if not frozen:
            # there and back files all objects, unsearched, as old ones, which are seldom looked at
            gc.freeze()
            gc.unfreeze()
        if searching:
            gc.enable()


def placed(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return which positions are there and within 100 km of the middle one.

    A receiver that has lost its satellites writes zeros, which lie an ocean away.
    """
    known = np.isfinite(x + y)
    if not known.any():
        return known
    east, north = (x, y) if known.all() else (x[known], y[known])
    east, north = x - typical(east), y - typical(north)
    east *= east
    north *= north
    east += north
    return east < _FAR_M**2  # never so for NaN


def track_of(
    points: pd.DataFrame,
    x: np.ndarray,
    y: np.ndarray,
    *,
    gap_records: float,
    turn_deg: float,
    max_back_fraction: float = 0.01,
    max_repeated_fraction: float = 0.25,
    machines: tuple[np.ndarray, list[str]] | None = None,
) -> Track:
    """Put records in driving order and split them into passes.

    A pass ends where the clock jumps, where the machine is further off than it can have
    driven, or where it turns sharply. The file's order is kept where its clock runs
    backwards only now and then (a clock set right); otherwise records are sorted by time
    within each machine.

    Parameters
    ----------
    points : DataFrame
        `schemas.POINTS`; only columns are read.
    x, y : array, (n,)
        Finite positions in meters.
    gap_records : float
        A gap longer than this many typical records ends a pass.
    turn_deg : float
        A change of heading above this between two records ends a pass.
    max_back_fraction : float
        Largest share of backward clock steps for which the file's order is trusted.
    max_repeated_fraction : float
        Largest share of time stamps that repeat the one before for which they tell one record from the next; above
        it they only tell the order.
    machines : (array of int32, list of str), optional
        `machines_of` these points, where that is known already.
    """
    n = len(points)
    machine, names = machines or machines_of(points)
    order = np.argsort(machine, kind="stable") if len(names) > 1 else np.arange(n)
    time = points["time_s"].to_numpy(float) if "time_s" in points else np.full(n, np.nan)
    timed = bool(np.isfinite(time).all()) and n > 0
    back, resort = 0, False
    if timed:
        later, driver = (time, machine) if len(names) <= 1 else (time[order], machine[order])
        back = int(((later[1:] < later[:-1]) & (driver[1:] == driver[:-1])).sum())
        resort = back > max_back_fraction * n
        if resort:
            order, back = np.lexsort((time, machine)), 0
    as_filed = len(names) <= 1 and not resort
    driven = slice(None) if as_filed else order  # a view spares the copy
    x, y, machine = x[driven], y[driven], machine[driven]
    # read once in a while where there are many
    some = every(n)[1:]
    step = np.hypot(x[some] - x[some - 1], y[some] - y[some - 1])
    typical_step = typical(step[step > 0], 1.0)
    length = _column(points, "distance_m", driven, typical_step)
    swath = _column(points, "swath_m", driven, np.nan)
    given = np.isfinite(swath)
    if not typical(swath[given], 0.0) > 0:
        given[:] = False  # a width of nothing tells nothing
    if not given.all():
        swath = np.where(given, swath, points["area_m2"].to_numpy(float)[driven] / np.maximum(length, 1e-6))
    seconds = _column(points, "seconds", driven, 0.0)
    dt = time[driven][some] - time[driven][some - 1] if timed else np.empty(0)
    fine = bool((dt > 0).any()) and float((dt == 0).sum()) <= max_repeated_fraction * len(dt)
    typical_dt = typical(dt[dt > 0]) if fine else typical(seconds[seconds > 0], 1.0)
    time = np.array(time[driven]) if fine else np.arange(n, dtype=float) * typical_dt
    known = seconds > 0 if "seconds" in points else np.full(n, fine)
    seconds = np.where(seconds > 0, seconds, typical_dt)
    reach = max(typical_step, 0.1)
    pass_id, clock, east, north = np.empty(n, np.int64), np.empty(n), np.ones(n), np.zeros(n)
    limits = reach, typical_dt, gap_records, np.cos(np.radians(turn_deg))
    _drive(x, y, machine, time, length, seconds, *limits, pass_id, clock, east, north)
    start = np.searchsorted(pass_id, np.arange(pass_id[-1] + 2)) if n else np.zeros(1, np.int64)
    made = order, as_filed, machine, names, x, y, seconds, known, clock, pass_id, start, east, north, swath, length
    return Track(*made, back, resort)


def machines_of(points: pd.DataFrame) -> tuple[np.ndarray, list[str]]:
    """Return the number of each record's machine, int32, and the machines' names."""
    if "machine" not in points:
        return np.zeros(len(points), dtype=np.int32), ["all"]
    codes, found = pd.factorize(points["machine"], use_na_sentinel=False)
    # named after they are separated, which are few; a machine named "unnamed" is the one without a name
    names, number = np.unique(["unnamed" if pd.isna(name) else str(name) for name in found], return_inverse=True)
    return number.astype(np.int32)[codes], names.tolist()


def _column(points: pd.DataFrame, name: str, order: np.ndarray | slice, default: float) -> np.ndarray:
    """Return a column in driving order, with the default where it holds no number or one below zero."""
    if name not in points:
        return np.full(len(points), default)
    values = points[name].to_numpy(float)[order]
    return np.where(np.isfinite(values) & (values >= 0), values, default)


@njit(cache=True, nogil=True)
def _drive(
    x: np.ndarray, y: np.ndarray, machine: np.ndarray, time: np.ndarray, length: np.ndarray, seconds: np.ndarray,
    typical_step: float, typical_dt: float, gap_records: float, min_cosine: float,
    pass_id: np.ndarray, clock: np.ndarray, east: np.ndarray, north: np.ndarray,
) -> None:  # fmt: skip
    """Find number of the pass, clock and unit heading of each record; the heading is east to begin with."""
    n = len(x)
    number, now = -1, 0.0
    ended, step, dx, dy = True, 0.0, 0.0, 0.0
    for i in range(n):
        ended_before, step_before, dx_before, dy_before = ended, step, dx, dy
        ended, step, dt = True, 0.0, typical_dt
        if i > 0:
            dx, dy, dt = x[i] - x[i - 1], y[i] - y[i - 1], time[i] - time[i - 1]
            step = np.sqrt(dx * dx + dy * dy)
            # a clock set back does not end a pass where the machine plainly drove on
            late = dt > gap_records * max(seconds[i], typical_dt)
            far = step > gap_records * max(length[i], typical_step)
            ended = machine[i] != machine[i - 1] or late or far
        turned = False
        if not (ended or ended_before) and step > 0 and step_before > 0:
            turned = (dx * dx_before + dy * dy_before) / max(step * step_before, 1e-12) < min_cosine
        number += ended or turned
        now += dt if dt > 0 else typical_dt
        pass_id[i], clock[i] = number, now
    # the heading is that from the record before to the record after, of the same pass
    for i in range(n):
        before = i - 1 if i > 0 and pass_id[i - 1] == pass_id[i] else i
        after = i + 1 if i + 1 < n and pass_id[i + 1] == pass_id[i] else i
        dx, dy = x[after] - x[before], y[after] - y[before]
        step = np.sqrt(dx * dx + dy * dy)
        if step > 0:
            east[i], north[i] = dx / step, dy / step
