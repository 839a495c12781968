"""Successive correction: a coarse smooth field first, then what it missed, finer each time.

Each level spreads the residuals of the levels before it with a Gaussian weight (Cressman
1959; Barnes 1964, J. Appl. Meteor. 3:396-409; cited from memory), on a lattice whose step
is half the weight's scale. Where records are sparse the weight sum falls below the
shrinkage and the finer level leaves the coarser one as it is. The result is linear in the
values, and its cost is linear in records plus lattice nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.yieldmap.many_records import every, for_each

_MARGIN = 3.0  #: scales beyond the records that the lattice reaches
_STEPS = 2  #: lattice steps in a scale
_REACH = 7  #: steps after which the Gaussian is cut off, 3.5 scales
_MANY = 50_000  #: records beyond which a thread for each level saves time
_ROWS = 32  #: rows blurred at a time


@dataclass(frozen=True, slots=True)
class Level:
    """One level's lattice and the weights of the records on it."""

    scale: float  #: standard deviation of the Gaussian weight, m
    x0: float
    y0: float
    step: float
    taps: np.ndarray  #: the Gaussian at whole steps, from its middle outwards, sums to one over both sides
    weights: np.ndarray  #: (rows, columns) smoothed weight of the records
    full: float  #: the weight where records lie as densely as they usually do


@dataclass(frozen=True, slots=True)
class Records:
    """Where values are known and how much each counts."""

    x: np.ndarray
    y: np.ndarray
    weight: np.ndarray


def make_levels(records: Records, scales: Sequence[float]) -> list[Level]:
    """Return the lattices for a set of records, coarsest first.

    Parameters
    ----------
    records : Records
        Float64 arrays, (n,).
    scales : sequence of float
        Standard deviations of the Gaussian weights, m, falling.
    """
    x, y = records.x, records.y
    west, south, east, north = float(x.min()), float(y.min()), float(x.max()), float(y.max())
    taps = np.exp(-0.5 * (np.arange(_REACH + 1) / _STEPS) ** 2)
    taps /= taps[0] + 2 * taps[1:].sum()
    some = every(len(x))

    def make(scale: float) -> Level:
        step = scale / _STEPS
        x0, y0 = west - _MARGIN * scale, south - _MARGIN * scale
        columns = int((east + _MARGIN * scale - x0) / step) + 2
        rows = int((north + _MARGIN * scale - y0) / step) + 2
        weights = np.zeros((rows, columns))
        _splat(x, y, records.weight, None, x0, y0, step, weights)
        _blur(weights, taps, None, 0.0)
        at = np.zeros(len(some))
        _add(weights, x[some], y[some], x0, y0, step, 1.0, at)
        return Level(scale, x0, y0, step, taps, weights, float(np.median(at)))

    return for_each(make, scales) if len(x) > _MANY else [make(scale) for scale in scales]


class Lattice(NamedTuple):
    """Values at the nodes of a level, as compiled loops take them; see `Level`."""

    values: np.ndarray
    y0: float
    step: float


class Along(NamedTuple):
    """A field made ready to be read along rows of a grid, by compiled loops."""

    mean: float
    lattices: tuple[Lattice, ...]
    left: np.ndarray  #: (lattices, columns of the grid) column of the lattice to the left of each cell's middle
    share: np.ndarray  #: how far towards the next one the middle lies, 0 to 1


