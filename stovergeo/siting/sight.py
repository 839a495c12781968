"""Lines of sight: from where, and how much of, a stack on each cell would be seen."""

from __future__ import annotations

import numpy as np
import shapely
from numba import njit

_SIDES_MIN = 4  # a house looks out at least to four sides
_STEPS_MAX = 1.5e8  # along all rays of one layer: a few seconds
_REACH_MAX = 2000  # cells


def places_max(reach: float) -> int:
    """Return from how many places can be looked so many cells far in a time that is bearable."""
    return int(np.clip(_STEPS_MAX / (8 * reach**2), 50, 2000))


def looking_places(shapes: np.ndarray, every_m: float, clear_m: float, most: int) -> np.ndarray:
    """Return points from which shapes look out.

    A point looks from where it is, a line every so many meters along, a polygon from a
    ring just outside it, so that a building does not stand in its own view.

    Parameters
    ----------
    shapes : object array of shapely geometries
    every_m : float
        Distance between places along a line or ring, m.
    clear_m : float
        Distance of the ring from the polygon, m.
    most : int
        On a large farm places along lines stand farther apart, so that they are not many more than this.

    Returns
    -------
    float array (places, 2)
        x and y in the shapes' CRS.
    """
    # a copy: a column of a table may be read-only, which shapely's older get_parts refuses
    parts = shapely.get_parts(shapely.get_parts(np.array(shapes, dtype=object)))
    flat = shapely.get_dimensions(parts) == 2
    parts[flat] = shapely.get_exterior_ring(shapely.buffer(parts[flat], clear_m))
    lengths = shapely.length(parts)
    step = max(every_m, float(lengths.sum()) / most)
    found = [np.empty((0, 2))]
    for part, length, ring in zip(parts, lengths, flat, strict=True):
        if length == 0:
            found.append(shapely.get_coordinates(part)[:1])
            continue
        count = max(_SIDES_MIN if ring else 1, round(length / step))
        at = shapely.line_interpolate_point(part, (np.arange(count) + 0.5) * length / count)
        found.append(shapely.get_coordinates(at))
    return np.concatenate(found)


def seen_fraction(
    ground: np.ndarray,
    surface: np.ndarray,
    places: np.ndarray,
    cell_m: float,
    *,
    eye_m: float,
    stack_m: float,
    reach_m: float,
) -> np.ndarray:
    """Return how much of a stack on each cell is seen from what lies within reach.

    From each place rays run to every cell of the rim of a square, the ground between cells
    is taken as straight, and a cell's view is that of the ray that passes nearest to its
    middle ("R2" of Franklin & Ray 1994, from memory). Of a stack that is partly hidden the share of its
    height above the line of sight counts. Places count the more the nearer they are: fully
    at no distance, not at all at the reach. The result is the mean over the places within
    reach so weighed; where these weigh less than one place next door, what they do not
    weigh counts as unseen, so that it falls to 0 at the reach. Beyond the grid the ground
    is taken to hide nothing and to be as high as the grid's nearest cell. The earth's
    curvature is left out: 7 cm at 1 km.

    Parameters
    ----------
    ground, surface : float array (rows, cols)
        Heights, m: bare ground, and with what stands on it. NaN hides nothing.
    places : float array (n, 2)
        Row and column of each place, in cells; may lie off the grid.
    cell_m : float
    eye_m, stack_m : float
        Height of the eye and of the stack above the ground, m.
    reach_m : float
        Distance beyond which a stack is not noticed; at most 2,000 cells.

    Returns
    -------
    float32 array (rows, cols)
        0 unseen to 1 wholly in view; NaN where the ground is not known.
    """
    seen, weight = np.zeros(ground.shape, np.float32), np.zeros(ground.shape, np.float32)
    reach = int(np.clip(reach_m / cell_m, 1, _REACH_MAX))
    rounded = np.rint(places).astype(np.int64).reshape(-1, 2)
    _look(ground, surface, rounded, float(cell_m), eye_m, stack_m, reach, seen, weight)
    return np.where(np.isnan(ground), np.float32(np.nan), seen / np.maximum(weight, 1))


@njit(cache=True, nogil=True)
def _look(
    ground: np.ndarray,
    surface: np.ndarray,
    places: np.ndarray,
    cell: float,
    eye: float,
    stack: float,
    reach: int,
    seen: np.ndarray,
    weight: np.ndarray,
) -> None:
    """Add each place's view to `seen` and its nearness to `weight`; each ray ends on the rim of its square."""
    rows, cols = ground.shape
    side = 2 * reach + 1
    off = np.empty((side, side), np.float32)  # how far the best ray so far passes from each cell's middle
    share = np.empty((side, side), np.float32)
    for p in range(len(places)):
        i0, j0 = places[p, 0], places[p, 1]
        if i0 + reach < 0 or j0 + reach < 0 or i0 - reach >= rows or j0 - reach >= cols:
            continue
        z0 = ground[min(max(i0, 0), rows - 1), min(max(j0, 0), cols - 1)] + eye
        if np.isnan(z0):
            continue
        off[:] = 9.0
        share[:] = 0.0
        share[reach, reach] = 1.0
        for turn in range(4):  # rays to the north, south, west and east side of the rim
            for t in range(-reach, reach + 1):
                steepest = -np.inf
                for k in range(1, reach + 1):
                    across = k * t / reach
                    low = int(np.floor(across))
                    part = across - low
                    near = low if part < 0.5 else low + 1
                    along = k if turn % 2 else -k
                    di, dj = (along, near) if turn < 2 else (near, along)
                    i, j = i0 + di, j0 + dj
                    if i < 0 or j < 0 or i >= rows or j >= cols:
                        continue
                    miss = abs(across - near)
                    if miss < off[reach + di, reach + dj]:
                        off[reach + di, reach + dj] = miss
                        line = z0 + steepest * cell * np.sqrt(float(k * k + near * near))
                        hidden = (line - ground[i, j]) / stack
                        share[reach + di, reach + dj] = 1.0 - min(max(hidden, 0.0), 1.0)
                    # what stands here hides what lies behind
                    beside = low + 1 if part > 0 else low
                    bi, bj = (i0 + along, j0 + low) if turn < 2 else (i0 + low, j0 + along)
                    ci, cj = (i0 + along, j0 + beside) if turn < 2 else (i0 + beside, j0 + along)
                    if bi < 0 or bj < 0 or ci < 0 or cj < 0 or bi >= rows or ci >= rows or bj >= cols or cj >= cols:
                        continue
                    z = (1 - part) * surface[bi, bj] + part * surface[ci, cj]
                    slope = (z - z0) / (cell * np.sqrt(float(k * k) + across * across))
                    if slope > steepest:
                        steepest = slope
        for i in range(max(0, i0 - reach), min(rows, i0 + reach + 1)):
            for j in range(max(0, j0 - reach), min(cols, j0 + reach + 1)):
                nearness = 1 - np.sqrt(float((i - i0) ** 2 + (j - j0) ** 2)) / reach
                if nearness > 0:
                    seen[i, j] += nearness * share[i - i0 + reach, j - j0 + reach]
                    weight[i, j] += nearness
