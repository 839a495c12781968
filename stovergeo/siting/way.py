"""The way of a loaded bale mover over the ground: least cost, limited by slope."""

from __future__ import annotations

import numpy as np
from numba import njit

_STRAIGHT = 100  # cost of one cell along an axis, whole numbers for the buckets
_DIAGONAL = 141
_HARDEST = 8  # no metre of way counts for more than this many


def way_m(start: np.ndarray, hardness: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the length of the easiest route from each cell to the nearest start cell.

    Parameters
    ----------
    start : bool array (rows, cols)
        Roads and gates.
    hardness : float array (rows, cols)
        What a metre of way counts for in choosing the way: 1 easy, more where steep
        (at most 8); NaN where the mover cannot pass. Start cells are always passable.
    cell_m : float

    Returns
    -------
    float32 array (rows, cols)
        Metres along the way chosen, by eight directions (up to 8 % longer than a
        straight line); NaN where no way leads.
    """
    hard = np.where(np.isnan(hardness), 0, np.rint(np.clip(hardness, 1, _HARDEST) * 10)).astype(np.uint8)
    hard[start & (hard == 0)] = 10
    out = _ways(np.ascontiguousarray(start), hard)
    out *= np.float32(cell_m / _STRAIGHT)
    return out


@njit(cache=True, nogil=True)
def _ways(start: np.ndarray, hard: np.ndarray) -> np.ndarray:
    """Dijkstra with a ring of buckets (Dial 1969): linear in the cells, as steps cost small whole numbers."""
    rows, cols = start.shape
    n = rows * cols
    ring = _DIAGONAL * _HARDEST + 1
    head = np.full(ring, -1, np.int32)  # first cell of each bucket
    after = np.full(n, -1, np.int32)  # next and previous cell in the same bucket
    before = np.full(n, -1, np.int32)
    cost = np.full(n, 2_000_000_000, np.int32)
    way = np.full(n, np.nan, np.float32)
    open_cells = 0
    for k in range(n):
        if start[k // cols, k % cols]:
            cost[k] = 0
            way[k] = 0.0
            after[k] = head[0]
            if head[0] >= 0:
                before[head[0]] = k
            head[0] = k
            open_cells += 1
    at = 0
    while open_cells > 0:
        slot = at % ring
        while head[slot] >= 0:
            k = head[slot]
            head[slot] = after[k]
            if after[k] >= 0:
                before[after[k]] = -1
            open_cells -= 1
            i, j = k // cols, k % cols
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    p, q = i + di, j + dj
                    if (di == 0 and dj == 0) or p < 0 or q < 0 or p >= rows or q >= cols or hard[p, q] == 0:
                        continue
                    if di != 0 and dj != 0 and (hard[i, q] == 0 or hard[p, j] == 0):
                        continue  # no squeezing between two corners
                    flat = _DIAGONAL if di != 0 and dj != 0 else _STRAIGHT
                    new = at + flat * (np.int32(hard[i, j]) + np.int32(hard[p, q])) // 20
                    m = p * cols + q
                    if new < cost[m]:
                        if cost[m] < 2_000_000_000:  # take it out of its old bucket
                            if before[m] >= 0:
                                after[before[m]] = after[m]
                            else:
                                head[cost[m] % ring] = after[m]
                            if after[m] >= 0:
                                before[after[m]] = before[m]
                        else:
                            open_cells += 1
                        cost[m] = new
                        way[m] = way[k] + flat
                        s = new % ring
                        before[m] = -1
                        after[m] = head[s]
                        if head[s] >= 0:
                            before[head[s]] = m
                        head[s] = m
        at += 1
    return way.reshape((rows, cols))
