"""The loops of the horizon sweep: chains of points that can be a horizon, walked line by line.

Called by `stovergeo.terrain.horizon`, which explains the method. A chain holds, nearest last, the
points of a line that someone further back may have as a horizon; `k` counts the steps walked.
"""

from __future__ import annotations

import numpy as np
from numba import njit

#: tangent of a horizon where nothing lies ahead: level ground beyond the grid
NO_HORIZON = np.float32(0)
#: side of a cover tile is 2 to this power, cells
TILE = 4


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _look(g: np.float32, k: np.float32, chain_k: np.ndarray, chain_z: np.ndarray, top: int) -> int:
    """Return the place in the chain where a viewer at height `g`, step `k`, sees its horizon; -1 for none.

    The chain's nearest point is at `top`. Slopes seen rise along the chain up to the horizon, then fall.
    """
    while top > 0 and (chain_z[top] - g) * (k - chain_k[top - 1]) <= (chain_z[top - 1] - g) * (k - chain_k[top]):
        top -= 1
    return top


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _join(z: np.float32, k: np.float32, chain_k: np.ndarray, chain_z: np.ndarray, top: int) -> int:
    """Add a point to the near end of the chain, dropping those it hides; return the new end."""
    top = _look(z, k, chain_k, chain_z, top) + 1
    chain_k[top] = k
    chain_z[top] = z
    return top


@njit(cache=True, nogil=True, error_model="numpy")
def horizon_indices(z: np.ndarray, found: np.ndarray) -> None:
    """Write the index of the horizon of each point of a profile, looking towards larger indices."""
    n = z.size
    chain_k = np.empty(n, dtype=np.float32)
    chain_z = np.empty(n, dtype=np.float32)
    top = -1
    for k in range(n):
        i = n - 1 - k
        top = _look(z[i], np.float32(k), chain_k, chain_z, top)
        found[i] = i if top < 0 or chain_z[top] <= z[i] else n - 1 - int(chain_k[top])
        top = _join(z[i], np.float32(k), chain_k, chain_z, top)


@njit(cache=True, nogil=True)
def cover_tiles(cover: np.ndarray) -> np.ndarray:
    """Return for each tile of cells whether anything stands on it or on the row after it, so that lines pass by."""
    rows, cols = cover.shape
    tiles = np.zeros(((rows >> TILE) + 1, (cols >> TILE) + 1), dtype=np.bool_)
    for r in range(rows):
        for c in range(cols):
            if cover[r, c] > 0:
                tiles[r >> TILE, c >> TILE] = True
                tiles[max(r - 1, 0) >> TILE, c >> TILE] = True
    return tiles


@njit(cache=True, nogil=True, error_model="numpy")
def _inside(line: float, lean: float, minors: int, majors: int) -> tuple[int, int]:
    """Return the stretch of major indices at which a line runs between the first and the last row."""
    low, high = 0, majors
    if lean != 0:
        at_first, at_last = -line / lean, (minors - 1 - line) / lean
        low = max(low, int(np.floor(min(at_first, at_last))))
        high = min(high, int(np.ceil(max(at_first, at_last))) + 1)
    while low < high and not 0 <= line + lean * low <= minors - 1:
        low += 1
    while low < high and not 0 <= line + lean * (high - 1) <= minors - 1:
        high -= 1
    return low, high


@njit(cache=True, nogil=True, error_model="numpy")
def _sample(ground: np.ndarray, line: float, lean: float, low: int, high: int, profile: np.ndarray) -> None:
    """Write the ground's height along a line: linear between the two rows beside it, NaN where both are unknown."""
    last = ground.shape[0] - 2
    for i in range(low, high):
        m = line + lean * i
        row = min(int(m), last)
        a, b = ground[row, i], ground[row + 1, i]
        height = a + np.float32(m - row) * (b - a)
        height = b if np.isnan(a) else height
        profile[i] = a if np.isnan(b) else height


