"""Rows are packed nearly as well as an exhaustive search over angles and offsets packs them.

The search to compare with is written here, another way: exact rectangles against exact
cells, every second degree, and every offset of half a meter along and across.
"""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit
from scipy.ndimage import gaussian_filter

from stovergeo.inputs.plan.gather import Bale
from stovergeo.siting.bins import Window
from stovergeo.siting.directions import best_fit_any_angle
from stovergeo.siting.fit import lay_rows
from stovergeo.siting.pattern import blocks_within, row_pattern

CELL, SIDE, GAP = 5.0, 110.0, 12.0
EVERY_DEG, EVERY_M = 2, 0.5
PATTERN = row_pattern(
    Bale(), 557.0, "single row", row_gap_m=0.9144, square_levels=6, square_across=3, height_per_base=1.5, row_min=3
)
STACKS = [b for b in blocks_within(PATTERN, 30.0, 6) if 2 <= b.rows <= 4]


def random_site(seed: int) -> np.ndarray:
    """Forbidden cells of a site: blotches of any shape."""
    rng = np.random.default_rng(seed)
    cells = round(SIDE / CELL)
    noise = gaussian_filter(rng.standard_normal((cells, cells)), rng.uniform(1.5, 4))
    return noise > np.quantile(noise, rng.uniform(0.4, 0.95))


def corners_of(forbidden: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners (rectangles, 4, 2) about the middle of the site: of free cells; of forbidden ones and all round it."""
    far, half = 3 * SIDE, SIDE / 2

    def corners(west, south, east, north):
        return np.stack([[west, south], [east, south], [east, north], [west, north]])

    cells = np.empty((*forbidden.shape, 4, 2))
    for i, j in np.ndindex(forbidden.shape):
        west, north = j * CELL - half, half - i * CELL
        cells[i, j] = corners(west, north - CELL, west + CELL, north)
    round_it = [
        corners(-far, -far, -half, far),
        corners(half, -far, far, far),
        corners(-far, -far, far, -half),
        corners(-far, half, far, far),
    ]
    return cells[~forbidden], np.concatenate([cells[forbidden], round_it])


@njit(cache=True)
def stretch_in_strip(corners, west, east):
    """Least and greatest y of a convex shape between two x, or nothing."""
    low, high = np.inf, -np.inf
    n = len(corners)
    for k in range(n):
        x1, y1 = corners[k, 0], corners[k, 1]
        x2, y2 = corners[(k + 1) % n, 0], corners[(k + 1) % n, 1]
        if west <= x1 <= east:
            low, high = min(low, y1), max(high, y1)
        for x in (west, east):
            if (x1 - x) * (x2 - x) < 0:
                y = y1 + (y2 - y1) * (x - x1) / (x2 - x1)
                low, high = min(low, y), max(high, y)
    return low, high


@njit(cache=True)
def free_stretches(blocked, starts, across, least):
    """Free stretches along a row laid at each place across: (places, stretches, 2), and how many there are."""
    table, count = np.zeros((len(starts), 64, 2)), np.zeros(len(starts), np.int64)
    low, high = np.empty(len(blocked)), np.empty(len(blocked))
    for s in range(len(starts)):
        west, east = starts[s], starts[s] + across
        hit = 0
        for b in range(len(blocked)):
            x = blocked[b, :, 0]
            if min(x.max(), east) - max(x.min(), west) > 1e-6:  # more than a touch
                low[hit], high[hit] = stretch_in_strip(blocked[b], west, east)
                hit += 1
        order = np.argsort(low[:hit])
        end = high[order[0]]
        for k in order[1:]:
            if low[k] - end > least:
                table[s, count[s]] = (end, low[k])
                count[s] += 1
            end = max(end, high[k])
    return table, count


@njit(cache=True)
def best_lattice(table, count, every, rows, length, pitch, gap, width, step, least, south, north):
    """Most bales of stacks on a lattice, over all offsets across and, for each strip, along."""
    places = len(count)
    offsets = int(np.ceil((length + gap) / every - 1e-9))
    row = np.zeros((places, offsets), np.int64)  # bales of one row at a place, all stacks along it together
    for k in range(places):
        for o in range(offsets):
            start = south - length - gap + o * every
            while start < north:
                best = 0.0
                for s in range(count[k]):
                    best = max(best, min(table[k, s, 1], start + length) - max(table[k, s, 0], start))
                bales = int(best / step + 1e-9)
                if bales >= least:
                    row[k, o] += bales
                start += length + gap
    value = np.zeros(places, np.int64)
    for k in range(places):
        for o in range(offsets):
            total = 0
            for r in range(rows):
                line = k + int(np.ceil(r * pitch / every - 1e-9))
                if line < places:
                    total += row[line, o]
            value[k] = max(value[k], total)
    period = int(np.ceil((width + gap) / every - 1e-9))
    best = 0
    for first in range(min(period, places)):
        best = max(best, value[first::period].sum())
    return best


def exhaustive(forbidden: np.ndarray) -> int:
    """Most bales over all angles, offsets and shapes of stack."""
    free, blocked = corners_of(forbidden)
    best = 0
    for angle in np.radians(range(0, 180, EVERY_DEG)):
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        ground = free @ turn
        (west, south), (east, north) = ground.min(axis=(0, 1)), ground.max(axis=(0, 1))
        starts = np.arange(west, east - PATTERN.across_m + 1e-9, EVERY_M)
        table, count = free_stretches(blocked @ turn, starts, PATTERN.across_m, PATTERN.step_m)
        pitch = PATTERN.across_m + PATTERN.gap_m
        for b in STACKS:
            args = (b.rows, b.length_m, pitch, GAP, b.width_m, PATTERN.step_m, PATTERN.steps_min, south, north)
            best = max(best, int(best_lattice(table, count, EVERY_M, *args)))
    return best


@pytest.mark.parametrize("seed", [*range(5), *(pytest.param(n, marks=pytest.mark.long) for n in range(5, 50))])
def test_packing_reaches_the_exhaustive_search(seed):
    forbidden = random_site(seed)
    window = Window(forbidden, 0.0, SIDE, CELL)
    bales, angle, block, bin_m = best_fit_any_angle(window, PATTERN, STACKS, GAP)
    assert lay_rows(window, PATTERN, block, GAP, angle, bin_m).bales == bales
    reference = exhaustive(forbidden)
    print(f"site {seed}: {bales} bales, exhaustive {reference}, ratio {bales / max(reference, 1):.3f}")
    assert bales >= 0.97 * reference
