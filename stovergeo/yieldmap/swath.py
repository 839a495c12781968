"""True swath geometry: which ground a record harvested that nobody had harvested before.

Every record's footprint is drawn, in driving order, on a fine bitmap that remembers the
pass which cut each cell first (the bitmap method of Han et al. 1997, Trans. ASAE
40:485-490; cited from memory). Footprints of one pass share their edges, so that a pass
never overlaps itself on a straight or gently curved way.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.yieldmap.passes import Track

_TILE = 64  #: cells along the side of a tile; only tiles that hold records are kept in memory


def footprints(track: Track) -> np.ndarray:
    """Return the four corners of each record's footprint, (n, 4, 2), in driving order.

    A footprint reaches from the previous position of the same pass (or one record's way
    back, at the start of a pass) to the record's position, half a swath to each side.
    """
    n = len(track.x)
    first = np.diff(track.pass_id, prepend=-1) != 0
    at = np.arange(n)
    rear = np.where(first, at, at - 1)
    step = np.where(first, track.length, 0.0)
    rear_x = track.x[rear] - step * track.east
    rear_y = track.y[rear] - step * track.north
    half = 0.5 * track.swath
    corners = np.empty((n, 4, 2))
    for k, (x, y, east, north, side) in enumerate(
        (
            (rear_x, rear_y, track.east[rear], track.north[rear], 1.0),
            (rear_x, rear_y, track.east[rear], track.north[rear], -1.0),
            (track.x, track.y, track.east, track.north, -1.0),
            (track.x, track.y, track.east, track.north, 1.0),
        )
    ):
        corners[:, k, 0] = x - side * half * north
        corners[:, k, 1] = y + side * half * east
    return corners


def new_share(track: Track, cell_m: float) -> np.ndarray:
    """Return the share of each footprint that no other pass had harvested before, 0 to 1.

    Parameters
    ----------
    track : Track
    cell_m : float
        Side of a bitmap cell, m.

    Returns
    -------
    array, (n,), float64, in driving order
        NaN where a footprint holds no cell.
    """
    corners = footprints(track)
    x0, y0 = corners[..., 0].min(), corners[..., 1].min()
    side = cell_m * _TILE
    columns = int((corners[..., 0].max() - x0) / side) + 1
    rows = int((corners[..., 1].max() - y0) / side) + 1
    slot = np.full((rows, columns), -1, np.int32)
    tiles = _touched(corners, x0, y0, side, slot)
    cut_by = np.full((tiles, _TILE, _TILE), -1, np.int32)
    share = np.full(len(track.x), np.nan)
    _draw(corners, track.pass_id, x0, y0, cell_m, slot, cut_by, share)
    return share


@njit(cache=True, nogil=True)
def _touched(corners: np.ndarray, x0: float, y0: float, side: float, slot: np.ndarray) -> int:
    """Give a number to each tile that any footprint's bounding box touches; return how many."""
    found = 0
    for i in range(len(corners)):
        c = corners[i]
        for row in range(int((c[:, 1].min() - y0) / side), int((c[:, 1].max() - y0) / side) + 1):
            for col in range(int((c[:, 0].min() - x0) / side), int((c[:, 0].max() - x0) / side) + 1):
                if slot[row, col] < 0:
                    slot[row, col] = found
                    found += 1
    return found


@njit(cache=True, nogil=True)
def _draw(
    corners: np.ndarray,
    pass_id: np.ndarray,
    x0: float,
    y0: float,
    cell: float,
    slot: np.ndarray,
    cut_by: np.ndarray,
    share: np.ndarray,
) -> None:
    for i in range(len(corners)):
        c = corners[i]
        low_y, high_y = c[:, 1].min(), c[:, 1].max()
        all_cells = 0
        new_cells = 0
        for row in range(int((low_y - y0) / cell), int((high_y - y0) / cell) + 1):
            y = y0 + (row + 0.5) * cell
            # where the line of cell centres crosses the convex footprint
            left, right = np.inf, -np.inf
            for a in range(4):
                b = (a + 1) % 4
                ya, yb = c[a, 1], c[b, 1]
                if (ya <= y) != (yb <= y):
                    x = c[a, 0] + (y - ya) / (yb - ya) * (c[b, 0] - c[a, 0])
                    left, right = min(left, x), max(right, x)
            if left > right:
                continue
            for col in range(int(np.ceil((left - x0) / cell - 0.5)), int(np.ceil((right - x0) / cell - 0.5))):
                tile = slot[row // _TILE, col // _TILE]
                before = cut_by[tile, row % _TILE, col % _TILE]
                if before < 0:
                    cut_by[tile, row % _TILE, col % _TILE] = pass_id[i]
                    new_cells += 1
                    all_cells += 1
                elif before != pass_id[i]:
                    all_cells += 1
        if all_cells > 0:
            share[i] = new_cells / all_cells