@dataclass(frozen=True, slots=True)
class Field:
    """A fitted field: a mean and one correction for each level."""

    mean: float
    levels: list[Level]
    corrections: list[np.ndarray]

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return the field's values at points, (n,), linear between lattice nodes."""
        total = np.full(len(x), self.mean)
        for level, correction in zip(self.levels, self.corrections, strict=True):
            _add(correction, x, y, level.x0, level.y0, level.step, 1.0, total)
        return total

    def on_grid(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return the field on the grid of all x and y, (len(y), len(x))."""
        total = np.empty((len(y), len(x)))
        _fill(self.along(x), y, total)
        return total

    def along(self, x: np.ndarray) -> Along:
        """Return the field ready for rows of a grid whose cells have their middles at x."""
        at = [
            np.clip((x - level.x0) / level.step, 0.0, correction.shape[1] - 1.001)
            for level, correction in zip(self.levels, self.corrections, strict=True)
        ]
        left = np.array(at).astype(np.uint32)
        lattices = zip(self.corrections, self.levels, strict=True)
        return Along(self.mean, tuple(Lattice(c, v.y0, v.step) for c, v in lattices), left, np.array(at) - left)


def fit(
    records: Records, levels: list[Level], values: np.ndarray, shrink: Sequence[float], mean: float | None = None
) -> tuple[Field, np.ndarray]:
    """Fit a field to values.

    Parameters
    ----------
    records : Records
        Those the levels were made for.
    levels : list of Level
    values : array, (n,)
    shrink : sequence of float
        For each level, how much weight the coarser field has, in units of the typical
        density of records; infinite leaves the level out.
    mean : float, optional
        Start from this instead of the weighted mean of the values.

    Returns
    -------
    Field
    array, (n,)
        Residuals: values less the field at the records.
    """
    if mean is None:
        mean = float(np.average(values, weights=records.weight))
    residual = values - mean
    used, corrections = [], []
    for level, share in zip(levels, shrink, strict=True):
        if not np.isfinite(share):
            continue
        used.append(level)
        corrections.append(_correct(records, level, share, residual))
    return Field(mean, used, corrections), residual


def predict(
    records: Records,
    levels: list[Level],
    values: np.ndarray,
    shrinks: Sequence[Sequence[float]],
    x: np.ndarray,
    y: np.ndarray,
) -> np.ndarray:
    """Return what the fits with each of several `shrinks` say at places, (len(shrinks), len(x)).

    As `fit` and `Field.at` for each; levels that several have in common, from the coarsest on, are fitted once.
    """
    mean = float(np.average(values, weights=records.weight))
    fitted: dict[tuple[float, ...], tuple[np.ndarray, np.ndarray]] = {(): (values - mean, np.full(len(x), mean))}
    for shrink in shrinks:
        for depth, level in enumerate(levels):
            head = tuple(shrink[: depth + 1])
            if head in fitted:
                continue
            fitted[head] = fitted[head[:-1]]
            if np.isfinite(shrink[depth]):
                residual, values_there = fitted[head][0].copy(), fitted[head][1].copy()
                correction = _correct(records, level, shrink[depth], residual)
                _add(correction, x, y, level.x0, level.y0, level.step, 1.0, values_there)
                fitted[head] = residual, values_there
    return np.array([fitted[tuple(shrink)][1] for shrink in shrinks])


def _correct(records: Records, level: Level, share: float, residual: np.ndarray) -> np.ndarray:
    """Return a level's correction of what the levels before it missed, and take it off that."""
    moment = np.zeros_like(level.weights)
    _splat(records.x, records.y, records.weight, residual, level.x0, level.y0, level.step, moment)
    _blur(moment, level.taps, level.weights, max(share, 1e-9) * level.full)
    _add(moment, records.x, records.y, level.x0, level.y0, level.step, -1.0, residual)
    return moment


@njit(cache=True, nogil=True)
def _splat(
    x: np.ndarray, y: np.ndarray, weight: np.ndarray, value: np.ndarray | None, x0: float, y0: float, step: float,
    out: np.ndarray,
) -> None:  # fmt: skip
    """Add each weight, times its value where there are values, to the four nodes around it by linear shares."""
    per_m = 1.0 / step
    for i in range(len(x)):
        fx, fy = (x[i] - x0) * per_m, (y[i] - y0) * per_m
        col, row = int(fx), int(fy)
        u, v = fx - col, fy - row
        here = weight[i] if value is None else weight[i] * value[i]
        low, high = here * (1 - v), here * v
        out[row, col] += low * (1 - u)
        out[row, col + 1] += low * u
        out[row + 1, col] += high * (1 - u)
        out[row + 1, col + 1] += high * u


@njit(cache=True, nogil=True)
def _between(field: np.ndarray, fx: float, fy: float) -> float:
    """Return the field at a place in lattice steps, linear between the four nodes around it."""
    rows, columns = field.shape
    fx, fy = min(max(fx, 0.0), columns - 1.001), min(max(fy, 0.0), rows - 1.001)
    col, row = int(fx), int(fy)
    u, v = fx - col, fy - row
    low = field[row, col] * (1 - u) + field[row, col + 1] * u
    high = field[row + 1, col] * (1 - u) + field[row + 1, col + 1] * u
    return low * (1 - v) + high * v


@njit(cache=True, nogil=True)
def _add(
    field: np.ndarray, x: np.ndarray, y: np.ndarray, x0: float, y0: float, step: float, times: float, out: np.ndarray
) -> None:
    """Add the field at places, so many times, to what is in `out`."""
    per_m = 1.0 / step
    for i in range(len(x)):
        out[i] += times * _between(field, (x[i] - x0) * per_m, (y[i] - y0) * per_m)


@njit(cache=True, nogil=True)
def row_at(along: Along, y: float, line: np.ndarray, out: np.ndarray) -> None:
    """Write the field's values along the row at y; `line` is room for the longest lattice's row."""
    out[:] = along.mean
    for k in range(len(along.lattices)):
        lattice, left, share = along.lattices[k], along.left[k], along.share[k]
        rows, columns = lattice.values.shape
        fy = min(max((y - lattice.y0) / lattice.step, 0.0), rows - 1.001)
        row = int(fy)
        v = fy - row
        for c in range(columns):
            line[c] = lattice.values[row, c] * (1 - v) + lattice.values[row + 1, c] * v
        for c in range(len(out)):
            # unsigned indices: no branch for those below zero
            out[c] += line[left[c]] * (1 - share[c]) + line[left[c] + np.uint32(1)] * share[c]


@njit(cache=True, nogil=True)
def longest(along: Along) -> int:
    """Return the number of columns of the longest lattice."""
    most = 0
    for k in range(len(along.lattices)):
        most = max(most, along.lattices[k].values.shape[1])
    return most


@njit(cache=True, nogil=True)
def _fill(along: Along, y: np.ndarray, out: np.ndarray) -> None:
    line = np.empty(longest(along))
    for r in range(len(y)):
        row_at(along, y[r], line, out[r])


@njit(cache=True, nogil=True, error_model="numpy")
def _blur(field: np.ndarray, taps: np.ndarray, by: np.ndarray | None, added: float) -> None:
    """Blur a field in its place by a separable Gaussian, nothing beyond the edge; then divide it by `by` and `added`.

    Some rows at a time, which stay in the processor's cache together with those above and below as they were.
    """
    rows, columns = field.shape
    before, line = np.zeros((_ROWS + 2 * _REACH, columns)), np.zeros(columns + 2 * _REACH)
    for r in range(min(_REACH, rows)):
        before[_REACH + r] = field[r]
    for first in range(0, rows, _ROWS):
        for r in range(_ROWS):
            ahead = first + _REACH + r
            if ahead < rows:
                before[2 * _REACH + r] = field[ahead]
            else:
                before[2 * _REACH + r] = 0.0
        for r in range(min(_ROWS, rows - first)):
            for c in range(columns):
                total = taps[0] * before[_REACH + r, c]
                for k in range(1, _REACH + 1):
                    total += taps[k] * (before[_REACH + r - k, c] + before[_REACH + r + k, c])
                line[_REACH + c] = total
            for c in range(columns):
                total = taps[0] * line[_REACH + c]
                for k in range(1, _REACH + 1):
                    total += taps[k] * (line[_REACH + c - k] + line[_REACH + c + k])
                field[first + r, c] = total if by is None else total / (by[first + r, c] + added)
        for r in range(2 * _REACH):
            before[r] = before[_ROWS + r]
