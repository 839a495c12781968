"""Ground cut into small bins along rows of bales and across them; a bin is free only when no forbidden cell touches it.

A bin is a part of a bale's length long and a part of a row's width wide, so a row laid on free bins touches no
forbidden cell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from stovergeo.siting.pattern import Pattern


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the grid in which a yard is tried."""

    forbidden: np.ndarray  #: bool (rows, cols), north up
    west: float  #: x of its left edge
    north: float  #: y of its top edge
    cell_m: float

    @property
    def area_m2(self) -> float:
        """Ground in the window."""
        return self.forbidden.size * self.cell_m**2


@dataclass(frozen=True, slots=True)
class Bins:
    """A window's bins at one angle, and distances in bins."""

    free: np.ndarray  #: bool (across, along)
    along_m: float
    across_m: float
    half_along_m: float  #: from the middle of the window to the first bin
    half_across_m: float
    section: int  #: bins along one section of a row
    row: int  #: bins across a row
    pitch: int  #: from one row of a stack to the next
    fire_along: int  #: clear ground between stacks
    fire_across: int


def cut(window: Window, pattern: Pattern, fire_gap_m: float, angle_deg: float, bin_m: float) -> Bins:
    """Cut a window into bins no longer than `bin_m` along and across rows of an angle, and mark the free ones."""
    section, row = math.ceil(pattern.step_m / bin_m), math.ceil(pattern.across_m / bin_m)
    along, across = pattern.step_m / section, pattern.across_m / row
    height, width = np.array(window.forbidden.shape) * window.cell_m
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    half_u = (abs(sin) * width + abs(cos) * height) / 2
    half_v = (abs(cos) * width + abs(sin) * height) / 2
    shape = max(1, int(2 * half_v / across + 1e-9)), max(1, int(2 * half_u / along + 1e-9))
    free = _free_bins(window.forbidden, window.cell_m, sin, cos, along, across, half_u, half_v, shape[0], shape[1])
    gap, fire_along, fire_across = (
        math.ceil(meters / size - 1e-9)
        for meters, size in ((pattern.gap_m, across), (fire_gap_m, along), (fire_gap_m, across))
    )
    return Bins(free, along, across, half_u, half_v, section, row, row + gap, fire_along, fire_across)


@njit(cache=True, nogil=True)
def _free_bins(
    forbidden: np.ndarray,
    cell: float,
    sin: float,
    cos: float,
    du: float,
    dv: float,
    half_u: float,
    half_v: float,
    nv: int,
    nu: int,
) -> np.ndarray:
    """Mark the bins inside the window that no forbidden cell touches (separating axes of two rectangles)."""
    rows, cols = forbidden.shape
    width, height = cols * cell, rows * cell
    eps = 1e-6
    s, c = abs(sin), abs(cos)
    bin_x, bin_y = (du * s + dv * c) / 2, (du * c + dv * s) / 2  # half extent of a bin along x and y
    free = np.empty((nv, nu), np.bool_)
    for b in range(nv):
        v = -half_v + (b + 0.5) * dv
        for a in range(nu):
            u = -half_u + (a + 0.5) * du
            x, y = u * sin + v * cos, u * cos - v * sin
            free[b, a] = abs(x) <= width / 2 - bin_x + eps and abs(y) <= height / 2 - bin_y + eps
    cell_uv = cell * (s + c) / 2  # half extent of a cell along u and v
    for i in range(rows):
        y = height / 2 - (i + 0.5) * cell
        for j in range(cols):
            if not forbidden[i, j]:
                continue
            x = (j + 0.5) * cell - width / 2
            u, v = x * sin + y * cos, x * cos - y * sin
            b0 = max(0, int((v - cell_uv + half_v) / dv) - 1)
            b1 = min(nv, int((v + cell_uv + half_v) / dv) + 2)
            a0 = max(0, int((u - cell_uv + half_u) / du) - 1)
            a1 = min(nu, int((u + cell_uv + half_u) / du) + 2)
            for b in range(b0, b1):
                vb = -half_v + (b + 0.5) * dv
                if abs(vb - v) >= cell_uv + dv / 2 - eps:
                    continue
                for a in range(a0, a1):
                    ub = -half_u + (a + 0.5) * du
                    if abs(ub - u) >= cell_uv + du / 2 - eps:
                        continue
                    xb, yb = ub * sin + vb * cos, ub * cos - vb * sin
                    if abs(xb - x) < cell / 2 + bin_x - eps and abs(yb - y) < cell / 2 + bin_y - eps:
                        free[b, a] = False
    return free
