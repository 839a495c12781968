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


def footprints(track: Track, widen_m: float = 0.0) -> np.ndarray:
    """Return the four corners of each record's footprint, (n, 4, 2), in driving order.

    A footprint reaches from the previous position of the same pass (or one record's way
    back, at the start of a pass) to the record's position, half a swath to each side;
    `widen_m` is added on all four sides.
    """
    corners = np.empty((len(track.x), 4, 2))
    _corners(track.x, track.y, track.east, track.north, track.length, track.swath, track.pass_id, widen_m, corners)
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
    x0, y0 = float(corners[..., 0].min()), float(corners[..., 1].min())
    side = cell_m * _TILE
    columns = int((corners[..., 0].max() - x0) / side) + 1
    rows = int((corners[..., 1].max() - y0) / side) + 1
    slot = np.full((rows, columns), -1, np.int32)
    tiles = _touched(corners, x0, y0, side, slot)
    cut_by = np.zeros((tiles, _TILE, _TILE), np.uint16)  # 0 not cut yet, else a number for the pass
    share = np.full(len(track.x), np.nan)
    _draw(corners, (track.pass_id % 65_535 + 1).astype(np.uint16), x0, y0, cell_m, slot, cut_by, share)
    return share


@njit(cache=True, nogil=True)
def _corners(
    x: np.ndarray, y: np.ndarray, east: np.ndarray, north: np.ndarray, length: np.ndarray, swath: np.ndarray,
    pass_id: np.ndarray, widen: float, out: np.ndarray,
) -> None:  # fmt: skip
    for i in range(len(x)):
        half = 0.5 * swath[i] + widen
        if i > 0 and pass_id[i] == pass_id[i - 1]:
            rx, ry, re, rn = x[i - 1], y[i - 1], east[i - 1], north[i - 1]
        else:
            rx, ry, re, rn = x[i] - length[i] * east[i], y[i] - length[i] * north[i], east[i], north[i]
        rx, ry = rx - widen * re, ry - widen * rn
        fx, fy, fe, fn = x[i] + widen * east[i], y[i] + widen * north[i], east[i], north[i]
        out[i, 0, 0], out[i, 0, 1] = rx - half * rn, ry + half * re
        out[i, 1, 0], out[i, 1, 1] = rx + half * rn, ry - half * re
        out[i, 2, 0], out[i, 2, 1] = fx + half * fn, fy - half * fe
        out[i, 3, 0], out[i, 3, 1] = fx - half * fn, fy + half * fe


@njit(cache=True, nogil=True)
def extent(corners: np.ndarray, i: int, axis: int) -> tuple[float, float]:
    """Return the lowest and highest coordinate of footprint i along an axis."""
    low = high = corners[i, 0, axis]
    for k in range(1, 4):
        low, high = min(low, corners[i, k, axis]), max(high, corners[i, k, axis])
    return low, high


@njit(cache=True, nogil=True)
def _touched(corners: np.ndarray, x0: float, y0: float, side: float, slot: np.ndarray) -> int:
    """Give a number to each tile that any footprint's bounding box touches; return how many."""
    found = 0
    for i in range(len(corners)):
        low_x, high_x = extent(corners, i, 0)
        low_y, high_y = extent(corners, i, 1)
        for row in range(int((low_y - y0) / side), int((high_y - y0) / side) + 1):
            for col in range(int((low_x - x0) / side), int((high_x - x0) / side) + 1):
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
        low_y, high_y = extent(corners, i, 1)
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
                if before == 0:
                    cut_by[tile, row % _TILE, col % _TILE] = pass_id[i]
                    new_cells += 1
                    all_cells += 1
                elif before != pass_id[i]:
                    all_cells += 1
        if all_cells > 0:
            share[i] = new_cells / all_cells
