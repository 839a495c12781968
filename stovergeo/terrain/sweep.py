"""The loops of the horizon sweep: chains of points that can be a horizon, walked line by line.

Called by `stovergeo.terrain.horizon`, which explains the method. A chain holds, nearest last, the
points of a line that someone further back may have as a horizon; `k` counts the steps walked.

Only horizons steeper than `least` matter (below it there is no sun), and most ground lies under none.
The shadow that a line's points cast at that slope is one number carried along, `shade` over the point at
`shade_k`. Where the ground reaches out of it, nothing ahead matters to that point, nor to anyone behind:
whoever sees something ahead more steeply than `least` sees the point itself more steeply still. The chain
starts anew there, so that gentle ground costs one comparison a point.

Lines of a direction lie one row apart, so that all of them cross a column at the same part of a cell: the
row that line `n` has reached in column `i` is ``n + row[i]``, and it lies ``part[i]`` of a cell beyond its middle.
"""

from __future__ import annotations

import numpy as np
from numba import njit

#: tangent of a horizon where nothing lies ahead: level ground beyond the grid
NO_HORIZON = np.float32(0)
#: side of a cover tile is 2 to this power, cells
TILE = 4
SIDE = 1 << TILE


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
def _sample(
    ground: np.ndarray,
    cols: int,
    at: int,
    place: np.ndarray,
    part: np.ndarray,
    low: int,
    high: int,
    profile: np.ndarray,
) -> None:
    """Write the ground's height along a line: linear between the two rows beside it, NaN where both are unknown.

    `ground` is flat, with `cols` in a row; the line's cell in column `i` is ``at + place[i]``.
    """
    end = ground.size - cols
    for i in range(low, high):
        k, share = at + place[i], part[i]
        if k >= end:  # on the very last row
            k, share = k - cols, np.float32(1)
        a, b = ground[k], ground[k + cols]
        height = a + share * (b - a)
        height = b if np.isnan(a) else height
        profile[i] = a if np.isnan(b) else height


@njit(cache=True, nogil=True, error_model="numpy")
def _scan_ground(
    profile: np.ndarray,
    low: int,
    high: int,
    towards: int,
    per_step: np.float32,
    least: np.float32,
    chain_k: np.ndarray,
    chain_z: np.ndarray,
    seen: np.ndarray,
) -> tuple[int, int]:
    """Write the tangent of the horizon that the ground of a line makes for each of its points.

    Returns the stretch of points outside which no horizon is above `least`.
    """
    drop = least / per_step
    top = -1
    begin, end = high, low
    shade, shade_k = np.float32(0), np.float32(0)
    i = high - 1 if towards > 0 else low
    for k in range(high - low):
        g, kf = profile[i], np.float32(k)
        if not np.isnan(g):
            if top < 0 or g >= shade - drop * (kf - shade_k):
                seen[i] = least if top >= 0 else NO_HORIZON
                shade, shade_k = g, kf
                top = -1
            else:
                top = _look(g, kf, chain_k, chain_z, top)
                seen[i] = (chain_z[top] - g) * per_step / (kf - chain_k[top])
                begin, end = min(begin, i), max(end, i + 1)
            top += 1
            chain_k[top] = kf
            chain_z[top] = g
        i -= towards
    return begin, end


@njit(cache=True, nogil=True, error_model="numpy")
def _scan_cover(
    cover: np.ndarray,
    tiles: np.ndarray,
    profile: np.ndarray,
    n: int,
    row: np.ndarray,
    part: np.ndarray,
    half_lean: np.float32,
    low: int,
    high: int,
    towards: int,
    per_step: np.float32,
    least: np.float32,
    chain_k: np.ndarray,
    chain_z: np.ndarray,
    seen: np.ndarray,
) -> tuple[int, int]:
    """Write the tangent of the horizon that upright cover makes for each point of a line.

    `half_lean` is what the line gains from a cell's middle to its far edge, rows. Returns the stretch
    of points outside which no horizon is above `least`.
    """
    last = cover.shape[0] - 2
    half = np.float32(0.5)
    drop = least / per_step
    top = -1
    shade, shade_k = np.float32(0), np.float32(0)
    begin, end = high, low
    i = high - 1 if towards > 0 else low
    k = 0
    while k < high - low:
        if top < 0:  # in no shade: straight on to the next tile that holds cover
            r = min(n + row[i], last)
            ahead = (i & (SIDE - 1)) + 1 if towards > 0 else SIDE - (i & (SIDE - 1))
            ahead = min(ahead, high - low - k)
            r_end = min(n + row[i - towards * (ahead - 1)], last)
            if not (tiles[r >> TILE, i >> TILE] or tiles[r_end >> TILE, i >> TILE]):
                for step in range(ahead):
                    seen[i - towards * step] = NO_HORIZON
                i -= towards * ahead
                k += ahead
                continue
        g, kf = profile[i], np.float32(k)
        seen[i] = NO_HORIZON
        if top >= 0:
            if g >= shade - drop * (kf - shade_k):
                seen[i] = least
                top = -1
            else:
                at = _look(g, kf, chain_k, chain_z, top)
                seen[i] = (chain_z[at] - g) * per_step / (kf - chain_k[at])
                begin, end = min(begin, i), max(end, i + 1)
        r = min(n + row[i], last)
        if tiles[r >> TILE, i >> TILE] and (cover[r, i] > 0 or cover[r + 1, i] > 0) and not np.isnan(g):
            # the far edge, then the near edge: first seen at the edge of the cell that is nearer to the viewer
            beyond = np.float32(n + row[i] - r) + part[i] + half
            for edge in range(2):
                side = half_lean if edge == 0 else -half_lean
                tall = cover[r + min(int(beyond + side), 1), i]
                if tall > 0:
                    z, at_k = g + tall, kf + half * np.float32(edge)
                    if top < 0 or z >= shade - drop * (at_k - shade_k):
                        shade, shade_k = z, at_k
                    top = _join(z, at_k, chain_k, chain_z, top)
        i -= towards
        k += 1
    return begin, end


