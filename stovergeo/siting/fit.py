"""Fitting rows of bales into allowed ground at one angle: the most bales that go in.

The ground is cut into small bins along the rows (a part of a bale's length) and across
them (a part of a row's width). A bin is free only when no forbidden cell touches it, so
a row laid on free bins touches none. Two dynamic programmes then place the stacks: along
a strip of rows, and strip beside strip, each with the fire gap between. For the bins
given the result is the best there is; only the rounding to bins loses a little.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numba import njit

from stovergeo.siting.pattern import Block, Pattern

_BIN_M = 0.6  # bins are at most so long and so wide, where nothing else is asked for


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the grid in which a yard is tried."""

    forbidden: np.ndarray  #: bool (rows, cols), north up
    west: float  #: x of its left edge
    north: float  #: y of its top edge
    cell_m: float


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of bales laid in a window."""

    bales: int
    angle_deg: float  #: of the rows, clockwise from grid north
    block: Block
    stack: np.ndarray  #: number of the stack each row belongs to
    steps: np.ndarray  #: sections in each row
    polygons: np.ndarray  #: shapely rectangles, one a row
    stack_outlines: np.ndarray  #: shapely rectangles, one a stack

    def only(self, keep: np.ndarray, pattern: Pattern) -> Rows:
        """Return the same without some rows, stacks numbered anew."""
        if keep.all():
            return self
        left, stack = np.unique(self.stack[keep], return_inverse=True)
        bales = int(self.steps[keep].sum()) * pattern.per_step
        return Rows(
            bales, self.angle_deg, self.block, stack, self.steps[keep], self.polygons[keep], self.stack_outlines[left]
        )


def lay_rows(
    window: Window, pattern: Pattern, block: Block, fire_gap_m: float, angle_deg: float, bin_m: float = _BIN_M
) -> Rows:
    """Lay the most bales of a pattern into a window at an angle.

    Parameters
    ----------
    window : Window
    pattern : Pattern
    block : Block
        Largest stack; its rows are cut short where the ground ends.
    fire_gap_m : float
        Clear ground between stacks.
    angle_deg : float
        Direction of the rows, degrees clockwise from grid north.
    bin_m : float
        Longest side of a bin. Longer bins are faster and place fewer.
    """
    bins = _bins(window, pattern, angle_deg, bin_m)
    steps_u, fire_u, gap_v, fire_v = _in_bins(bins, pattern, fire_gap_m)
    runs = _free_runs(bins.free, bins.per_row)
    pitch, length = bins.per_row + gap_v, block.steps * steps_u
    held = _held(runs, steps_u, length, pattern.steps_min)
    best = _strips(held, length, block.rows, pitch, fire_u)
    laid = [
        _blocks_of(runs, held, strip, v, steps_u, length, block.rows, pitch, fire_u)
        for strip, v in enumerate(_beside(best, (block.rows - 1) * pitch + bins.per_row + fire_v))
    ]
    return _draw(np.concatenate([np.empty((0, 5), np.int64), *laid]), bins, pattern, block, angle_deg)


def max_bales(
    window: Window,
    pattern: Pattern,
    blocks: Sequence[Block],
    fire_gap_m: float,
    angle_deg: float,
    bin_m: float = _BIN_M,
) -> list[int]:
    """Return how many bales `lay_rows` would place with each block, without drawing them."""
    bins = _bins(window, pattern, angle_deg, bin_m)
    steps_u, fire_u, gap_v, fire_v = _in_bins(bins, pattern, fire_gap_m)
    runs = _free_runs(bins.free, bins.per_row)
    pitch = bins.per_row + gap_v
    found = []
    for block in blocks:
        length = block.steps * steps_u
        held = _held(runs, steps_u, length, pattern.steps_min)
        best = _strips(held, length, block.rows, pitch, fire_u)
        chosen = _beside(best, (block.rows - 1) * pitch + bins.per_row + fire_v)
        found.append(int(best[chosen].sum()) * pattern.per_step)
    return found


@dataclass(frozen=True, slots=True)
class _Bins:
    free: np.ndarray  # bool (across, along)
    along_m: float
    across_m: float
    per_row: int  # bins across one row
    half_u: float
    half_v: float
    centre: tuple[float, float]


def _in_bins(bins: _Bins, pattern: Pattern, fire_gap_m: float) -> tuple[int, int, int, int]:
    def up(metres: float, bin_m: float) -> int:
        return int(np.ceil(metres / bin_m - 1e-9))

    return (
        round(pattern.step_m / bins.along_m),
        up(fire_gap_m, bins.along_m),
        up(pattern.gap_m, bins.across_m),
        up(fire_gap_m, bins.across_m),
    )


def _bins(window: Window, pattern: Pattern, angle_deg: float, bin_m: float) -> _Bins:
    """Cut the window into bins along and across rows of this angle, and mark the free ones."""
    along = pattern.step_m / int(np.ceil(pattern.step_m / bin_m))
    per_row = int(np.ceil(pattern.across_m / bin_m))
    across = pattern.across_m / per_row
    rows, cols = window.forbidden.shape
    height, width = rows * window.cell_m, cols * window.cell_m
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    half_u = (abs(sin) * width + abs(cos) * height) / 2
    half_v = (abs(cos) * width + abs(sin) * height) / 2
    shape = max(1, int(2 * half_v / across + 1e-9)), max(1, int(2 * half_u / along + 1e-9))
    free = _free_bins(window.forbidden, window.cell_m, sin, cos, along, across, half_u, half_v, shape[0], shape[1])
    centre = window.west + width / 2, window.north - height / 2
    return _Bins(free, along, across, per_row, half_u, half_v, centre)


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


@njit(cache=True, nogil=True)
def _free_runs(free: np.ndarray, per_row: int) -> np.ndarray:
    """Return for a row laid from bin (v, u) on: the bins free ahead, or minus the bins blocked ahead."""
    nv, nu = free.shape
    out_rows = max(0, nv - per_row + 1)
    runs = np.empty((out_rows, nu), np.int32)
    for v in range(out_rows):
        run = 0
        for u in range(nu - 1, -1, -1):
            clear = True
            for k in range(per_row):
                if not free[v + k, u]:
                    clear = False
                    break
            ahead = 1 if clear else -1
            run = run + ahead if run * ahead > 0 else ahead
            runs[v, u] = run
    return runs


@njit(cache=True, nogil=True)
def _longest(runs: np.ndarray, v: int, u: int, end: int) -> tuple[int, int]:
    """Return length and start of the longest free run of one row between two bins."""
    best, at, pos = 0, u, u
    while pos < end:
        run = runs[v, pos]
        if run > 0:
            run = min(run, end - pos)
            if run > best:
                best, at = run, pos
            pos += run
        else:
            pos -= run
    return best, at


@njit(cache=True, nogil=True)
def _held(runs: np.ndarray, steps_u: int, length: int, least: int) -> np.ndarray:
    """Return the sections that the longest free run of one row holds within a stack's length from each bin on."""
    nv, nu = runs.shape
    held = np.zeros((nv, nu), np.int32)
    for v in range(nv):
        for u in range(nu):
            longest, _ = _longest(runs, v, u, min(u + length, nu))
            if longest // steps_u >= least:
                held[v, u] = longest // steps_u
    return held


