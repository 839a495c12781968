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
_MOST = 64  #: neighbours looked at around one record


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


def neighbour_statistics(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, radius: float, tolerance: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return median and spread of each record's neighbours, how many there are and how many side with it.

    Parameters
    ----------
    x, y, values : array, (n,), float64
    radius : float
        Neighbours are all other records within it, m; the nearest cells first, at most 64.
    tolerance : float
        A neighbour sides with a record when their values differ by no more than this.

    Returns
    -------
    median, spread : array, (n,)
        Of the neighbours; spread is the scaled median absolute deviation; NaN without neighbours.
    count, siding : array, (n,), int32
    """
    n = len(x)
    median, spread = np.full(n, np.nan), np.full(n, np.nan)
    count, siding = np.zeros(n, np.int32), np.zeros(n, np.int32)
    if n:
        bins = bin_points(x, y, radius)

        def work(low: int, high: int) -> None:
            _statistics(
                low, high, x, y, values, radius, tolerance,
                bins.x0, bins.y0, bins.size, bins.rows, bins.columns, bins.start, bins.member,
                median, spread, count, siding,
            )  # fmt: skip

        in_threads(work, n)
    return median, MAD_TO_SD * spread, count, siding


@njit(cache=True, nogil=True)
def _middle(sorted_values: np.ndarray, k: int) -> float:
    return 0.5 * (sorted_values[(k - 1) // 2] + sorted_values[k // 2])


@njit(cache=True, nogil=True)
def _insert(buffer: np.ndarray, k: int, v: float) -> None:
    j = k
    while j > 0 and buffer[j - 1] > v:
        buffer[j] = buffer[j - 1]
        j -= 1
    buffer[j] = v


@njit(cache=True, nogil=True)
def _statistics(
    low: int,
    high: int,
    x: np.ndarray,
    y: np.ndarray,
    values: np.ndarray,
    radius: float,
    tolerance: float,
    x0: float,
    y0: float,
    size: float,
    rows: int,
    columns: int,
    start: np.ndarray,
    member: np.ndarray,
    median: np.ndarray,
    spread: np.ndarray,
    count: np.ndarray,
    siding: np.ndarray,
) -> None:
    near = np.empty(_MOST)
    away = np.empty(_MOST)
    r2 = radius * radius
    for m in range(low, high):
        i = member[m]  # in cell order, so that neighbours are still in the cache
        row, col = int((y[i] - y0) / size), int((x[i] - x0) / size)
        k = 0
        side = 0
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            first = start[r * columns + max(col - 1, 0)]
            last = start[r * columns + min(col + 2, columns)]
            for p in range(first, last):
                j = member[p]
                dx, dy = x[j] - x[i], y[j] - y[i]
                if j != i and dx * dx + dy * dy <= r2 and k < _MOST:
                    _insert(near, k, values[j])
                    k += 1
                    if abs(values[j] - values[i]) <= tolerance:
                        side += 1
        count[i] = k
        siding[i] = side
        if k == 0:
            continue
        median[i] = _middle(near, k)
        for q in range(k):
            _insert(away, q, abs(near[q] - median[i]))
        spread[i] = _middle(away, k)