@njit(cache=True, nogil=True, error_model="numpy")
def _scan_ground(
    profile: np.ndarray, low: int, high: int, towards: int, per_step: np.float32, chain: np.ndarray, seen: np.ndarray
) -> None:
    """Write the tangent of the horizon that the ground of a line makes for each of its points."""
    chain_k, chain_z = chain
    top = -1
    i = high - 1 if towards > 0 else low
    for k in range(high - low):
        g, kf = profile[i], np.float32(k)
        if not np.isnan(g):
            top = _look(g, kf, chain_k, chain_z, top)
            seen[i] = (chain_z[top] - g) * per_step / (kf - chain_k[top]) if top >= 0 else NO_HORIZON
            top += 1
            chain_k[top] = kf
            chain_z[top] = g
        i -= towards


@njit(cache=True, nogil=True, error_model="numpy")
def _scan_cover(
    cover: np.ndarray,
    tiles: np.ndarray,
    profile: np.ndarray,
    line: float,
    lean: float,
    low: int,
    high: int,
    towards: int,
    per_step: np.float32,
    chain: np.ndarray,
    seen: np.ndarray,
) -> None:
    """Write the tangent of the horizon that upright cover makes for each point of a line."""
    chain_k, chain_z = chain
    last = cover.shape[0] - 2
    half = np.float32(0.5)
    half_lean = 0.5 * lean * towards  # what the line gains from a cell's middle to its far edge
    top = -1
    i = high - 1 if towards > 0 else low
    for k in range(high - low):
        g, kf = profile[i], np.float32(k)
        seen[i] = NO_HORIZON
        if top >= 0:
            at = _look(g, kf, chain_k, chain_z, top)
            seen[i] = (chain_z[at] - g) * per_step / (kf - chain_k[at])
        m = line + lean * i
        row = min(int(m), last)
        if tiles[row >> TILE, i >> TILE] and (cover[row, i] > 0 or cover[row + 1, i] > 0) and not np.isnan(g):
            tall = cover[row + min(int(m - row + half_lean + 0.5), 1), i]
            if tall > 0:
                top = _join(g + tall, kf, chain_k, chain_z, top)
            tall = cover[row + min(int(m - row - half_lean + 0.5), 1), i]
            if tall > 0:  # first seen at the edge of the cell that is nearer to the viewer
                top = _join(g + tall, kf + half, chain_k, chain_z, top)
        i -= towards


@njit(cache=True, nogil=True, error_model="numpy")
def sweep_lines(
    ground: np.ndarray,
    cover: np.ndarray,
    tiles: np.ndarray,
    first: float,
    lines: int,
    lean: float,
    towards: int,
    per_step: np.float32,
    minor_from: int,
    minor_to: int,
    major_from: int,
    major_to: int,
    out: np.ndarray,
) -> None:
    """Write to `out` the tangents of the horizons of core cells between `lines` + 1 neighbouring lines."""
    minors, majors = ground.shape
    covered = cover.size > 0
    chain = np.empty((2, 2 * majors), dtype=np.float32)
    profile = np.empty(majors, dtype=np.float32)
    near, far = np.zeros(majors, dtype=np.float32), np.zeros(majors, dtype=np.float32)
    near_cover, far_cover = np.zeros(majors, dtype=np.float32), np.zeros(majors, dtype=np.float32)
    for n in range(lines + 1):
        line = first + n
        low, high = _inside(line, lean, minors, majors)
        if towards > 0:  # what lies behind the core shades none of it
            low = max(low, major_from)
        else:
            high = min(high, major_to)
        _sample(ground, line, lean, low, high, profile)
        _scan_ground(profile, low, high, towards, per_step, chain, far)
        if covered:
            _scan_cover(cover, tiles, profile, line, lean, low, high, towards, per_step, chain, far_cover)
        if n > 0:  # the cells between this line and the one before
            for i in range(major_from, major_to):
                m = line - 1 + lean * i
                j = int(np.ceil(m))
                if minor_from <= j < minor_to:
                    part = np.float32(j - m)
                    if m < 0:  # the rim of the grid: one line only runs beside the cell
                        part = np.float32(1)
                    elif m + 1 > minors - 1:
                        part = np.float32(0)
                    smooth = near[i] + part * (far[i] - near[i])
                    upright = far_cover[i] if part > 0.5 else near_cover[i]
                    out[j - minor_from, i - major_from] = max(smooth, upright)
        near, far, near_cover, far_cover = far, near, far_cover, near_cover
