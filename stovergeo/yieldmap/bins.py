"""Points binned to square cells, so that neighbours are found by looking at rings of cells.

Building costs one counting sort, O(n); a search for all neighbours within a radius looks
at the few cells that the radius touches, whatever the number of points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

#: most cells a table of bins may have beyond four for each point
_SPARE_CELLS = 4_000_000


@dataclass(frozen=True, slots=True)
class Bins:
    """Points sorted by cell. `member[start[c]:start[c + 1]]` are the points of cell c = row * columns + column."""

    x0: float
    y0: float
    size: float
    rows: int
    columns: int
    start: np.ndarray  #: (rows * columns + 1,) int32
    member: np.ndarray  #: (n,) int32


def bin_points(x: np.ndarray, y: np.ndarray, size: float) -> Bins:
    """Sort points into square cells.

    Parameters
    ----------
    x, y : array, (n,), float64
        Finite plane coordinates, m.
    size : float
        Side of a cell, m; enlarged where the points are so scattered that the table of
        cells would outgrow them.
    """
    x0, y0 = float(x.min()), float(y.min())
    wide, high = float(x.max()) - x0, float(y.max()) - y0
    while (wide / size + 1) * (high / size + 1) > 4 * len(x) + _SPARE_CELLS:
        size *= 1.5
    columns, rows = int(wide / size) + 1, int(high / size) + 1
    start, member = _sort(x, y, x0, y0, size, rows, columns)
    return Bins(x0, y0, size, rows, columns, start, member)


@njit(cache=True, nogil=True)
def _sort(
    x: np.ndarray, y: np.ndarray, x0: float, y0: float, size: float, rows: int, columns: int
) -> tuple[np.ndarray, np.ndarray]:
    n = len(x)
    cell = np.empty(n, np.int32)
    start = np.zeros(rows * columns + 1, np.int32)
    for i in range(n):
        c = int((y[i] - y0) / size) * columns + int((x[i] - x0) / size)
        cell[i] = c
        start[c + 1] += 1
    for c in range(rows * columns):
        start[c + 1] += start[c]
    member = np.empty(n, np.int32)
    fill = start[:-1].copy()
    for i in range(n):
        member[fill[cell[i]]] = i
        fill[cell[i]] += 1
    return start, member
