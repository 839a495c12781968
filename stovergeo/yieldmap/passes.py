"""Records in driving order: passes, headings, times from the ends."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

_FAR_M = 100_000.0


@dataclass(frozen=True, slots=True)
class Track:
    """The records of all machines in driving order; every array has length n and this order."""

    order: np.ndarray  #: row of the points table
    machine: np.ndarray  #: number of the machine, an index into `machine_names`
    machine_names: list[str]
    x: np.ndarray  #: position at the end of the record
    y: np.ndarray
    seconds: np.ndarray  #: time the record covers; all one where no time is known
    clock: np.ndarray  #: s since the machine's first record, never backwards inside a pass
    pass_id: np.ndarray  #: 0, 1, ... in driving order
    east: np.ndarray  #: unit heading
    north: np.ndarray
    swath: np.ndarray  #: width cut, m
    length: np.ndarray  #: ground covered, m
    clock_steps_back: int  #: times the clock was set back while driving on
    sorted_by_time: bool  #: whether the file's own order had to be changed

    @property
    def passes(self) -> int:
        """Number of passes."""
        return int(self.pass_id[-1]) + 1 if len(self.pass_id) else 0

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the first and one past the last record of each pass."""
        first = np.flatnonzero(np.diff(self.pass_id, prepend=-1))
        return first, np.append(first[1:], len(self.pass_id))

    def at_middle(self) -> Track:
        """Return the track with every record in the middle of the ground it covered, half its way back."""
        half = 0.5 * self.length
        return replace(self, x=self.x - half * self.east, y=self.y - half * self.north)

    def back(self, values: np.ndarray) -> np.ndarray:
        """Put values in driving order back into the order of the points table."""
        out = np.empty_like(values)
        out[self.order] = values
        return out


def coordinates(points: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return x and y of points; NaN where there is no position."""
    geometry = points.geometry.to_numpy()
    return shapely.get_x(geometry), shapely.get_y(geometry)


def placed(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return which positions are there and within 100 km of the middle one.

    A receiver that has lost its satellites writes zeros, which lie an ocean away.
    """
    known = np.isfinite(x) & np.isfinite(y)
    if known.any():
        far = np.hypot(x - np.median(x[known]), y - np.median(y[known]))
        known &= np.nan_to_num(far, nan=np.inf) < _FAR_M
    return known


def track_of(
    points: pd.DataFrame,
    x: np.ndarray,
    y: np.ndarray,
    *,
    gap_records: float,
    turn_deg: float,
    most_back_share: float = 0.01,
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
        Finite positions in metres.
    gap_records : float
        A gap longer than this many usual records ends a pass.
    turn_deg : float
        A change of heading above this between two records ends a pass.
    most_back_share : float
        Largest share of backward clock steps for which the file's order is trusted.
    """
    n = len(points)
    machine, names = _machines(points)
    time = points["time_s"].to_numpy(float) if "time_s" in points else np.full(n, np.nan)
    timed = bool(np.isfinite(time).all()) and n > 0
    order = np.argsort(machine, kind="stable")
    same = np.diff(machine[order]) == 0
    back = int(((np.diff(time[order]) < 0) & same).sum()) if timed else 0
    resort = timed and back > most_back_share * n
    if resort:
        order = np.lexsort((time, machine))
        back = 0
    x, y, machine = x[order], y[order], machine[order]
    area = points["area_m2"].to_numpy(float)[order]
    step = np.hypot(np.diff(x, prepend=x[:1]), np.diff(y, prepend=y[:1]))
    usual_step = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
    length = _column(points, "distance_m", order, usual_step)
    swath = _column(points, "swath_m", order, np.nan)
    swath = np.where(np.isfinite(swath), swath, area / np.maximum(length, 1e-6))
    if timed:
        time = time[order]
        dt = np.diff(time, prepend=time[:1])
        usual_dt = float(np.median(dt[dt > 0])) if (dt > 0).any() else 1.0
    else:
        dt = np.ones(n)
        usual_dt = 1.0
    seconds = _column(points, "seconds", order, usual_dt)
    seconds = np.where(seconds > 0, seconds, usual_dt)
    reach = gap_records * np.maximum(np.maximum(length, usual_step), 0.1)
    late = dt > gap_records * np.maximum(seconds, usual_dt)
    # a clock set back does not end a pass where the machine plainly drove on
    breaks = (np.diff(machine, prepend=-1) != 0) | late | (step > reach)
    breaks |= _turns(x, y, breaks, turn_deg)
    pass_id = np.cumsum(breaks) - 1
    east, north = _headings(x, y, pass_id)
    clock = np.cumsum(np.where(dt > 0, dt, usual_dt))
    return Track(order, machine, names, x, y, seconds, clock, pass_id, east, north, swath, length, back, resort)


def _machines(points: pd.DataFrame) -> tuple[np.ndarray, list[str]]:
    if "machine" not in points:
        return np.zeros(len(points), dtype=np.int32), ["all"]
    codes, names = pd.factorize(points["machine"].fillna("unnamed").astype(str), sort=True)
    return codes.astype(np.int32), [str(name) for name in names]


def _column(points: pd.DataFrame, name: str, order: np.ndarray, default: float) -> np.ndarray:
    """Return a column in driving order, with the default where it holds no number or one below zero."""
    if name not in points:
        return np.full(len(order), default)
    values = points[name].to_numpy(float)[order]
    return np.where(np.isfinite(values) & (values >= 0), values, default)


def _turns(x: np.ndarray, y: np.ndarray, breaks: np.ndarray, turn_deg: float) -> np.ndarray:
    """Return where the heading changes by more than `turn_deg` between two steps of one pass."""
    dx, dy = np.diff(x, prepend=x[:1]), np.diff(y, prepend=y[:1])
    length = np.hypot(dx, dy)
    inside = ~breaks & ~np.roll(breaks, 1) & (length > 0) & (np.roll(length, 1) > 0)
    along = (dx * np.roll(dx, 1) + dy * np.roll(dy, 1)) / np.maximum(length * np.roll(length, 1), 1e-12)
    return inside & (along < np.cos(np.radians(turn_deg)))


def _headings(x: np.ndarray, y: np.ndarray, pass_id: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return unit headings from the neighbouring records of the same pass (east where there is none)."""
    n = len(x)
    index = np.arange(n)
    before = np.where(np.roll(pass_id, 1) == pass_id, index - 1, index)
    after = np.where(np.roll(pass_id, -1) == pass_id, index + 1, index)
    if n:
        before[0], after[-1] = 0, n - 1
    dx, dy = x[after] - x[before], y[after] - y[before]
    length = np.hypot(dx, dy)
    still = length == 0
    scale = np.where(still, 1.0, length)
    return np.where(still, 1.0, dx / scale), np.where(still, 0.0, dy / scale)
