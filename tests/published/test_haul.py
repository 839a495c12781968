"""Ways over the ground against exact lengths, an independent graph library's method and simple geometry.

Sources: Dijkstra 1959 (the least path is exact on its graph, so it equals Bellman-Ford's);
the worst stretch of sixteen-neighbor paths, 1/cos(atan(1/2)/2), is plain geometry.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from scipy.sparse.csgraph import bellman_ford

from stovergeo.supply.haul import follow, move_graph, routes_to

OPEN = -1


def open_ground(rows: int, columns: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    shape = (rows, columns)
    return np.ones(shape), np.full(shape, OPEN), np.zeros(shape, dtype=bool)


def test_on_open_ground_a_way_is_at_most_2_8_percent_longer_than_straight():
    hard, closed_field, gate = open_ground(41, 41)
    meters, _ = routes_to(move_graph(hard, closed_field, gate, 10.0), 20 * 41 + 20, 41, 10.0)
    r, c = np.indices((41, 41))
    straight = 10 * np.hypot(r - 20, c - 20).ravel()
    away = straight > 0
    stretch = meters[away] / straight[away]
    # the sixteen directions lie 26.57 and 18.43 degrees apart; half the wider gap gives the worst
    assert stretch.max() <= 1 / np.cos(np.arctan(0.5) / 2) + 1e-9
    assert stretch.min() >= 1 - 1e-12
    assert 1 / np.cos(np.arctan(0.5) / 2) == pytest.approx(1.0275, abs=1e-4)


@settings(max_examples=examples(25))
@given(seed=st.integers(0, 10_000), rows=st.integers(3, 9), columns=st.integers(3, 9))
def test_lengths_follow_the_least_cost_tree(seed, rows, columns):
    rng = np.random.default_rng(seed)
    hard = rng.uniform(0.5, 6, (rows, columns))
    hard[rng.random(hard.shape) < 0.2] = np.nan
    hard[rows // 2, columns // 2] = 1.0
    _, closed_field, gate = open_ground(rows, columns)
    graph = move_graph(hard, closed_field, gate, 7.0)
    target = (rows // 2) * columns + columns // 2
    meters, onward = routes_to(graph, target, columns, 7.0)
    least = bellman_ford(graph + graph.T, indices=target)
    assert np.array_equal(np.isfinite(meters), np.isfinite(least))
    both = (graph + graph.T).todense()
    for cell in np.flatnonzero(np.isfinite(meters)):
        way = follow(onward, int(cell))
        assert way[-1] == target
        cost = sum(both[a, b] for a, b in pairwise(way))
        assert cost == pytest.approx(least[cell])
        length = sum(7.0 * np.hypot(a // columns - b // columns, a % columns - b % columns) for a, b in pairwise(way))
        assert meters[cell] == pytest.approx(length)


def test_a_wall_is_gone_round_and_its_gap_is_found():
    hard, closed_field, gate = open_ground(21, 21)
    hard[:20, 10] = np.nan  # a ditch open at the bottom only
    meters, onward = routes_to(move_graph(hard, closed_field, gate, 5.0), 5, 21, 5.0)
    across = 15  # same row, other side
    assert meters[across] > 2 * 5.0 * 18
    assert any(cell // 21 == 20 for cell in follow(onward, across))
    hard[20, 10] = np.nan
    meters, _ = routes_to(move_graph(hard, closed_field, gate, 5.0), 5, 21, 5.0)
    assert np.isinf(meters[across])


def test_a_line_of_closed_cells_cannot_be_slipped_through_between_corners():
    hard, closed_field, gate = open_ground(15, 15)
    hard[np.arange(15), np.arange(15)] = np.nan
    meters, _ = routes_to(move_graph(hard, closed_field, gate, 5.0), 14, 15, 5.0)
    assert np.isinf(meters.reshape(15, 15)[14, 0])


def test_a_closed_field_is_left_by_its_gate():
    hard, closed_field, gate = open_ground(21, 21)
    closed_field[5:16, 5:16] = 0
    gate[15:17, 10] = True
    meters, onward = routes_to(move_graph(hard, closed_field, gate, 5.0), 0, 21, 5.0)
    way = follow(onward, 10 * 21 + 10)
    leaving = next(cell for cell in way if closed_field.ravel()[cell] == OPEN)
    assert np.hypot(leaving // 21 - 16, leaving % 21 - 10) <= 2  # beside the gate
    assert meters[10 * 21 + 10] > 5 * np.hypot(10, 10) * 1.5
    meters, _ = routes_to(move_graph(hard, closed_field, np.zeros_like(gate), 5.0), 0, 21, 5.0)
    assert np.isinf(meters[10 * 21 + 10])


def test_a_road_draws_the_way_and_the_length_is_that_of_the_way():
    hard, closed_field, gate = open_ground(11, 41)
    hard[:] = 2.0
    hard[5, :] = 0.5
    meters, onward = routes_to(move_graph(hard, closed_field, gate, 10.0), 3 * 41, 41, 10.0)
    way = follow(onward, 3 * 41 + 40)
    assert sum(cell // 41 == 5 for cell in way) > 25
    assert meters[3 * 41 + 40] > 400
