"""True swath geometry: which ground a record harvested that nobody had harvested before.

Every record's footprint is drawn, in driving order, on a fine bitmap that remembers the
pass which cut each cell first (the bitmap method of Han et al. 1997, Trans. ASAE
40:485-490; cited from memory). Footprints of one pass share their edges, so that a pass
never overlaps itself on a straight or gently curved way.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numba import njit

from stovergeo.yieldmap.passes import Track

#: cells along the side of a tile; a row of a tile is one word of 64 bits, and only tiles that hold records are kept
_TILE = 64
_PART = 20_000  #: footprints made at a time
_ALL = np.uint64(0xFFFF_FFFF_FFFF_FFFF)


def footprints(track: Track, widen_m: float = 0.0, first: int = 0, last: int | None = None) -> np.ndarray:
    """Return the four corners of the footprints of records first..last, all unless said, (n, 4, 2), in driving order.

    A footprint reaches from the previous position of the same pass (or one record's way
    back, at the start of a pass) to the record's position, half a swath to each side;
    `widen_m` is added on all four sides.
    """
    last = len(track.x) if last is None else last
    corners = np.empty((last - first, 4, 2))
    _corners(
        track.x, track.y, track.east, track.north, track.length, track.swath, track.pass_id, widen_m, first, corners
    )
    return corners


def in_parts(track: Track, widen_m: float = 0.0) -> Iterator[tuple[slice, np.ndarray]]:
    """Give the footprints some records at a time: a million would fill the memory, and not the processor's cache."""
    for first in range(0, len(track.x), _PART):
        last = min(first + _PART, len(track.x))
        yield slice(first, last), footprints(track, widen_m, first, last)


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
    bounds = np.array([_bounds(corners) for _, corners in in_parts(track)])
    (x0, y0), (x1, y1) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    side = cell_m * _TILE
    slot = np.full((int((y1 - y0) / side) + 1, int((x1 - x0) / side) + 1), -1, np.int32)
    tiles = 0
    for _, corners in in_parts(track):
        tiles = _touched(corners, x0, y0, side, slot, tiles)
    cut = np.zeros((tiles, _TILE, 2), np.uint64)  # bits of the cells cut by passes before, and by the last pass there
    owner = np.full((tiles, _TILE), -1, np.int64)  # that last pass
    share = np.full(len(track.x), np.nan)
    for part, corners in in_parts(track):
        _draw(corners, track.pass_id[part], x0, y0, cell_m, slot, cut, owner, share[part])
    return share


@njit(cache=True, nogil=True)
def _corners(
    x: np.ndarray, y: np.ndarray, east: np.ndarray, north: np.ndarray, length: np.ndarray, swath: np.ndarray,
    pass_id: np.ndarray, widen: float, start: int, out: np.ndarray,
) -> None:  # fmt: skip
    for k in range(len(out)):
        i = start + k
        half = 0.5 * swath[i] + widen
        if i > 0 and pass_id[i] == pass_id[i - 1]:
            rx, ry, re, rn = x[i - 1], y[i - 1], east[i - 1], north[i - 1]
        else:
            rx, ry, re, rn = x[i] - length[i] * east[i], y[i] - length[i] * north[i], east[i], north[i]
        rx, ry = rx - widen * re, ry - widen * rn
        fx, fy, fe, fn = x[i] + widen * east[i], y[i] + widen * north[i], east[i], north[i]
        out[k, 0, 0], out[k, 0, 1] = rx - half * rn, ry + half * re
        out[k, 1, 0], out[k, 1, 1] = rx + half * rn, ry - half * re
        out[k, 2, 0], out[k, 2, 1] = fx + half * fn, fy - half * fe
        out[k, 3, 0], out[k, 3, 1] = fx - half * fn, fy + half * fe


@njit(cache=True, nogil=True)
def extent(corners: np.ndarray, i: int, axis: int) -> tuple[float, float]:
    """Return the lowest and highest coordinate of footprint i along an axis."""
    low = high = corners[i, 0, axis]
    for k in range(1, 4):
        low, high = min(low, corners[i, k, axis]), max(high, corners[i, k, axis])
    return low, high


@njit(cache=True, nogil=True)
def _bounds(corners: np.ndarray) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = np.inf, np.inf, -np.inf, -np.inf
    for i in range(len(corners)):
        low_x, high_x = extent(corners, i, 0)
        low_y, high_y = extent(corners, i, 1)
        x0, y0, x1, y1 = min(x0, low_x), min(y0, low_y), max(x1, high_x), max(y1, high_y)
    return x0, y0, x1, y1


@njit(cache=True, nogil=True)
def _touched(corners: np.ndarray, x0: float, y0: float, side: float, slot: np.ndarray, found: int) -> int:
    """Give a number to each tile that any footprint's bounding box touches; return how many were found by now."""
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
def crossed(corners: np.ndarray, i: int, y: float) -> tuple[float, float]:
    """Return from where to where the line of equal y lies in footprint i, which is convex; left > right if nowhere."""
    left, right = np.inf, -np.inf
    xa, ya = corners[i, 3, 0], corners[i, 3, 1]
    for b in range(4):
        xb, yb = corners[i, b, 0], corners[i, b, 1]
        if (ya <= y) != (yb <= y):
            x = xa + (y - ya) / (yb - ya) * (xb - xa)
            if x < left:
                left = x
            if x > right:
                right = x
        xa, ya = xb, yb
    return left, right


@njit(cache=True, nogil=True, error_model="numpy")
def _draw(
    corners: np.ndarray, pass_id: np.ndarray, x0: float, y0: float, cell: float, slot: np.ndarray, cut: np.ndarray,
    owner: np.ndarray, share: np.ndarray,
) -> None:  # fmt: skip
    for i in range(len(corners)):
        mine = pass_id[i]
        low_y, high_y = extent(corners, i, 1)
        all_cells, new_cells = np.uint64(0), np.uint64(0)
        for row in range(int((low_y - y0) / cell), int((high_y - y0) / cell) + 1):
            left, right = crossed(corners, i, y0 + (row + 0.5) * cell)
            if left > right:
                continue
            first, last = int(np.ceil((left - x0) / cell - 0.5)), int(np.ceil((right - x0) / cell - 0.5))
            line = row % _TILE
            while first < last:  # tile by tile
                tile, start = slot[row // _TILE, first // _TILE], first % _TILE
                cells = min(last - first, _TILE - start)
                bits = (_ALL >> np.uint64(_TILE - cells)) << np.uint64(start)
                if owner[tile, line] != mine:
                    cut[tile, line, 0] |= cut[tile, line, 1]
                    cut[tile, line, 1] = 0
                    owner[tile, line] = mine
                new = bits & ~(cut[tile, line, 0] | cut[tile, line, 1])
                cut[tile, line, 1] |= new
                new_cells += _ones(new)
                all_cells += _ones(new | (bits & cut[tile, line, 0]))
                first += cells
        if all_cells > 0:
            share[i] = new_cells / all_cells


@njit(cache=True, nogil=True)
def _ones(bits: np.uint64) -> np.uint64:
    """Count the ones of a word: in pairs, in fours, in eights, and the eights by one product."""
    bits -= (bits >> np.uint64(1)) & np.uint64(0x5555555555555555)
    bits = (bits & np.uint64(0x3333333333333333)) + ((bits >> np.uint64(2)) & np.uint64(0x3333333333333333))
    bits = (bits + (bits >> np.uint64(4))) & np.uint64(0x0F0F0F0F0F0F0F0F)
    return (bits * np.uint64(0x0101010101010101)) >> np.uint64(56)
