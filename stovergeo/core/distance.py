"""Distance on the grid: from every cell to the nearest marked cell."""

from __future__ import annotations

import numpy as np
from numba import njit


def distance_to_cells(marked: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the straight distance from each cell's center to the nearest marked cell's center.

    Parameters
    ----------
    marked : bool array (rows, cols)
    cell_m : float
        Side of a cell, m.

    Returns
    -------
    float32 array (rows, cols)
        Meters; NaN everywhere when nothing is marked.

    Notes
    -----
    Several times faster than the general transform of scipy; see docs/decisions/0122-one-of-each.md.
    """
    if not marked.any():
        return np.full(marked.shape, np.nan, np.float32)
    return _distances(np.ascontiguousarray(marked), float(cell_m))


@njit(cache=True, nogil=True)
def _distances(marked: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the exact Euclidean distance, linear in the cells.

    Meijster, Roerdink & Hesselink 2000: distances along columns first, then the lower
    envelope of the columns' parabolas along each row. At least one cell is marked.
    """
    rows, cols = marked.shape
    far = rows + cols
    down = np.empty((rows, cols), np.int32)
    for j in range(cols):
        down[0, j] = 0 if marked[0, j] else far
    for i in range(1, rows):
        for j in range(cols):
            down[i, j] = 0 if marked[i, j] else min(down[i - 1, j] + 1, far)
    for i in range(rows - 2, -1, -1):
        for j in range(cols):
            if down[i + 1, j] + 1 < down[i, j]:
                down[i, j] = down[i + 1, j] + 1
    out = np.empty((rows, cols), np.float32)
    site = np.empty(cols, np.int64)  # column whose parabola is lowest
    start = np.empty(cols, np.int64)  # first column at which it is
    for i in range(rows):
        top = 0
        site[0] = 0
        start[0] = 0
        for u in range(1, cols):
            gu = np.int64(down[i, u]) ** 2
            while top >= 0:
                gs = np.int64(down[i, site[top]]) ** 2
                if (start[top] - site[top]) ** 2 + gs > (start[top] - u) ** 2 + gu:
                    top -= 1
                else:
                    break
            if top < 0:
                top = 0
                site[0] = u
                start[0] = 0
            else:
                s = site[top]
                gs = np.int64(down[i, s]) ** 2
                w = 1 + (u * u - s * s + gu - gs) // (2 * (u - s))
                if w < cols:
                    top += 1
                    site[top] = u
                    start[top] = w
        for u in range(cols - 1, -1, -1):
            s = site[top]
            out[i, u] = cell_m * np.sqrt(float((u - s) ** 2 + np.int64(down[i, s]) ** 2))
            if u == start[top]:
                top -= 1
    return out