@njit(cache=True, nogil=True)
def _best_from(held: np.ndarray, v: int, length: int, rows: int, pitch: int, fire: int) -> np.ndarray:
    """Return the most sections that fit in the strip at v from each bin on, stacks apart by the fire gap."""
    nv, nu = held.shape
    here = np.zeros(nu, np.int64)
    for r in range(rows):
        if v + r * pitch < nv:
            here += held[v + r * pitch]
    best = np.zeros(nu + 1, np.int64)
    for u in range(nu - 1, -1, -1):
        best[u] = max(best[u + 1], here[u] + best[min(u + length + fire, nu)])
    return best


@njit(cache=True, nogil=True)
def _strips(held: np.ndarray, length: int, rows: int, pitch: int, fire: int) -> np.ndarray:
    """Return the most sections of a strip of stacks for each place across."""
    out = np.zeros(held.shape[0], np.int64)
    for v in range(held.shape[0]):
        out[v] = _best_from(held, v, length, rows, pitch, fire)[0]
    return out


@njit(cache=True, nogil=True)
def _blocks_of(
    runs: np.ndarray, held: np.ndarray, strip: int, v: int, steps_u: int, length: int, rows: int, pitch: int, fire: int
) -> np.ndarray:
    """Return the rows of the best strip at v: strip, start of the stack, place across, start along, sections."""
    best = _best_from(held, v, length, rows, pitch, fire)
    nv, nu = held.shape
    laid = np.empty((rows * (nu // (length + fire) + 2), 5), np.int64)
    count, u = 0, 0
    while u < nu and best[u] > 0:
        if best[u] == best[u + 1]:
            u += 1
            continue
        end = min(u + length, nu)
        for line in range(v, min(v + rows * pitch, nv), pitch):
            if held[line, u] > 0:
                _, at = _longest(runs, line, u, end)
                laid[count, 0], laid[count, 1], laid[count, 2] = strip, u, line
                laid[count, 3], laid[count, 4] = at, held[line, u]
                count += 1
        u = min(end + fire, nu)
    return laid[:count]


@njit(cache=True, nogil=True)
def _beside(value: np.ndarray, apart: int) -> np.ndarray:
    """Choose places for strips side by side, so far apart, for the greatest sum."""
    n = len(value)
    best = np.zeros(n + 1, np.int64)
    for v in range(n - 1, -1, -1):
        best[v] = max(best[v + 1], value[v] + best[min(v + apart, n)])
    chosen = np.empty(n, np.int64)
    count, v = 0, 0
    while v < n and best[v] > 0:
        if best[v] > best[v + 1]:
            chosen[count] = v
            count += 1
            v = min(v + apart, n)
        else:
            v += 1
    return chosen[:count]


def _draw(laid: np.ndarray, bins: _Bins, pattern: Pattern, block: Block, angle_deg: float) -> Rows:
    """Turn bins into rectangles in the working CRS."""
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))

    def boxes(u0: np.ndarray, v0: np.ndarray, u1: np.ndarray, v1: np.ndarray) -> np.ndarray:
        u = np.stack([u0, u1, u1, u0], axis=1)
        v = np.stack([v0, v0, v1, v1], axis=1)
        x, y = bins.centre[0] + u * sin + v * cos, bins.centre[1] + u * cos - v * sin
        return shapely.polygons(np.stack([x, y], axis=2)) if len(u0) else np.empty(0, object)

    start_u = -bins.half_u + laid[:, 3] * bins.along_m
    end_u = start_u + laid[:, 4] * pattern.step_m
    start_v = -bins.half_v + laid[:, 2] * bins.across_m
    end_v = start_v + pattern.across_m
    stacks, stack = np.unique(laid[:, :2], axis=0, return_inverse=True)
    stack = stack.reshape(-1)
    low = np.full((2, len(stacks)), np.inf)
    high = np.full((2, len(stacks)), -np.inf)
    for side, (start, end) in enumerate(((start_u, end_u), (start_v, end_v))):
        np.minimum.at(low[side], stack, start)
        np.maximum.at(high[side], stack, end)
    return Rows(
        int(laid[:, 4].sum()) * pattern.per_step,
        angle_deg,
        block,
        stack,
        laid[:, 4],
        boxes(start_u, start_v, end_u, end_v),
        boxes(low[0], low[1], high[0], high[1]),
    )


_FINER_DEG = (10.0, 5.0, 2.5)  # steps to either side of the best directions so far
_KEPT = 3  # directions followed up
_SMALL_M2 = 40_000.0
_FINEST_M, _FINE_M, _COARSE_M = 0.2, 0.6, 1.6  # longest bins: for the last fit, for choosing, for a first look
_BINS_MAX = 2e6  # on large ground the last fit has larger bins
_THREADS = 2


class Fit(NamedTuple):
    """How rows fit into a piece of ground; `stovergeo.siting.fit.lay_rows` lays them so."""

    bales: int
    angle_deg: float
    block: Block
    bin_m: float


def best_fit(window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, angle_deg: float) -> Fit:
    """Return the stack of which most bales fit in one direction.

    Of equal ones the first wins: the stack with the fewest rows.
    """
    chosen = _max(window, pattern, blocks, fire_gap_m, angle_deg, _FINE_M)
    return max(chosen, _finest(window, pattern, chosen, fire_gap_m), key=_bales)


def best_fit_any_angle(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, every_deg: float = 15.0
) -> Fit:
    """Return the same over all directions: a coarse round first, then finer round the best of it.

    On small ground every stack is tried in every coarse direction. On large ground, where
    the shape of the stack hardly decides the direction, one stack finds the directions and
    the others are tried in those.
    """

    def each(tries: Sequence[tuple[Sequence[Block], float]], bin_m: float) -> list[Fit]:
        with ThreadPoolExecutor(_THREADS) as pool:  # the kernels let go of the interpreter
            return list(pool.map(lambda t: _max(window, pattern, t[0], fire_gap_m, t[1], bin_m), tries))

    coarse = [k * every_deg for k in range(round(180 / every_deg))]
    small = window.forbidden.size * window.cell_m**2 <= _SMALL_M2
    first = blocks if small else [min(blocks, key=lambda b: max(b.length_m, b.width_m))]
    kept = _best(each([(first, angle) for angle in coarse], _FINE_M if small else _COARSE_M))
    if not small:
        kept = _best(each([(blocks, fit.angle_deg) for fit in kept], _FINE_M))
    for step in _FINER_DEG if small else _FINER_DEG[:2]:
        sides = [([fit.block], (fit.angle_deg + turn) % 180) for fit in kept for turn in (-step, step)]
        kept = _best([*kept, *each(sides, _FINE_M)])
    with ThreadPoolExecutor(_THREADS) as pool:
        finest = list(pool.map(lambda fit: _finest(window, pattern, fit, fire_gap_m), kept))
    return max([*kept, *finest], key=_bales)


def _bales(fit: Fit) -> int:
    return fit.bales


def _best(tried: list[Fit]) -> list[Fit]:
    return sorted(tried, key=lambda fit: -fit.bales)[:_KEPT]


def _max(
    window: Window, pattern: Pattern, blocks: Sequence[Block], fire_gap_m: float, angle_deg: float, bin_m: float
) -> Fit:
    bales = max_bales(window, pattern, blocks, fire_gap_m, angle_deg, bin_m)
    return max((Fit(n, angle_deg, block, bin_m) for n, block in zip(bales, blocks, strict=True)), key=_bales)


def _finest(window: Window, pattern: Pattern, fit: Fit, fire_gap_m: float) -> Fit:
    """Return the same fit on bins as small as the ground allows; rounding to bins loses least there."""
    bin_m = max(_FINEST_M, math.sqrt(window.forbidden.size * window.cell_m**2 / _BINS_MAX))
    if bin_m >= fit.bin_m:
        return fit
    return _max(window, pattern, [fit.block], fire_gap_m, fit.angle_deg, bin_m)
