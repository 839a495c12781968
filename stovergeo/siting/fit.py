"""Laying rows of bales into allowed ground at one angle: the most bales that go in.

Two dynamic programs place the stacks on free bins (`stovergeo.siting.bins`): along a strip of rows, and strip beside
strip, each with the fire gap between. For the bins given the result is the best there is; only the rounding to bins
loses a little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numba import njit

from stovergeo.siting.bins import Bins, Window, cut
from stovergeo.siting.pattern import Block, Pattern

_BIN_M = 0.6  # bins are at most so long and so wide, where nothing else is asked for


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


@dataclass(frozen=True, slots=True)
class _Strips:
    """Strips of stacks of one block: what each holds, and which lie beside each other for the most bales."""

    held: np.ndarray  # sections within a stack's length, for a row from bin (across, along) on
    best: np.ndarray  # most sections of the strip at each place across
    chosen: np.ndarray  # places across of the strips that are built


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
    bins = cut(window, pattern, fire_gap_m, angle_deg, bin_m)
    runs = _free_runs(bins.free, bins.row)
    strips = _strips_of(runs, bins, pattern, block)
    length, span = block.steps * bins.section, block.rows * bins.pitch
    laid: list[tuple[int, ...]] = []  # strip, first bin of the stack, row's place across and along, sections
    for strip, v in enumerate(strips.chosen):
        apart = length + bins.fire_along
        for u in _chosen(_best_sums(_across(strips.held, v, block.rows, bins.pitch), apart), apart):
            for line in range(v, min(v + span, len(runs)), bins.pitch):
                if strips.held[line, u]:
                    _, at = _longest(runs, line, u, min(u + length, runs.shape[1]))
                    laid.append((strip, u, line, at, strips.held[line, u]))
    return _draw(np.array(laid, np.int64).reshape(-1, 5), window, bins, pattern, block, angle_deg)


def max_bales(
    window: Window,
    pattern: Pattern,
    blocks: Sequence[Block],
    fire_gap_m: float,
    angle_deg: float,
    bin_m: float = _BIN_M,
) -> list[int]:
    """Return how many bales `lay_rows` would place with each block, without drawing them."""
    bins = cut(window, pattern, fire_gap_m, angle_deg, bin_m)
    runs = _free_runs(bins.free, bins.row)
    strips = (_strips_of(runs, bins, pattern, block) for block in blocks)
    return [int(s.best[s.chosen].sum()) * pattern.per_step for s in strips]


def _strips_of(runs: np.ndarray, bins: Bins, pattern: Pattern, block: Block) -> _Strips:
    length = block.steps * bins.section
    held = _held(runs, bins.section, length, pattern.steps_min)
    best = _strip_sums(held, length + bins.fire_along, block.rows, bins.pitch)
    apart = (block.rows - 1) * bins.pitch + bins.row + bins.fire_across
    return _Strips(held, best, _chosen(_best_sums(best, apart), apart))


@njit(cache=True, nogil=True)
def _free_runs(free: np.ndarray, per_row: int) -> np.ndarray:
    """Return for a row laid from bin (v, u) on: the bins free ahead, or minus the bins blocked ahead."""
    nv, nu = free.shape
    runs = np.empty((max(0, nv - per_row + 1), nu), np.int32)
    for v in range(len(runs)):
        run = 0
        for u in range(nu - 1, -1, -1):
            ahead = 1
            for k in range(per_row):
                if not free[v + k, u]:
                    ahead = -1
                    break
            run = run + ahead if run * ahead > 0 else ahead
            runs[v, u] = run
    return runs


@njit(cache=True, nogil=True)
def _longest(runs: np.ndarray, v: int, u: int, end: int) -> tuple[int, int]:
    """Return length and start of the longest free run of one row between two bins."""
    best, at, pos = 0, u, u
    while pos < end:
        run = runs[v, pos]
        if min(run, end - pos) > best:
            best, at = min(run, end - pos), pos
        pos += abs(run)
    return best, at


@njit(cache=True, nogil=True)
def _held(runs: np.ndarray, section: int, length: int, steps_min: int) -> np.ndarray:
    """Return the sections that the longest free run of one row holds within a stack's length from each bin on."""
    nv, nu = runs.shape
    held = np.zeros((nv, nu), np.int32)
    for v in range(nv):
        for u in range(nu):
            longest, _ = _longest(runs, v, u, min(u + length, nu))
            if longest // section >= steps_min:
                held[v, u] = longest // section
    return held


@njit(cache=True, nogil=True)
def _across(held: np.ndarray, v: int, rows: int, pitch: int) -> np.ndarray:
    """Return the sections of a stack from each bin on, all its rows together."""
    total = np.zeros(held.shape[1], np.int64)
    for line in range(v, min(v + rows * pitch, len(held)), pitch):
        total += held[line]
    return total


@njit(cache=True, nogil=True)
def _best_sums(value: np.ndarray, apart: int) -> np.ndarray:
    """Return the greatest sum of values so far apart, from each place to the end."""
    n = len(value)
    best = np.zeros(n + 1, np.int64)
    for k in range(n - 1, -1, -1):
        best[k] = max(best[k + 1], value[k] + best[min(k + apart, n)])
    return best


@njit(cache=True, nogil=True)
def _chosen(best: np.ndarray, apart: int) -> np.ndarray:
    """Return the places whose values make the greatest sum."""
    chosen, k = [0 for _ in range(0)], 0
    while k < len(best) - 1 and best[k] > 0:
        if best[k] > best[k + 1]:
            chosen.append(k)
            k += apart
        else:
            k += 1
    return np.array(chosen, np.int64)


@njit(cache=True, nogil=True)
def _strip_sums(held: np.ndarray, apart: int, rows: int, pitch: int) -> np.ndarray:
    """Return the most sections of a strip of stacks for each place across."""
    out = np.zeros(len(held), np.int64)
    for v in range(len(held)):
        out[v] = _best_sums(_across(held, v, rows, pitch), apart)[0]
    return out


def _draw(laid: np.ndarray, window: Window, bins: Bins, pattern: Pattern, block: Block, angle_deg: float) -> Rows:
    """Turn bins into rectangles in the working CRS."""
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    rows, cols = window.forbidden.shape
    middle_x, middle_y = window.west + cols * window.cell_m / 2, window.north - rows * window.cell_m / 2

    def boxes(sides: pd.DataFrame) -> np.ndarray:
        u = sides[["first", "last", "last", "first"]].to_numpy()
        v = sides[["low", "low", "high", "high"]].to_numpy()
        x, y = middle_x + u * sin + v * cos, middle_y + u * cos - v * sin
        return shapely.polygons(np.stack([x, y], axis=2)) if len(sides) else np.empty(0, object)

    steps = laid[:, 4]
    along = -bins.half_along_m + laid[:, 3] * bins.along_m
    across = -bins.half_across_m + laid[:, 2] * bins.across_m
    ends = along + steps * pattern.step_m, across + pattern.across_m
    sides = pd.DataFrame({"first": along, "last": ends[0], "low": across, "high": ends[1]})
    _, stack = np.unique(laid[:, :2], axis=0, return_inverse=True)
    stack = stack.reshape(-1)
    stacks = sides.groupby(stack).agg({"first": "min", "last": "max", "low": "min", "high": "max"})
    return Rows(int(steps.sum()) * pattern.per_step, angle_deg, block, stack, steps, boxes(sides), boxes(stacks))
