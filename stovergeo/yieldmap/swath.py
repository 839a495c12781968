"""True swath geometry: which ground a record harvested that nobody had harvested before.

Every record's footprint is drawn, in driving order, on a fine bitmap that remembers the
pass which cut each cell first (the bitmap method of Han et al. 1997, Trans. ASAE
40:485-490; cited from memory). Footprints of one pass share their edges, so that a pass
never overlaps itself on a straight or gently curved way.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.yieldmap.passes import Track, Way, way_of

#: cells along the side of a tile; a row of a tile is one word of 64 bits, and only tiles that hold records are kept
_TILE = 64
_POWER, _WITHIN = np.uint32(6), np.uint32(63)  # a cell's tile, and its place there, from its number
_ALL = np.uint64(0xFFFF_FFFF_FFFF_FFFF)


def footprints(track: Track) -> np.ndarray:
    """Return the four corners of each record's footprint, (n, 4, 2), in driving order.

    A footprint reaches from the previous position of the same pass (or one record's way
    back, at the start of a pass) to the record's position, half a swath to each side.
    """
    corners = np.empty((len(track.x), 4, 2))
    _outline_all(way_of(track), corners)
    return corners


def new_fraction(track: Track, cell_m: float) -> np.ndarray:
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
    way = way_of(track)
    x0, y0, x1, y1 = _bounds(way)
    side = cell_m * _TILE
    slot = np.full((int((y1 - y0) / side) + 1, int((x1 - x0) / side) + 1), -1, np.int32)
    tiles = _touched(way, x0, y0, side, slot)
    cut = np.zeros((tiles, _TILE, 2), np.uint64)  # bits of the cells cut by passes before, and by the last pass there
    owner = np.full((tiles, _TILE), -1, np.int64)  # that last pass
    share = np.full(len(track.x), np.nan)
    _draw(way, x0, y0, cell_m, slot, cut, owner, share)
    return share


@njit(cache=True, nogil=True)
def outline(way: Way, i: int, aside: float, back: float, ahead: float, corners: np.ndarray) -> None:
    """Write the corners, (4, 2), of footprint i, widened on either side, at its back and ahead."""
    x, y, east, north = way.x[i], way.y[i], way.east[i], way.north[i]
    half = 0.5 * way.swath[i] + aside
    if i > 0 and way.pass_id[i] == way.pass_id[i - 1]:
        rx, ry, re, rn = way.x[i - 1], way.y[i - 1], way.east[i - 1], way.north[i - 1]
    else:
        rx, ry, re, rn = x - way.length[i] * east, y - way.length[i] * north, east, north
    rx, ry = rx - back * re, ry - back * rn
    fx, fy = x + ahead * east, y + ahead * north
    corners[0, 0], corners[0, 1] = rx - half * rn, ry + half * re
    corners[1, 0], corners[1, 1] = rx + half * rn, ry - half * re
    corners[2, 0], corners[2, 1] = fx + half * north, fy - half * east
    corners[3, 0], corners[3, 1] = fx - half * north, fy + half * east


@njit(cache=True, nogil=True)
def _outline_all(way: Way, corners: np.ndarray) -> None:
    for i in range(len(corners)):
        outline(way, i, 0.0, 0.0, 0.0, corners[i])


@njit(cache=True, nogil=True)
def extent(corners: np.ndarray, axis: int) -> tuple[float, float]:
    """Return the lowest and highest coordinate of a footprint along an axis."""
    low = high = corners[0, axis]
    for k in range(1, 4):
        low, high = min(low, corners[k, axis]), max(high, corners[k, axis])
    return low, high


@njit(cache=True, nogil=True)
def _box(way: Way, i: int) -> tuple[float, float, float, float]:
    """Return west, south, east and north ends of a box that holds footprint i, and little more."""
    half = 0.5 * way.swath[i]
    if i > 0 and way.pass_id[i] == way.pass_id[i - 1]:
        rx, ry = way.x[i - 1], way.y[i - 1]
    else:
        rx, ry = way.x[i] - way.length[i] * way.east[i], way.y[i] - way.length[i] * way.north[i]
    x, y = way.x[i], way.y[i]
    return min(x, rx) - half, min(y, ry) - half, max(x, rx) + half, max(y, ry) + half


@njit(cache=True, nogil=True)
def _bounds(way: Way) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = np.inf, np.inf, -np.inf, -np.inf
    for i in range(len(way.x)):
        west, south, east, north = _box(way, i)
        x0, y0, x1, y1 = min(x0, west), min(y0, south), max(x1, east), max(y1, north)
    return x0, y0, x1, y1


@njit(cache=True, nogil=True)
def _touched(way: Way, x0: float, y0: float, side: float, slot: np.ndarray) -> int:
    """Give a number to each tile that any footprint's box touches; return how many were found."""
    found = 0
    for i in range(len(way.x)):
        west, south, east, north = _box(way, i)
        for row in range(int((south - y0) / side), int((north - y0) / side) + 1):
            for col in range(int((west - x0) / side), int((east - x0) / side) + 1):
                if slot[row, col] < 0:
                    slot[row, col] = found
                    found += 1
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def slopes(corners: np.ndarray, per_y: np.ndarray) -> None:
    """Write how far each side of a footprint goes in x for each meter in y; no number where it goes along x."""
    for a in range(4):
        b = (a + 1) % 4
        per_y[a] = (corners[b, 0] - corners[a, 0]) / (corners[b, 1] - corners[a, 1])


