"""Filling depressions by priority-flood, and the order in which water leaves the grid.

Barnes, R., Lehman, C. & Mulla, D. 2014, "Priority-flood: an optimal depression-filling and
watershed-labeling algorithm for digital elevation models", Comput. Geosci. 62:117-127 (the
improved variant: cells inside a depression skip the heap). Besides the filled surface the flood
returns the order in which cells were reached. That order never descends, so walked backwards it
visits every cell before the cells it drains to: accumulation needs no sort.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.core.errors import ContractError

#: steps to the eight neighbours (row, column), D8 code order E, SE, S, SW, W, NW, N, NE
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)
COL_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], dtype=np.int64)


def flood(z: np.ndarray, outlets: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fill every depression up to the level where it spills.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Heights in metres; NaN where unknown. Water leaves over the rim of the known ground.
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
    known = _flood(filled, seeds, ROW_STEP, COL_STEP, order, reached_from)
    return filled, order[:known], reached_from


@njit(cache=True, nogil=True)
def _push(keys: np.ndarray, cells: np.ndarray, size: int, key: np.float32, cell: np.int32) -> None:
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
def _flood(
    z: np.ndarray,
    seeds: np.ndarray,
    row_step: np.ndarray,
    col_step: np.ndarray,
    order: np.ndarray,
    reached_from: np.ndarray,
) -> int:
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
                    if np.isnan(z[r + row_step[k], c + col_step[k]]):
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
            rr, cc = r + row_step[k], c + col_step[k]
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
