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
    out = np.full(asked.shape, np.inf, np.float32)
    most = min(reach_m / cell_m, 65_000.0)
    away = np.full(asked.shape, int(most) + 1, np.uint16)  # rows to the nearest record of the column
    _search(cells, asked, cell_m, most, away, out)
    return out


@njit(cache=True, nogil=True)
def _search(
    cells: np.ndarray, asked: np.ndarray, cell_m: float, most: float, away: np.ndarray, out: np.ndarray
) -> None:
    rows, columns = asked.shape
    reach = int(most)
    for cell in cells:
        if cell >= 0:
            away[cell // columns, cell % columns] = 0
    for r in range(1, rows):
        for c in range(columns):
            away[r, c] = min(away[r, c], away[r - 1, c] + 1)
    for r in range(rows - 2, -1, -1):
        for c in range(columns):
            away[r, c] = min(away[r, c], away[r + 1, c] + 1)
    for r in range(rows):
        for c in range(columns):
            if not asked[r, c]:
                continue
            best = away[r, c] * away[r, c]
            k = 1
            while k * k < best and k <= reach:
                if c >= k:
                    best = min(best, k * k + away[r, c - k] * away[r, c - k])
                if c + k < columns:
                    best = min(best, k * k + away[r, c + k] * away[r, c + k])
                k += 1
            if best <= most * most:
                out[r, c] = cell_m * np.sqrt(best)
