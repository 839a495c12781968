"""The route of a loaded bale mover over the ground: least cost, limited by slope."""

from __future__ import annotations

import numpy as np
from numba import njit

_STRAIGHT = 100  # cost of one cell along an axis, whole numbers for the buckets
_DIAGONAL = 141
_HARDEST = 8  # no meter counts for more than this many


def route_m(start: np.ndarray, hardness: np.ndarray, cell_m: float) -> np.ndarray:
    """Return the length of the easiest route from each cell to the nearest start cell.

    Parameters
    ----------
    start : bool array (rows, cols)
        Roads and gates.
    hardness : float array (rows, cols)
        What a meter counts for in choosing the route: 1 easy, more where steep
        (at most 8); NaN where the mover cannot pass. Start cells are always passable.
    cell_m : float

    Returns
    -------
    float32 array (rows, cols)
        Meters along the route, by eight directions (up to 8 % longer than a
        straight line); NaN where there is no route.
    """
    hard = np.where(np.isnan(hardness), 0, np.rint(np.clip(hardness, 1, _HARDEST) * 10)).astype(np.uint8)
    hard[start & (hard == 0)] = 10
    out = _routes(np.ascontiguousarray(start), hard)
    out *= np.float32(cell_m / _STRAIGHT)
    return out


@njit(cache=True, nogil=True)
def _routes(start: np.ndarray, hard: np.ndarray) -> np.ndarray:
    """Dijkstra with a ring of buckets (Dial 1969): linear in the cells, as steps cost small whole numbers."""
    rows, cols = start.shape
    ring = _DIAGONAL * _HARDEST + 1
    buckets = [[0 for _ in range(0)] for _ in range(ring)]
    cost = np.full(start.size, 2_000_000_000, np.int32)
    length = np.full(start.size, np.nan, np.float32)
    for k in range(start.size):
        if start[k // cols, k % cols]:
            cost[k] = 0
            length[k] = 0.0
            buckets[0].append(k)
    at, waiting = 0, len(buckets[0])
    while waiting > 0:
        bucket = buckets[at % ring]
        while len(bucket) > 0:
            k = bucket.pop()
            waiting -= 1
            if cost[k] < at:
                continue  # reached for less meanwhile
            i, j = k // cols, k % cols
            for p in range(max(i - 1, 0), min(i + 2, rows)):
                for q in range(max(j - 1, 0), min(j + 2, cols)):
                    # no squeezing between two corners
                    if hard[p, q] == 0 or hard[i, q] == 0 or hard[p, j] == 0:
                        continue
                    flat = _DIAGONAL if p != i and q != j else _STRAIGHT
                    new = at + flat * (np.int32(hard[i, j]) + np.int32(hard[p, q])) // 20
                    m = p * cols + q
                    if new < cost[m]:
                        cost[m] = new
                        length[m] = length[k] + flat
                        buckets[new % ring].append(m)
                        waiting += 1
        at += 1
    return length.reshape((rows, cols))
