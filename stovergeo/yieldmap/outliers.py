"""Statistical outliers: far from all, or far from their own neighbours.

Both use the median and the median absolute deviation instead of mean and standard
deviation, which the outliers themselves would inflate (Hampel 1974; Tukey 1977).
A record is called an outlier only when few of its neighbours side with it: a low spot
that several passes agree on is crop, not error.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.yieldmap.bins import bin_points, in_threads

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


def siding_neighbours(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float, tolerance: float, enough: float = np.inf
) -> tuple[np.ndarray, np.ndarray]:
    """Return how many neighbours each record has, and how many side with it.

    Parameters
    ----------
    x, y, values : array, (n,), float64
    radius : float
        Neighbours are all other records within it, m.
    tolerance : float
        A neighbour sides with a record when their values differ by no more than this.
    enough : float
        Share of the neighbours. A record with which surely this share, and two of them, side is
        counted no further: both its numbers are those found by then.

    Returns
    -------
    count, siding : array, (n,), int32
    """
    count, siding = np.zeros(len(x), np.int32), np.zeros(len(x), np.int32)
    if len(x):
        bins = bin_points(x, y, radius / 2)
        # in the order of the cells, so that neighbours lie beside each other in memory
        places = x[bins.member], y[bins.member], values[bins.member]

        def work(low: int, high: int) -> None:
            _side(
                low, high, *places, radius, tolerance, enough,
                bins.x0, bins.y0, bins.size, bins.rows, bins.columns, bins.start, bins.member, count, siding,
            )  # fmt: skip

        in_threads(work, len(x))
    return count, siding


def neighbour_medians(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float, asked: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the median and the spread of the neighbours of the records asked for.

    Parameters
    ----------
    x, y, values : array, (n,), float64
    radius : float
        Neighbours are all other records within it, m.
    asked : array of int, (m,)
        Indices of records.

    Returns
    -------
    median, spread : array, (m,)
        Spread is the scaled median absolute deviation; NaN without neighbours.
    """
    median, spread = np.full(len(asked), np.nan), np.full(len(asked), np.nan)
    if len(asked):
        bins = bin_points(x, y, radius)
        most = int(np.diff(bins.start).max()) * 9

        def work(low: int, high: int) -> None:
            _medians(
                low, high, asked, most, x, y, values, radius,
                bins.x0, bins.y0, bins.size, bins.rows, bins.columns, bins.start, bins.member, median, spread,
            )  # fmt: skip

        in_threads(work, len(asked))
    return median, MAD_TO_SD * spread


@njit(cache=True, nogil=True)
def _side(
    low: int, high: int, x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float, tolerance: float,
    enough: float, x0: float, y0: float, size: float, rows: int, columns: int, start: np.ndarray, member: np.ndarray,
    count: np.ndarray, siding: np.ndarray,
) -> None:  # fmt: skip
    r2 = radius * radius
    for i in range(low, high):
        xi, yi, value = x[i], y[i], values[i]
        row, col = int((yi - y0) / size), int((xi - x0) / size)
        left, right = max(col - 2, 0), min(col + 3, columns)
        most = -1
        for r in range(max(row - 2, 0), min(row + 3, rows)):
            most += start[r * columns + right] - start[r * columns + left]
        stop = max(2.0, enough * most)
        k, side = np.int32(-1), np.int32(-1)  # the record itself is met once
        for up in (0, 1, -1, 2, -2):
            r = row + up
            if 0 <= r < rows:
                # unsigned indices and no branch: several neighbours are looked at in one step
                for p in range(np.uint32(start[r * columns + left]), np.uint32(start[r * columns + right])):
                    dx, dy = x[p] - xi, y[p] - yi
                    near = np.int32(dx * dx + dy * dy <= r2)
                    k += near
                    side += near * np.int32(abs(values[p] - value) <= tolerance)
                if side >= stop:
                    break
        count[member[i]] = k
        siding[member[i]] = side


@njit(cache=True, nogil=True)
def _medians(
    low: int, high: int, asked: np.ndarray, most: int, x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float,
    x0: float, y0: float, size: float, rows: int, columns: int, start: np.ndarray, member: np.ndarray,
    median: np.ndarray, spread: np.ndarray,
) -> None:  # fmt: skip
    near, away = np.empty(most), np.empty(most)
    r2 = radius * radius
    for q in range(low, high):
        i = asked[q]
        row, col = int((y[i] - y0) / size), int((x[i] - x0) / size)
        k = 0
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            first = start[r * columns + max(col - 1, 0)]
            last = start[r * columns + min(col + 2, columns)]
            for p in range(first, last):
                j = member[p]
                dx, dy = x[j] - x[i], y[j] - y[i]
                if j != i and dx * dx + dy * dy <= r2:
                    _insert(near, k, values[j])
                    k += 1
        if k > 0:
            median[q] = 0.5 * (near[(k - 1) // 2] + near[k // 2])
            for p in range(k):
                _insert(away, p, abs(near[p] - median[q]))
            spread[q] = 0.5 * (away[(k - 1) // 2] + away[k // 2])


@njit(cache=True, nogil=True)
def _insert(ordered: np.ndarray, k: int, value: float) -> None:
    """Put a value among the first k of an ordered buffer (compiles in a fraction of what a sort takes)."""
    while k > 0 and ordered[k - 1] > value:
        ordered[k] = ordered[k - 1]
        k -= 1
    ordered[k] = value