@njit(cache=True, nogil=True)
def crossed(corners: np.ndarray, per_y: np.ndarray, y: float) -> tuple[float, float]:
    """Return from where to where the line of equal y lies in a footprint, which is convex; left > right if nowhere.

    All four sides are asked and no branch is taken, for which sides the line meets cannot be foretold.
    """
    left, right = np.inf, -np.inf
    for a in range(4):
        met = (corners[a, 1] <= y) != (corners[(a + 1) % 4, 1] <= y)
        x = corners[a, 0] + (y - corners[a, 1]) * per_y[a]
        left, right = min(left, x if met else np.inf), max(right, x if met else -np.inf)
    return left, right


@njit(cache=True, nogil=True, error_model="numpy")
def _draw(
    way: Way, x0: float, y0: float, cell: float, slot: np.ndarray, cut: np.ndarray, owner: np.ndarray, share: np.ndarray
) -> None:
    corners, per_y = np.empty((4, 2)), np.empty(4)
    per_m = 1.0 / cell
    for i in range(len(way.x)):
        mine = way.pass_id[i]
        outline(way, i, 0.0, 0.0, 0.0, corners)
        slopes(corners, per_y)
        low_y, high_y = extent(corners, 1)
        all_cells, new_cells = np.uint64(0), np.uint64(0)
        # unsigned indices: no branch for those below zero
        for row in range(np.uint32((low_y - y0) * per_m), np.uint32((high_y - y0) * per_m) + np.uint32(1)):
            left, right = crossed(corners, per_y, y0 + (row + 0.5) * cell)
            if left > right:
                continue
            first, last = np.uint32(np.ceil((left - x0) * per_m - 0.5)), np.uint32(np.ceil((right - x0) * per_m - 0.5))
            above, line = np.uint32(row) >> _POWER, np.uint32(row) & _WITHIN
            while first < last:  # tile by tile
                tile, start = np.uint32(slot[above, first >> _POWER]), first & _WITHIN
                cells = min(last - first, _WITHIN + np.uint32(1) - start)
                bits = (_ALL >> np.uint64(np.uint32(_TILE) - cells)) << np.uint64(start)
                if owner[tile, line] != mine:
                    cut[tile, line, 0] |= cut[tile, line, 1]
                    cut[tile, line, 1] = 0
                    owner[tile, line] = mine
                before, own = cut[tile, line, 0], cut[tile, line, 1]
                new = bits & ~(before | own)
                cut[tile, line, 1] = own | new
                first = np.uint32(first + cells)
                if new == bits:  # all of it, nearly always
                    new_cells += np.uint64(cells)
                    all_cells += np.uint64(cells)
                else:
                    new_cells += _ones(new)
                    all_cells += _ones(new | (bits & before))
        if all_cells > 0:
            share[i] = new_cells / all_cells


@njit(cache=True, nogil=True)
def _ones(bits: np.uint64) -> np.uint64:
    """Count the ones of a word: in pairs, in fours, in eights, and the eights by one product."""
    bits -= (bits >> np.uint64(1)) & np.uint64(0x5555555555555555)
    bits = (bits & np.uint64(0x3333333333333333)) + ((bits >> np.uint64(2)) & np.uint64(0x3333333333333333))
    bits = (bits + (bits >> np.uint64(4))) & np.uint64(0x0F0F0F0F0F0F0F0F)
    return (bits * np.uint64(0x0101010101010101)) >> np.uint64(56)
