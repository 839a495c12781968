"""The loops of the horizon sweep: chains of points that can be a horizon, walked line by line.

Called by `stovergeo.terrain.horizon`, which explains the method. A chain holds, nearest last, the
points of a line that someone further back may have as a horizon; `k` counts the steps walked.

Only horizons steeper than `least` matter (below it there is no sun), and most ground lies under none.
The shadow that a line's points cast at that slope is one number carried along: it falls from `edge_z`, the height
at step `edge_k`. Where the ground reaches out of it, nothing ahead matters to that point, nor to anyone behind:
whoever sees something ahead more steeply than `least` sees the point itself more steeply still. The chain
starts anew there, so that gentle ground costs one comparison a point; and in a tile (`stovergeo.terrain.tiles`)
where no line of the direction falls as steeply as the shadow's edge, a line that enters in the sun leaves in it.

Lines of a direction lie one row apart, so that all of them cross a column at the same part of a cell: the
row that line `n` has reached in column `i` is ``n + row[i]``, and it lies ``part[i]`` of a cell beyond its middle.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.terrain.tiles import SIDE, TILE

#: tangent of a horizon where nothing lies ahead: level ground beyond the grid
NO_HORIZON = np.float32(0)


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


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _height(ground: np.ndarray, cols: int, k: int, share: np.float32) -> np.float32:
    """Return the ground's height between cell `k` of a flat grid and the one after it across; NaN where both are."""
    if k >= ground.size - cols:  # on the very last row
        k, share = k - cols, np.float32(1)
    a, b = ground[k], ground[k + cols]
    height = a + share * (b - a)
    height = b if np.isnan(a) else height
    return a if np.isnan(b) else height


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _walk_ground(
    profile: np.ndarray, i: int, towards: int, k: int, count: int, per_step: np.float32, drop: np.float32,
    chain_k: np.ndarray, chain_z: np.ndarray, top: int, edge_z: np.float32, edge_k: np.float32, seen: np.ndarray,
) -> tuple[int, np.float32, np.float32, bool, bool]:  # fmt: skip
    """Walk `count` points from index `i`, step `k`, and write the horizons that the ground makes for those in shade.

    Returns the chain's end, the point whose shadow reaches farthest, whether the last point lies in the sun and
    whether any was in shade.
    """
    sunny, shaded = top < 0, False
    for step in range(k, k + count):
        g, kf = profile[i], np.float32(step)
        sunny = top < 0
        if not np.isnan(g):
            if top < 0 or g >= edge_z - drop * (kf - edge_k):
                sunny, top = True, -1
                edge_z, edge_k = g, kf
            else:
                top = _look(g, kf, chain_k, chain_z, top)
                seen[i] = (chain_z[top] - g) * per_step / (kf - chain_k[top])
                shaded = True
            top += 1
            chain_k[top] = kf
            chain_z[top] = g
        i -= towards
    return top, edge_z, edge_k, sunny, shaded


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _walk_cover(
    cover: np.ndarray, profile: np.ndarray, n: int, row: np.ndarray, part: np.ndarray, half_lean: np.float32,
    bare: bool, i: int, towards: int, k: int, count: int, per_step: np.float32, drop: np.float32,
    chain_k: np.ndarray, chain_z: np.ndarray, top: int, edge_z: np.float32, edge_k: np.float32, seen: np.ndarray,
) -> tuple[int, np.float32, np.float32, bool]:  # fmt: skip
    """Walk `count` points and write the horizons that upright cover makes for those in its shade.

    `half_lean` is what the line gains from a cell's middle to its far edge, rows; `bare` tells that nothing stands
    here. Returns the chain's end, the edge whose shadow reaches farthest and whether any point was in shade.
    """
    last = cover.shape[0] - 2
    half = np.float32(0.5)
    shaded = False
    for step in range(k, k + count):
        g, kf = profile[i], np.float32(step)
        if top >= 0:
            if g >= edge_z - drop * (kf - edge_k):
                top = -1
            else:
                at = _look(g, kf, chain_k, chain_z, top)
                seen[i] = (chain_z[at] - g) * per_step / (kf - chain_k[at])
                shaded = True
        r = min(n + row[i], last)
        ahead = i + towards
        if 0 <= ahead < cover.shape[1]:
            # from a cell's middle the cell straight ahead begins half a step away; a line beside the middle may slip by
            # it where two cells meet in a corner
            tall = cover[r + min(int(np.float32(n + row[i] - r) + part[i] + half), 1), ahead]
            if tall > 0 and not np.isnan(g):
                seen[i] = max(seen[i], tall * per_step / half)
                shaded = True
        if not bare and (cover[r, i] > 0 or cover[r + 1, i] > 0) and not np.isnan(g):
            beyond = np.float32(n + row[i] - r) + part[i] + half
            # the far edge, then the near edge: first seen at the edge of the cell that is nearer to the viewer
            for edge in range(2):
                side = half_lean if edge == 0 else -half_lean
                tall = cover[r + min(int(beyond + side), 1), i]
                if tall > 0:
                    z, at_k = g + tall, kf + half * np.float32(edge)
                    if top < 0 or z >= edge_z - drop * (at_k - edge_k):
                        edge_z, edge_k = z, at_k
                    top = _join(z, at_k, chain_k, chain_z, top)
        i -= towards
    return top, edge_z, edge_k, shaded


