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

import numpy as np
from numba import njit

_MARGIN = 3.0  #: scales beyond the records that the lattice reaches


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
    levels = []
    for scale in scales:
        step = scale / 2
        x0 = float(records.x.min()) - _MARGIN * scale
        y0 = float(records.y.min()) - _MARGIN * scale
        columns = int((float(records.x.max()) + _MARGIN * scale - x0) / step) + 2
        rows = int((float(records.y.max()) + _MARGIN * scale - y0) / step) + 2
        reach = int(np.ceil(3.5 * scale / step))
        taps = np.exp(-0.5 * (np.arange(reach + 1) * step / scale) ** 2)
        taps /= taps[0] + 2 * taps[1:].sum()
        weights = np.zeros((rows, columns))
        _splat(records.x, records.y, records.weight, x0, y0, step, weights)
        weights = _blur(weights, taps)
        at = np.empty(len(records.x))
        _sample(weights, records.x, records.y, x0, y0, step, at)
        levels.append(Level(scale, x0, y0, step, taps, weights, float(np.median(at))))
    return levels


@dataclass(frozen=True, slots=True)
class Field:
    """A fitted field: a mean and one correction for each level."""

    mean: float
    levels: list[Level]
    corrections: list[np.ndarray]

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return the field's values at points, (n,), linear between lattice nodes."""
        total = np.full(len(x), self.mean)
        part = np.empty(len(x))
        for level, correction in zip(self.levels, self.corrections, strict=True):
            _sample(correction, x, y, level.x0, level.y0, level.step, part)
            total += part
        return total

    def on_grid(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return the field on the grid of all x and y, (len(y), len(x))."""
        total = np.full((len(y), len(x)), self.mean)
        for level, correction in zip(self.levels, self.corrections, strict=True):
            _add_grid(correction, x, y, level.x0, level.y0, level.step, total)
        return total


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
        For each level, how much weight the coarser field has, in units of the usual
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
    part = np.empty(len(values))
    for level, share in zip(levels, shrink, strict=True):
        if not np.isfinite(share):
            continue
        moment = np.zeros_like(level.weights)
        _splat(records.x, records.y, records.weight * residual, level.x0, level.y0, level.step, moment)
        correction = _blur(moment, level.taps) / (level.weights + max(share, 1e-9) * level.full)
        _sample(correction, records.x, records.y, level.x0, level.y0, level.step, part)
        residual = residual - part
        used.append(level)
        corrections.append(correction)
    return Field(mean, used, corrections), residual


@njit(cache=True, nogil=True)
def _splat(x: np.ndarray, y: np.ndarray, value: np.ndarray, x0: float, y0: float, step: float, out: np.ndarray) -> None:
    """Add each value to the four nodes around it, by linear weights."""
    for i in range(len(x)):
        fx, fy = (x[i] - x0) / step, (y[i] - y0) / step
        col, row = int(fx), int(fy)
        u, v = fx - col, fy - row
        out[row, col] += value[i] * (1 - u) * (1 - v)
        out[row, col + 1] += value[i] * u * (1 - v)
        out[row + 1, col] += value[i] * (1 - u) * v
        out[row + 1, col + 1] += value[i] * u * v


@njit(cache=True, nogil=True)
def _sample(
    field: np.ndarray, x: np.ndarray, y: np.ndarray, x0: float, y0: float, step: float, out: np.ndarray
) -> None:
    rows, columns = field.shape
    for i in range(len(x)):
        fx = min(max((x[i] - x0) / step, 0.0), columns - 1.001)
        fy = min(max((y[i] - y0) / step, 0.0), rows - 1.001)
        col, row = int(fx), int(fy)
        u, v = fx - col, fy - row
        low = field[row, col] * (1 - u) + field[row, col + 1] * u
        high = field[row + 1, col] * (1 - u) + field[row + 1, col + 1] * u
        out[i] = low * (1 - v) + high * v


@njit(cache=True, nogil=True)
def _add_grid(
    field: np.ndarray, x: np.ndarray, y: np.ndarray, x0: float, y0: float, step: float, out: np.ndarray
) -> None:
    rows, columns = field.shape
    for r in range(len(y)):
        fy = min(max((y[r] - y0) / step, 0.0), rows - 1.001)
        row = int(fy)
        v = fy - row
        for c in range(len(x)):
            fx = min(max((x[c] - x0) / step, 0.0), columns - 1.001)
            col = int(fx)
            u = fx - col
            low = field[row, col] * (1 - u) + field[row, col + 1] * u
            high = field[row + 1, col] * (1 - u) + field[row + 1, col + 1] * u
            out[r, c] += low * (1 - v) + high * v


@njit(cache=True, nogil=True)
def _blur(field: np.ndarray, taps: np.ndarray) -> np.ndarray:
    """Separable Gaussian, nothing beyond the edge."""
    rows, columns = field.shape
    half = np.empty_like(field)
    for r in range(rows):
        for c in range(columns):
            half[r, c] = taps[0] * field[r, c]
        for k in range(1, min(len(taps), columns)):
            for c in range(k, columns):
                half[r, c] += taps[k] * field[r, c - k]
            for c in range(columns - k):
                half[r, c] += taps[k] * field[r, c + k]
    out = np.empty_like(field)
    for r in range(rows):
        for c in range(columns):
            out[r, c] = taps[0] * half[r, c]
        for k in range(1, len(taps)):
            if r - k >= 0:
                for c in range(columns):
                    out[r, c] += taps[k] * half[r - k, c]
            if r + k < rows:
                for c in range(columns):
                    out[r, c] += taps[k] * half[r + k, c]
    return out
