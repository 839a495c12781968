"""Statistical outliers: far from all, or far from their own neighbors.

Both use the median and the median absolute deviation instead of mean and standard
deviation, which the outliers themselves would inflate (Hampel 1974; Tukey 1977).
A record is called an outlier only when few of its neighbors side with it: a low spot
that several passes agree on is crop, not error.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.yieldmap.many_records import in_threads
from stovergeo.yieldmap.neighbors import Bins

#: median absolute deviation -> standard deviation of a normal distribution, 1 / Phi^-1(3/4)
MAD_TO_SD = 1.482602218505602


def tukey_fences(values: np.ndarray, factor: float) -> tuple[float, float]:
    """Return the lower and upper fence ``Q1 - k IQR``, ``Q3 + k IQR`` (Tukey 1977, ch. 2).

    Parameters
    ----------
    values : array, (n,)
    factor : float
        k: 1.5 for "outside", 3 for "far out" values.
    """
    q1, q3 = np.percentile(values, [25, 75])
    return float(q1 - factor * (q3 - q1)), float(q3 + factor * (q3 - q1))


class Near(NamedTuple):
    """Records in the order of square cells, so that neighbors lie beside each other in memory.

    Those without a value have no place: they have no neighbors and are nobody's.
    """

    x: np.ndarray
    y: np.ndarray
    values: np.ndarray
    radius: float  #: neighbors are all other records within it, m
    bins: Bins  #: `member` tells which record each is, in their own order


def near_each_other(bins: Bins, x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float) -> Near:
    """Put records in order to look for neighbors.

    Parameters
    ----------
    bins : Bins
        Of these places, in cells of half a radius or more.
    x, y, values : array, (n,), float64
        NaN for values that do not count.
    radius : float
        How far neighbors lie at most, m.
    """
    places = np.empty(len(x)), np.empty(len(x)), np.empty(len(x))
    in_threads(lambda low, high: _gather(low, high, bins.member, x, y, values, *places), len(x))
    return Near(*places, radius, bins)


def siding_neighbors(near: Near, tolerance: float, share: float = np.inf) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how many neighbors each record has, how many side with it, and whether it stands alone.

    All in the order of `near`.

    Parameters
    ----------
    near : Near
    tolerance : float
        A neighbor sides with a record when their values differ by no more than this.
    share : float
        Of the neighbors. A record with which surely this share, and two of them, side is
        counted no further: both its numbers are those found by then.

    Returns
    -------
    count, siding : array, (n,), int32
    alone : array of bool, (n,)
        Whether less than the share, or than two, side with it; not so for one without a value.
    """
    n = len(near.x)
    count, siding, alone = np.empty(n, np.int32), np.empty(n, np.int32), np.empty(n, np.bool_)
    in_threads(lambda low, high: _side(low, high, near, tolerance, share, count, siding, alone), n)
    return count, siding, alone


def neighbor_medians(near: Near, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the median and the spread of the neighbors of the records asked for.

    Parameters
    ----------
    near : Near
    asked : array of int, (m,)
        Which records, by their number in the order of `near`; each has a value.

    Returns
    -------
    median, spread : array, (m,)
        Spread is the scaled median absolute deviation; NaN without neighbors.
    """
    median, spread = np.full(len(asked), np.nan), np.full(len(asked), np.nan)
    most = int(np.diff(near.bins.start).max()) * 25
    in_threads(lambda low, high: _medians(low, high, near, asked, most, median, spread), len(asked), least=2_000)
    return median, MAD_TO_SD * spread


@njit(cache=True, nogil=True)
def _gather(
    low: int, high: int, member: np.ndarray, x: np.ndarray, y: np.ndarray, values: np.ndarray,
    to_x: np.ndarray, to_y: np.ndarray, to_values: np.ndarray,
) -> None:  # fmt: skip
    for p in range(low, high):
        i = member[p]
        to_x[p], to_y[p], to_values[p] = x[i] if np.isfinite(values[i]) else np.nan, y[i], values[i]


@njit(cache=True, nogil=True)
def _side(
    low: int, high: int, near: Near, tolerance: float, share: float,
    count: np.ndarray, siding: np.ndarray, alone: np.ndarray,
) -> None:  # fmt: skip
    x, y, values, start, columns = near.x, near.y, near.values, near.bins.start, near.bins.columns
    r2 = near.radius * near.radius
    for i in range(low, high):
        xi, yi, value = x[i], y[i], values[i]
        if not np.isfinite(value):
            count[i], siding[i], alone[i] = 0, 0, False
            continue
        row, col = int((yi - near.bins.y0) / near.bins.size), int((xi - near.bins.x0) / near.bins.size)
        left, right = max(col - 2, 0), min(col + 3, columns)
        ahead = 0  # records in rows of cells not looked at yet
        for r in range(max(row - 2, 0), min(row + 3, near.bins.rows)):
            ahead += start[r * columns + right] - start[r * columns + left]
        k, side = np.int32(-1), np.int32(-1)  # the record itself is met once
        for up in (0, 1, -1, 2, -2):
            r = row + up
            if 0 <= r < near.bins.rows:
                first, last = start[r * columns + left], start[r * columns + right]
                # unsigned indices and no branch: several neighbors are looked at in one step
                for p in range(np.uint32(first), np.uint32(last)):
                    dx, dy = x[p] - xi, y[p] - yi
                    beside = np.int32(dx * dx + dy * dy <= r2)
                    k += beside
                    side += beside * np.int32(abs(values[p] - value) <= tolerance)
                ahead -= last - first
                if side >= max(2.0, share * (k + ahead)):
                    break
        count[i], siding[i], alone[i] = k, side, side < max(2.0, share * k)


@njit(cache=True, nogil=True)
def _medians(
    low: int, high: int, near: Near, asked: np.ndarray, most: int, median: np.ndarray, spread: np.ndarray
) -> None:
    x, y, start, columns = near.x, near.y, near.bins.start, near.bins.columns
    found, away = np.empty(most), np.empty(most)
    r2 = near.radius * near.radius
    for q in range(low, high):
        i = asked[q]
        row, col = int((y[i] - near.bins.y0) / near.bins.size), int((x[i] - near.bins.x0) / near.bins.size)
        left, right = max(col - 2, 0), min(col + 3, columns)
        k = 0
        for r in range(max(row - 2, 0), min(row + 3, near.bins.rows)):
            for p in range(start[r * columns + left], start[r * columns + right]):
                dx, dy = x[p] - x[i], y[p] - y[i]
                if p != i and dx * dx + dy * dy <= r2:
                    _insert(found, k, near.values[p])
                    k += 1
        if k > 0:
            median[q] = 0.5 * (found[(k - 1) // 2] + found[k // 2])
            for p in range(k):
                _insert(away, p, abs(found[p] - median[q]))
            spread[q] = 0.5 * (away[(k - 1) // 2] + away[k // 2])


@njit(cache=True, nogil=True)
def _insert(ordered: np.ndarray, k: int, value: float) -> None:
    """Put a value among the first k of an ordered buffer (compiles in a fraction of what a sort takes)."""
    while k > 0 and ordered[k - 1] > value:
        ordered[k] = ordered[k - 1]
        k -= 1
    ordered[k] = value
