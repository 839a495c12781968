"""How far each cell of a grid lies from the nearest cell that holds a record."""

from __future__ import annotations

import numpy as np
from numba import njit


def distance_to_records(cells: np.ndarray, asked: np.ndarray, cell_m: float, reach_m: float) -> np.ndarray:
    """Return the distance between a cell's middle and that of the nearest cell with a record, m.

    First each cell's way up or down its column to a record is counted, then its row is searched outwards for the
    column whose way is the shortest across (Meijster, Roerdink and Hesselink 2000; cited from memory).

    Parameters
    ----------
    cells : array of int, (n,)
        Cells that hold records, numbered row by row; below zero where a record lies outside.
    asked : array of bool, (rows, columns)
        Cells whose distance is looked for.
    cell_m : float
    reach_m : float
        How far is looked at most.

    Returns
    -------
    array, (rows, columns), float32
        Infinite in cells not asked for, and where no record lies within reach.
    """
    most = min(reach_m / cell_m, 65_000.0)  # a whole number of 32 bits tells it exactly
    away = np.full(asked.shape, np.floor(most) + 1, np.float32)
    _search(cells, asked, cell_m, most, away)
    return away


@njit(cache=True, nogil=True)
def _search(cells: np.ndarray, asked: np.ndarray, cell_m: float, most: float, away: np.ndarray) -> None:
    """Write the distance where first the most is, and a row further off."""
    rows, columns = asked.shape
    reach = int(most)
    for cell in cells:
        if cell >= 0:
            away[cell // columns, cell % columns] = 0
    # rows to the nearest record of the column
    for r in range(1, rows):
        for c in range(columns):
            away[r, c] = min(away[r, c], away[r - 1, c] + np.float32(1))
    for r in range(rows - 2, -1, -1):
        for c in range(columns):
            away[r, c] = min(away[r, c], away[r + 1, c] + np.float32(1))
    own = np.empty(columns, np.int64)
    for r in range(rows):
        for c in range(columns):
            own[c] = int(away[r, c]) ** 2
        for c in range(columns):
            best = own[c]
            k = 1
            while k * k < best and k <= reach and asked[r, c]:
                if c >= k:
                    best = min(best, k * k + own[c - k])
                if c + k < columns:
                    best = min(best, k * k + own[c + k])
                k += 1
            away[r, c] = cell_m * np.sqrt(best) if asked[r, c] and best <= most * most else np.inf
