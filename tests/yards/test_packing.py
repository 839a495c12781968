"""Rows are packed nearly as well as an exhaustive search over angles and offsets packs them.

The search to compare with is written here, another way: exact rectangles against exact
polygons, every angle and every offset of a fine lattice. STOVERGEO_FULL=1 runs fifty sites.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
import shapely
from numba import njit
from scipy.ndimage import gaussian_filter

from stovergeo.plan_file.gather import Bale
from stovergeo.yards.best_fit import best_fit_any_angle
from stovergeo.yards.fit import Window, lay_rows
from stovergeo.yards.pattern import blocks_within, row_pattern

FULL = os.environ.get("STOVERGEO_FULL") == "1"
CELL, SIDE, GAP = 5.0, 110.0, 12.0
EVERY_DEG, EVERY_M = (2, 0.5) if FULL else (15, 1.0)
PATTERN = row_pattern(
    Bale(), 557.0, "single row", row_gap_m=0.9144, square_levels=6, square_across=3, height_per_base=1.5, row_least=3
)
STACKS = [b for b in blocks_within(PATTERN, 30.0, 6) if 2 <= b.rows <= 4]


def random_site(seed: int) -> np.ndarray:
    """Forbidden cells of a site: blotches of any shape."""
    rng = np.random.default_rng(seed)
    cells = round(SIDE / CELL)
    noise = gaussian_filter(rng.standard_normal((cells, cells)), rng.uniform(1.5, 4))
    return noise > np.quantile(noise, rng.uniform(0.4, 0.95))


def intervals_of_rows(forbidden: np.ndarray, angle: float) -> np.ndarray:
    """Free stretches along rows laid at every offset across: (rows, stretches, 2)."""
    cells = [
        shapely.box(j * CELL, SIDE - (i + 1) * CELL, (j + 1) * CELL, SIDE - i * CELL)
        for i, j in zip(*np.nonzero(~forbidden), strict=True)
    ]
    turned = shapely.affinity.rotate(shapely.union_all(cells), angle, origin=(SIDE / 2, SIDE / 2))
    west, south, east, north = turned.bounds
    frame = shapely.box(west - 1, south - 1, east + 1, north + 1)
    blocked = shapely.difference(frame, turned)
    starts = np.arange(west, east - PATTERN.across_m + 1e-9, EVERY_M)
    stretches = []
    for v in starts:
        strip = shapely.box(v, south - 1, v + PATTERN.across_m, north + 1)
        hit = shapely.get_parts(shapely.intersection(blocked, strip))
        hit = hit[shapely.area(hit) > 1e-9]
        low, high = shapely.bounds(hit)[np.argsort(shapely.bounds(hit)[:, 1])][:, [1, 3]].T
        ends = np.maximum.accumulate(high)
        free = [(a, b) for a, b in zip(ends[:-1], low[1:], strict=True) if b - a > PATTERN.step_m]
        stretches.append(free)
    most = max((len(f) for f in stretches), default=0) or 1
    table = np.zeros((len(starts), most, 2))
    for k, free in enumerate(stretches):
        if free:
            table[k, : len(free)] = free
    return table


@njit
def best_lattice(table, every, along, rows, length, pitch, gap, width, step, least, south, north):
    """Most bales of stacks on a lattice, over all offsets across and, for each strip, along."""
    strips = table.shape[0]
    value = np.zeros(strips)
    for k in range(strips):
        offset = 0.0
        while offset < length + gap:
            total = 0
            start = south - length - gap + offset
            while start < north:
                for r in range(rows):
                    line = k + int(np.ceil(r * pitch / every - 1e-9))
                    if line >= strips:
                        break
                    best = 0.0
                    for s in range(table.shape[1]):
                        low, high = max(table[line, s, 0], start), min(table[line, s, 1], start + length)
                        best = max(best, high - low)
                    bales = int(best / step + 1e-9)
                    if bales >= least:
                        total += bales
                start += length + gap
            value[k] = max(value[k], total)
            offset += along
    period = int(np.ceil((width + gap) / every - 1e-9))
    best = 0.0
    for first in range(min(period, strips)):
        total = 0.0
        for k in range(first, strips, period):
            total += value[k]
        best = max(best, total)
    return best


def exhaustive(forbidden: np.ndarray) -> int:
    best = 0
    for angle in range(0, 180, EVERY_DEG):
        table = intervals_of_rows(forbidden, angle)
        if not table.size:
            continue
        south, north = table[..., 0].min(), table[..., 1].max()
        pitch = PATTERN.across_m + PATTERN.gap_m
        for b in STACKS:
            args = (b.rows, b.length_m, pitch, GAP, b.width_m, PATTERN.step_m, PATTERN.steps_least, south, north)
            best = max(best, int(best_lattice(table, EVERY_M, EVERY_M, *args)))
    return best


@pytest.mark.parametrize("seed", range(50 if FULL else 5))
def test_packing_reaches_the_exhaustive_search(seed):
    forbidden = random_site(seed)
    window = Window(forbidden, 0.0, SIDE, CELL)
    bales, angle, block = best_fit_any_angle(window, PATTERN, STACKS, GAP)
    assert lay_rows(window, PATTERN, block, GAP, angle).bales == bales
    reference = exhaustive(forbidden)
    print(f"site {seed}: {bales} bales, exhaustive {reference}, ratio {bales / max(reference, 1):.3f}")
    assert bales >= 0.97 * reference