@njit(cache=True, nogil=True, error_model="numpy")
def _at_rim(j: int, before: int, part: np.float32, share: np.float32, minors: int) -> np.float32:
    """Return the farther line's share in a cell of the rim: all or none where the other line runs outside."""
    if before < 0:
        return np.float32(1)
    if part > 0 and j == minors - 1:
        return np.float32(0)
    return share


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _write_between(
    n: int, row: np.ndarray, part: np.ndarray, between: np.ndarray, share: np.ndarray, near: np.ndarray,
    far: np.ndarray, near_cover: np.ndarray, far_cover: np.ndarray, near_shaded: np.ndarray,
    far_shaded: np.ndarray, minors: int, minor_from: int, minor_to: int, major_from: int, major_to: int,
    out: np.ndarray, touched: np.ndarray,
) -> None:  # fmt: skip
    """Write the horizons of the core cells between line `n` (`far`) and the line before (`near`), tile by tile."""
    for b in range(major_from >> TILE, ((major_to - 1) >> TILE) + 1):
        if not (near_shaded[b] or far_shaded[b]):
            continue
        i_from, i_to = max(major_from, b << TILE), min(major_to, (b + 1) << TILE)
        # a line crosses one tile row or two in a tile's length
        touched[min(max(n + between[i_from], 0), minors - 1) >> TILE, b] = True
        touched[min(max(n + between[i_to - 1], 0), minors - 1) >> TILE, b] = True
        for i in range(i_from, i_to):
            j = n + between[i]
            if minor_from <= j < minor_to:
                part_far = share[i]
                if j == 0 or j == minors - 1:  # the rim of the grid: one line only may run beside the cell
                    part_far = _at_rim(j, n - 1 + row[i], part[i], share[i], minors)
                smooth = near[i] + part_far * (far[i] - near[i])
                upright = far_cover[i] if part_far > np.float32(0.5) else near_cover[i]
                out[j - minor_from, i - major_from] = max(smooth, upright)


@njit(cache=True, nogil=True, error_model="numpy")
def sweep_lines(
    ground: np.ndarray, cover: np.ndarray, bare: np.ndarray, gentle: np.ndarray, first: float, lines: int,
    lean: float, towards: int, per_step: np.float32, least: np.float32, minor_from: int, minor_to: int,
    major_from: int, major_to: int, out: np.ndarray, touched: np.ndarray,
) -> None:  # fmt: skip
    """Write to `out` the tangents of the horizons of core cells between `lines` + 1 neighboring lines.

    `bare` and `gentle` are those of `stovergeo.terrain.tiles`. Cells without a horizon above `least` may be left as
    they are; `touched` is set for the tiles of which any is written.
    """
    minors, majors = ground.shape
    covered = cover.size > 0
    half_lean = np.float32(0.5 * lean * towards)
    drop = least / per_step
    blank = max(least, NO_HORIZON)
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
    chain_k, chain_z = np.empty(majors, dtype=np.float32), np.empty(majors, dtype=np.float32)
    edges_k, edges_z = np.empty(2 * majors, dtype=np.float32), np.empty(2 * majors, dtype=np.float32)
    profile = np.empty(majors, dtype=np.float32)
    near, far = np.full(majors, blank, dtype=np.float32), np.full(majors, blank, dtype=np.float32)
    near_cover, far_cover = near.copy(), near.copy()
    columns = bare.shape[1]
    near_shaded, far_shaded = np.zeros(columns, dtype=np.bool_), np.zeros(columns, dtype=np.bool_)
    for n in range(lines + 1):
        for b in range(columns):
            if far_shaded[b]:
                for i in range(b << TILE, min((b + 1) << TILE, majors)):
                    far[i] = far_cover[i] = blank
                far_shaded[b] = False
        low, high = _inside(first + n, lean, minors, majors)
        if towards > 0:  # what lies behind the core shades none of it
            low = max(low, major_from)
        else:
            high = min(high, major_to)
        top, edge_z, edge_k, sunny = -1, np.float32(0), np.float32(0), True
        cover_top, cover_z, cover_k = -1, np.float32(0), np.float32(0)
        passed_by = False
        k = 0
        while k < high - low:  # tile by tile
            i = high - 1 - k if towards > 0 else low + k
            count = min((i & (SIDE - 1)) + 1 if towards > 0 else SIDE - (i & (SIDE - 1)), high - low - k)
            last = i - towards * (count - 1)
            b, t, t_last = i >> TILE, (n + row[i]) >> TILE, (n + row[last]) >> TILE
            sunny = sunny and gentle[t, b] and gentle[t_last, b]
            clear = bare[t, b] and bare[t_last, b]
            if sunny and cover_top < 0 and clear:
                passed_by = True
                k += count
                continue
            for at in range(min(i, last), max(i, last) + 1):
                profile[at] = _height(flat, majors, n * majors + place[at], part[at])
            if sunny:
                passed_by = True
            else:
                if passed_by:  # the last point passed by lies in the sun
                    before = i + towards
                    edge_z, edge_k = _height(flat, majors, n * majors + place[before], part[before]), np.float32(k - 1)
                    top, chain_k[0], chain_z[0] = 0, edge_k, edge_z
                    passed_by = False
                top, edge_z, edge_k, sunny, far_shaded[b] = _walk_ground(
                    profile, i, towards, k, count, per_step, drop, chain_k, chain_z, top, edge_z, edge_k, far,
                )  # fmt: skip
            if covered and (cover_top >= 0 or not clear):
                cover_top, cover_z, cover_k, shaded = _walk_cover(
                    cover, profile, n, row, part, half_lean, clear, i, towards, k, count,
                    per_step, drop, edges_k, edges_z, cover_top, cover_z, cover_k, far_cover,
                )  # fmt: skip
                far_shaded[b] |= shaded
            k += count
        if n > 0:
            _write_between(
                n, row, part, between, share, near, far, near_cover, far_cover, near_shaded, far_shaded,
                minors, minor_from, minor_to, major_from, major_to, out, touched,
            )  # fmt: skip
        near, far, near_cover, far_cover = far, near, far_cover, near_cover
        near_shaded, far_shaded = far_shaded, near_shaded
