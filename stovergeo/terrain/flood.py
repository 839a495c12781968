"""Filling depressions by priority-flood, and the order in which water leaves the grid.

Barnes, R., Lehman, C. & Mulla, D. 2014, "Priority-flood: an optimal depression-filling and
watershed-labeling algorithm for digital elevation models", Comput. Geosci. 62:117-127 (the
improved variant: cells inside a depression skip the heap). Besides the filled surface the flood
returns the order in which cells were reached. That order never descends, so walked backwards it
visits every cell before the cells it drains to: accumulation needs no sort.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numba import njit
from scipy import ndimage

from stovergeo.core.errors import ContractError

#: steps to the eight neighbors (row, column), D8 code order E, SE, S, SW, W, NW, N, NE
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)
COL_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], dtype=np.int64)


def flood(z: np.ndarray, outlets: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fill every depression up to the level where it spills.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Heights in meters; NaN where unknown. Water leaves over the rim of the known ground.
    outlets : ndarray of bool, shape (rows, cols), optional
        Cells inside where water leaves too (a tile inlet, a sinkhole).

    Returns
    -------
    filled : ndarray of float32
        Plain fill: never below `z`, flat where a depression stood.
    order : ndarray of int32, shape (known cells,)
        Flat indices in the order reached: outlets first, never descending in `filled`.
    reached_from : ndarray of int8, shape (rows, cols)
        Number of the step (see `ROW_STEP`) towards the cell from which each was reached; -1 at outlets.
    """
    if z.size > np.iinfo(np.int32).max:
        raise ContractError(f"a grid of {z.size} cells is more than one flood can number; work in catchments")
    seeds = np.zeros(z.shape, dtype=np.bool_) if outlets is None else np.asarray(outlets, dtype=np.bool_)
    filled = z.copy()
    reached_from = np.full(z.shape, -1, dtype=np.int8)
    order = np.empty(z.size, dtype=np.int32)
    known = _flood(filled, seeds, order, reached_from)
    return filled, order[:known], reached_from


@njit(cache=True, nogil=True)
def _push(keys: np.ndarray, cells: np.ndarray, size: int, key: np.float32, cell: np.int32) -> None:
    """Put an entry on a heap of `size` entries; the caller counts up."""
    at = size
    while at > 0:
        up = (at - 1) >> 1
        if keys[up] <= key:
            break
        keys[at] = keys[up]
        cells[at] = cells[up]
        at = up
    keys[at] = key
    cells[at] = cell


@njit(cache=True, nogil=True)
def _pop(keys: np.ndarray, cells: np.ndarray, size: int) -> int:
    """Take the least off a heap of `size` entries; the caller counts down."""
    top = cells[0]
    key, cell = keys[size - 1], cells[size - 1]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= size - 1:
            break
        if below + 1 < size - 1 and keys[below + 1] < keys[below]:
            below += 1
        if keys[below] >= key:
            break
        keys[at] = keys[below]
        cells[at] = cells[below]
        at = below
    keys[at] = key
    cells[at] = cell
    return top


@njit(cache=True, nogil=True)
def _flood(z: np.ndarray, seeds: np.ndarray, order: np.ndarray, reached_from: np.ndarray) -> int:
    """Raise `z` to its fill in place; write order and steps back, and return how many cells are known."""
    rows, cols = z.shape
    seen = np.zeros(z.shape, dtype=np.bool_)
    # the heap holds the front of the flood only, far fewer than all cells; it grows when it must
    keys = np.empty(4 * (rows + cols) + 16, dtype=np.float32)
    cells = np.empty(keys.size, dtype=np.int32)
    size = 0
    for r in range(rows):
        for c in range(cols):
            if np.isnan(z[r, c]):
                seen[r, c] = True
                continue
            rim = seeds[r, c] or r == 0 or c == 0 or r == rows - 1 or c == cols - 1
            if not rim:
                for k in range(8):
                    if np.isnan(z[r + ROW_STEP[k], c + COL_STEP[k]]):
                        rim = True
                        break
            if rim:
                if size == keys.size:
                    keys = np.concatenate((keys, np.empty_like(keys)))
                    cells = np.concatenate((cells, np.empty_like(cells)))
                _push(keys, cells, size, z[r, c], np.int32(r * cols + c))
                size += 1
                seen[r, c] = True
    done = 0  # cells taken off heap or queue so far
    queued = 0  # end of the depression cells waiting in `order` behind them
    while size > 0 or done < queued:
        if done < queued:
            cell = order[done]  # a depression cell: its level is the current one, it goes first
        else:
            cell = _pop(keys, cells, size)
            size -= 1
            order[done] = cell
            queued = done + 1
        done += 1
        r, c = cell // cols, cell % cols
        level = z[r, c]
        for k in range(8):
            rr, cc = r + ROW_STEP[k], c + COL_STEP[k]
            if rr < 0 or rr >= rows or cc < 0 or cc >= cols or seen[rr, cc]:
                continue
            seen[rr, cc] = True
            reached_from[rr, cc] = (k + 4) % 8  # the step back
            if z[rr, cc] <= level:
                z[rr, cc] = level
                order[queued] = rr * cols + cc
                queued += 1
            else:
                if size == keys.size:
                    keys = np.concatenate((keys, np.empty_like(keys)))
                    cells = np.concatenate((cells, np.empty_like(cells)))
                _push(keys, cells, size, z[rr, cc], np.int32(rr * cols + cc))
                size += 1
    return done