@njit(cache=True, nogil=True, error_model="numpy")
def _at_rim(j: int, before: int, part: np.float32, share: np.float32, minors: int) -> np.float32:
    """Return the farther line's share in a cell of the rim: all or none where the other line runs outside."""
    if before < 0:
        return np.float32(1)
    if part > 0 and j == minors - 1:
        return np.float32(0)
    return share


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
    least: np.float32,
    minor_from: int,
    minor_to: int,
    major_from: int,
    major_to: int,
    out: np.ndarray,
) -> None:
    """Write to `out` the tangents of the horizons of core cells between `lines` + 1 neighbouring lines.

    Cells without a horizon above `least` may be left as they are.
    """
    minors, majors = ground.shape
    covered = cover.size > 0
    half_lean = np.float32(0.5 * lean * towards)
    row, part = np.empty(majors, dtype=np.int64), np.empty(majors, dtype=np.float32)
    place = np.empty(majors, dtype=np.int64)
    # the cell between line n and the line before lies in row `n + between`, `share` of the way to line n
    between, share = np.empty(majors, dtype=np.int64), np.zeros(majors, dtype=np.float32)
    for i in range(majors):
        row[i] = int(np.floor(first + lean * i))
        part[i] = np.float32(first + lean * i - row[i])
        place[i] = row[i] * majors + i
        between[i] = row[i] - 1
        if part[i] > 0:
            between[i], share[i] = row[i], np.float32(1) - part[i]
    flat = ground.ravel()
    chain_k, chain_z = np.empty(2 * majors, dtype=np.float32), np.empty(2 * majors, dtype=np.float32)
    profile = np.empty(majors, dtype=np.float32)
    near, far = np.zeros(majors, dtype=np.float32), np.zeros(majors, dtype=np.float32)
    near_cover, far_cover = np.zeros(majors, dtype=np.float32), np.zeros(majors, dtype=np.float32)
    half = np.float32(0.5)
    begin_before, end_before = majors, 0
    for n in range(lines + 1):
        low, high = _inside(first + n, lean, minors, majors)
        if towards > 0:  # what lies behind the core shades none of it
            low = max(low, major_from)
        else:
            high = min(high, major_to)
        _sample(flat, majors, n * majors, place, part, low, high, profile)
        begin, end = _scan_ground(profile, low, high, towards, per_step, least, chain_k, chain_z, far)
        if covered:
            begin_cover, end_cover = _scan_cover(
                cover, tiles, profile, n, row, part, half_lean,
                low, high, towards, per_step, least, chain_k, chain_z, far_cover,
            )  # fmt: skip
            begin, end = min(begin, begin_cover), max(end, end_cover)
        if n > 0:  # the cells between this line and the one before
            for i in range(max(major_from, min(begin, begin_before)), min(major_to, max(end, end_before))):
                j = n + between[i]
                if minor_from <= j < minor_to:
                    part_far = share[i]
                    if j == 0 or j == minors - 1:  # the rim of the grid: one line only may run beside the cell
                        part_far = _at_rim(j, n - 1 + row[i], part[i], share[i], minors)
                    smooth = near[i] + part_far * (far[i] - near[i])
                    upright = far_cover[i] if part_far > half else near_cover[i]
                    out[j - minor_from, i - major_from] = max(smooth, upright)
        near, far, near_cover, far_cover = far, near, far_cover, near_cover
        begin_before, end_before = begin, end
