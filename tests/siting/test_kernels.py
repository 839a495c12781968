"""Distance and way against scipy, and rows against what plane geometry allows."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from long_run import examples
from scipy.ndimage import distance_transform_edt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from stovergeo.core.distance import distance_to_cells
from stovergeo.inputs.plan.gather import Bale
from stovergeo.siting.bins import Window
from stovergeo.siting.fit import lay_rows, max_bales
from stovergeo.siting.pattern import block, blocks_within, row_pattern
from stovergeo.siting.route import route_m

PATTERN = row_pattern(
    Bale(), 557.0, "single row", row_gap_m=0.9144, square_levels=6, square_across=3, height_per_base=1.5, row_min=3
)


@settings(max_examples=examples(60))
@given(arrays(bool, st.tuples(st.integers(1, 25), st.integers(1, 25))))
def test_distance_equals_scipy(marked):
    distance = distance_to_cells(marked, 2.5)
    if not marked.any():
        assert np.isnan(distance).all()
        return
    assert np.allclose(distance, 2.5 * distance_transform_edt(~marked), atol=1e-4)


def _reference_way(start, hardness):
    """Cost of the easiest route by scipy, on the same eight neighbors."""
    rows, cols = start.shape
    number = np.arange(rows * cols).reshape(rows, cols)
    passable = ~np.isnan(hardness) | start
    hard = np.where(np.isnan(hardness), 1.0, hardness)
    a, b, cost = [], [], []
    for di, dj, length in ((0, 1, 1.0), (1, 0, 1.0), (1, 1, 1.41), (1, -1, 1.41)):
        for i in range(rows - di):
            for j in range(max(0, -dj), cols - max(0, dj)):
                p, q = i + di, j + dj
                corners = passable[i, q] and passable[p, j] if di and dj else True
                if passable[i, j] and passable[p, q] and corners:
                    a.append(number[i, j])
                    b.append(number[p, q])
                    cost.append(length * (hard[i, j] + hard[p, q]) / 2)
    graph = coo_array((cost, (a, b)), shape=(rows * cols,) * 2).tocsr()
    found = dijkstra(graph, directed=False, indices=np.nonzero(start.ravel())[0], min_only=True)
    return found.reshape(rows, cols)


@settings(max_examples=examples(30))
@given(st.integers(0, 10_000))
def test_way_equals_scipy_on_easy_ground(seed):
    rng = np.random.default_rng(seed)
    start = rng.random((14, 17)) < 0.03
    hardness = np.where(rng.random((14, 17)) < 0.25, np.nan, 1.0)
    way = route_m(start, hardness, 1.0)
    reference = _reference_way(start, hardness) if start.any() else np.full(start.shape, np.inf)
    assert (np.isfinite(way) == np.isfinite(reference)).all()
    known = np.isfinite(way)
    assert np.allclose(way[known], reference[known], atol=0.02)


def test_way_goes_round_steep_ground():
    hardness = np.ones((11, 11))
    hardness[1:, 5] = 8.0  # a steep bank with a gap at the top
    start = np.zeros((11, 11), bool)
    start[5, 0] = True
    way = route_m(start, hardness, 10.0)
    assert way[5, 10] > 130  # round by the gap; straight across it would be 100
    assert way[5, 4] == pytest.approx(40)


def test_open_ground_holds_the_full_lattice():
    # 3 stacks by 2 stacks with their gaps, to the bin: no more fits, and no less is laid
    one = block(PATTERN, 4, 20)
    gap = 10.0
    cell = 0.5
    tall, wide = 3 * one.length_m + 2 * gap, 2 * one.width_m + gap
    window = Window(np.zeros((int(np.ceil(tall / cell)) + 2, int(np.ceil(wide / cell)) + 2), bool), 0.0, 0.0, cell)
    laid = lay_rows(window, PATTERN, one, gap, 0.0)
    assert laid.bales == 6 * one.bales
    assert len(laid.stack_outlines) == 6


@settings(max_examples=examples(40))
@given(st.integers(0, 10_000), st.floats(0, 179), st.sampled_from([2.0, 5.0]))
@example(0, 6e-8, 5.0)  # the outermost rows lie 0.1 micrometers over the window's edge
def test_rows_touch_no_forbidden_cell_at_any_angle(seed, angle, cell):
    rng = np.random.default_rng(seed)
    forbidden = rng.random((24, 30)) < 0.03
    window = Window(forbidden, 1000.0, 2000.0, cell)
    one = blocks_within(PATTERN, 20.0)[int(rng.integers(0, 3))]
    laid = lay_rows(window, PATTERN, one, 6.5, angle)
    assert [laid.bales] == max_bales(window, PATTERN, [one], 6.5, angle)
    assert laid.bales == laid.steps.sum() * PATTERN.per_step
    # a row may lie a micrometer, the slack of the search, over an edge: a depth, which times a row's length is no area
    inner = shapely.buffer(laid.polygons, -2e-6, join_style="mitre")
    whole = shapely.box(1000, 2000 - 24 * cell, 1000 + 30 * cell, 2000)
    assert shapely.contains(whole, inner).all()
    for i, j in zip(*np.nonzero(forbidden), strict=True):
        square = shapely.box(1000 + j * cell, 2000 - (i + 1) * cell, 1000 + (j + 1) * cell, 2000 - i * cell)
        assert not shapely.intersects(inner, square).any()
    for k, outline in enumerate(laid.stack_outlines):
        assert (laid.steps[laid.stack == k] <= one.steps).all()
        for other in laid.stack_outlines[k + 1 :]:
            assert shapely.distance(outline, other) >= 6.5 - 1e-6