_EIGHT = np.ones((3, 3), dtype=bool)


def ponding_depth(
    z: np.ndarray, filled: np.ndarray, *, min_depth_m: float, min_area_m2: float, cell_m2: float
) -> np.ndarray:
    """Return how deep each depression stands before it spills, noise set to zero.

    Parameters
    ----------
    z, filled : ndarray of float32, shape (rows, cols)
        Ground and plain fill, m.
    min_depth_m, min_area_m2 : float
        A depression whose deepest cell is shallower, or whose area is smaller, is noise of the survey.
    cell_m2 : float
        Area of a cell.
    """
    depth = filled - z
    labels, count = ndimage.label(depth > 0, structure=_EIGHT)
    if count == 0:
        return depth
    cells = np.bincount(labels.ravel(), minlength=count + 1)
    deepest = np.zeros(count + 1, dtype=depth.dtype)
    wet = labels > 0
    np.maximum.at(deepest, labels[wet], depth[wet])
    real = (deepest >= min_depth_m) & (cells * cell_m2 >= min_area_m2)
    return np.where(wet & ~real[labels], np.float32(0), depth)


def cut_breaches(
    z: np.ndarray, breaches: Iterable[shapely.Geometry], *, west: float, north: float, dx: float, dy: float
) -> np.ndarray:
    """Return heights with a straight channel cut along each breach line.

    The cells under the line are lowered, never raised, to a ramp between the heights at its two ends, so
    that water the survey cannot see passing (a culvert under a road, a tile outlet) passes.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Ground heights, m.
    breaches : iterable of shapely geometries
        Lines in the grid's CRS; parts outside the known ground, and what is not a line, are left out.
    west, north : float
        Outer corner of the grid, m.
    dx, dy : float
        Cell width and height, m.
    """
    cut = z.copy()
    rows, cols = z.shape
    for line in shapely.get_parts(np.asarray(list(breaches), dtype=object)):
        if line is None or line.is_empty or line.geom_type != "LineString":
            continue
        steps = max(int(np.ceil(line.length / (0.25 * min(dx, dy)))), 1)
        share = np.linspace(0, 1, steps + 1)
        x, y = shapely.get_coordinates(shapely.line_interpolate_point(line, share, normalized=True)).T
        r = np.floor((north - y) / dy).astype(int)
        c = np.floor((x - west) / dx).astype(int)
        inside = (r >= 0) & (r < rows) & (c >= 0) & (c < cols)
        r, c, share = r[inside], c[inside], share[inside]
        known = ~np.isnan(z[r, c])
        r, c, share = r[known], c[known], share[known]
        if r.size == 0:
            continue
        ramp = np.interp(share, [share[0], share[-1]], [z[r[0], c[0]], z[r[-1], c[-1]]]).astype(z.dtype)
        np.minimum.at(cut, (r, c), ramp)
    return cut


def inlet_cells(
    breaches: Iterable[shapely.Geometry], shape: tuple[int, int], *, west: float, north: float, dx: float, dy: float
) -> np.ndarray:
    """Return the cells in which water goes down an inlet (points among the breaches), as a mask.

    Parameters are those of `cut_breaches`; `shape` is that of the grid.
    """
    mask = np.zeros(shape, dtype=bool)
    for point in shapely.get_parts(np.asarray(list(breaches), dtype=object)):
        if point is None or point.is_empty or point.geom_type != "Point":
            continue
        r, c = int(np.floor((north - point.y) / dy)), int(np.floor((point.x - west) / dx))
        if 0 <= r < shape[0] and 0 <= c < shape[1]:
            mask[r, c] = True
    return mask
