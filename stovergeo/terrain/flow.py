"""Where water runs: steepest descent, multiple flow, and height above drainage.

All functions take the filled surface and the flood's order (`stovergeo.terrain.flood`), so that
every cell drains off the grid and one walk along the order is enough.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from stovergeo.terrain.flood import COL_STEP, ROW_STEP


def steepest(filled: np.ndarray, reached_from: np.ndarray, dx: float, dy: float) -> np.ndarray:
    """Return the step number of steepest descent of each cell; -1 at outlets and where unknown.

    O'Callaghan, J. F. & Mark, D. M. 1984: the greatest drop over distance, a diagonal counted at its
    true length. Where no neighbor is lower (a filled depression or a flat) water follows the flood back.

    Parameters
    ----------
    filled : ndarray of float32, shape (rows, cols)
    reached_from : ndarray of int8, shape (rows, cols)
        Both from `flood`.
    dx, dy : float
        Cell width and height, m.
    """
    steps = np.empty(filled.shape, dtype=np.int8)
    _steepest(filled, reached_from, _distances(dx, dy), steps)
    return steps


def accumulate_d8(steps: np.ndarray, order: np.ndarray, weight: np.ndarray | float = 1.0) -> np.ndarray:
    """Return what drains through each cell along `steps`, its own weight included; NaN where unknown.

    Parameters
    ----------
    steps : ndarray of int8, shape (rows, cols)
        From `steepest`.
    order : ndarray of int32
        From `flood`.
    weight : float or ndarray, shape (rows, cols)
        What each cell gives, e.g. its area in m2.
    """
    total = _own(steps.shape, order, weight)
    _accumulate_d8(steps, order, total)
    return total


def accumulate_mfd(
    filled: np.ndarray,
    steps: np.ndarray,
    order: np.ndarray,
    dx: float,
    dy: float,
    *,
    exponent: float,
    weight: np.ndarray | float = 1.0,
    barriers: np.ndarray | None = None,
) -> np.ndarray:
    """Return what drains through each cell by multiple flow, its own weight included; NaN where unknown.

    Each lower neighbor gets a share in proportion to slope to the power `exponent` (1 Quinn et al. 1991
    without contour weights, 1.1 Freeman 1991; large values tend to steepest descent). Cells with no lower
    neighbor pass all along `steps`.

    Parameters
    ----------
    filled, steps, order
        From `flood` and `steepest`.
    dx, dy : float
        Cell width and height, m.
    exponent : float
    weight : float or ndarray, shape (rows, cols)
    barriers : ndarray of bool, shape (rows, cols), optional
        Cells that take water in and let none out over the ground (ditch, road, stream).
    """
    total = _own(filled.shape, order, weight)
    closed = np.zeros(filled.shape, dtype=np.bool_) if barriers is None else np.asarray(barriers, dtype=np.bool_)
    _accumulate_mfd(filled, steps, order, _distances(dx, dy), float(exponent), closed, total)
    return total


def height_above(z: np.ndarray, steps: np.ndarray, order: np.ndarray, drainage: np.ndarray) -> np.ndarray:
    """Return the height of each cell above the first drainage cell on its way down.

    Rennó, C. D. et al. 2008, Remote Sens. Environ. 112:3469-3481. Never negative. NaN where the way
    leaves the grid without meeting drainage: how high that ground stands above water is not known.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Ground heights, not filled, m.
    steps, order
        From `steepest` and `flood`.
    drainage : ndarray of bool, shape (rows, cols)
    """
    height = np.full(z.shape, np.nan, dtype=np.float32)
    base = np.full(z.shape, np.nan, dtype=np.float32)
    _height_above(z, steps, order, np.asarray(drainage, dtype=np.bool_), base, height)
    return height


def _own(shape: tuple[int, int], order: np.ndarray, weight: np.ndarray | float) -> np.ndarray:
    total = np.full(shape, np.nan)
    total.flat[order] = np.broadcast_to(weight, shape).flat[order] if np.ndim(weight) else weight
    return total


def _distances(dx: float, dy: float) -> np.ndarray:
    return np.hypot(COL_STEP * dx, ROW_STEP * dy)


@njit(cache=True, nogil=True)
def _steepest(filled: np.ndarray, reached_from: np.ndarray, distance: np.ndarray, steps: np.ndarray) -> None:
    rows, cols = filled.shape
    for r in range(rows):
        for c in range(cols):
            best, least = reached_from[r, c], 0.0
            for k in range(8):
                rr, cc = r + ROW_STEP[k], c + COL_STEP[k]
                if 0 <= rr < rows and 0 <= cc < cols:
                    drop = (filled[r, c] - filled[rr, cc]) / distance[k]
                    if drop > least:  # false for NaN
                        best, least = np.int8(k), drop
            steps[r, c] = best


@njit(cache=True, nogil=True)
def _accumulate_d8(steps: np.ndarray, order: np.ndarray, total: np.ndarray) -> None:
    cols = steps.shape[1]
    for n in range(order.size - 1, -1, -1):
        r, c = order[n] // cols, order[n] % cols
        k = steps[r, c]
        if k >= 0:
            total[r + ROW_STEP[k], c + COL_STEP[k]] += total[r, c]


@njit(cache=True, nogil=True)
def _accumulate_mfd(
    filled: np.ndarray, steps: np.ndarray, order: np.ndarray, distance: np.ndarray, exponent: float,
    closed: np.ndarray, total: np.ndarray,
) -> None:  # fmt: skip
    rows, cols = filled.shape
    share = np.empty(8)
    for n in range(order.size - 1, -1, -1):
        r, c = order[n] // cols, order[n] % cols
        if closed[r, c]:
            continue
        whole = 0.0
        for k in range(8):
            share[k] = 0.0
            rr, cc = r + ROW_STEP[k], c + COL_STEP[k]
            if 0 <= rr < rows and 0 <= cc < cols:
                drop = (filled[r, c] - filled[rr, cc]) / distance[k]
                if drop > 0:
                    share[k] = drop**exponent
                    whole += share[k]
        if whole > 0:
            for k in range(8):
                if share[k] > 0:
                    total[r + ROW_STEP[k], c + COL_STEP[k]] += total[r, c] * (share[k] / whole)
        elif steps[r, c] >= 0:
            k = steps[r, c]
            total[r + ROW_STEP[k], c + COL_STEP[k]] += total[r, c]


@njit(cache=True, nogil=True)
def _height_above(
    z: np.ndarray, steps: np.ndarray, order: np.ndarray, drainage: np.ndarray, base: np.ndarray, height: np.ndarray
) -> None:
    cols = z.shape[1]
    for n in range(order.size):
        r, c = order[n] // cols, order[n] % cols
        k = steps[r, c]
        if drainage[r, c]:
            base[r, c] = z[r, c]
        elif k >= 0:
            base[r, c] = base[r + ROW_STEP[k], c + COL_STEP[k]]
        height[r, c] = max(z[r, c] - base[r, c], np.float32(0)) if not np.isnan(base[r, c]) else np.nan
