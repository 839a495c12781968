"""Weighed totals against cases worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from stovergeo.yieldmap import weighed_factors


def test_totals_apart_scale_their_own_ground_only() -> None:
    mass = np.array([2.0, 3.0, 5.0, 7.0])
    belongs = np.array([[True, True, False, False], [False, False, True, False]])
    found = weighed_factors(mass, belongs, np.array([6.0, 4.0]))
    assert found.cells == pytest.approx([1.2, 1.2, 0.8, 1.0])
    assert found.totals == pytest.approx([1.2, 0.8])
    assert found.contradiction is None


def test_totals_that_overlap_are_all_met() -> None:
    """Two machines in two fields, all four totals known: margins of a table, as in Deming and Stephan 1940."""
    mass = np.array([10.0, 20.0, 30.0, 40.0])  # field 1 by machines 1 and 2, field 2 by machines 1 and 2
    belongs = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0], [0, 1, 0, 1]], bool)
    weighed = np.array([33.0, 63.0, 38.0, 58.0])
    found = weighed_factors(mass, belongs, weighed)
    assert belongs @ (mass * found.cells) == pytest.approx(weighed, rel=1e-6)
    assert found.contradiction is None
    # fitting by margins keeps the cross ratio of the table
    a, b, c, d = mass * found.cells
    assert a * d / (b * c) == pytest.approx(10 * 40 / (20 * 30))


@pytest.mark.parametrize(
    ("belongs", "weighed", "pair"),
    [
        ([[1, 1, 0], [1, 1, 0]], [5.0, 5.6], (0, 1)),  # one field, two totals
        ([[0, 0, 1], [1, 1, 0], [1, 1, 1]], [5.0, 5.0, 4.0], (0, 2)),  # the whole weighs less than a part
        ([[1, 0, 0], [0, 1, 0], [1, 1, 0]], [2.0, 3.0, 6.0], (0, 2)),  # loads that do not add up
    ],
)
def test_totals_that_cannot_both_be_right_are_named(belongs, weighed, pair) -> None:
    found = weighed_factors(np.array([2.0, 3.0, 5.0]), np.array(belongs, bool), np.array(weighed))
    assert found.contradiction == pair


def test_two_tickets_that_agree_within_shrink_are_no_contradiction() -> None:
    belongs = np.array([[True, True], [True, True]])
    assert weighed_factors(np.array([2.0, 3.0]), belongs, np.array([5.0, 5.1])).contradiction is None
