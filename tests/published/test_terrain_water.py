"""Filling, flow, wetness and height above drainage against printed grids, worked shares and a library."""

import numpy as np
import pyflwdir
import pytest

from stovergeo.terrain.flood import flood
from stovergeo.terrain.flow import accumulate_d8, accumulate_mfd, height_above, steepest
from stovergeo.terrain.water import wetness_index


def grid(text):
    return np.array([[float(v) for v in row.split()] for row in text.strip().splitlines()], dtype=np.float32)


# A 5 x 5 grid worked by hand for the algorithm of Barnes, Lehman & Mulla 2014 and confirmed by a library
FILL_A = grid("10 10 10 10 10\n10 8 7 8 10\n10 6 4 7 8\n10 7 6 5 7\n10 10 9 6 10")


def test_fill_of_a_small_grid():
    filled, _, _ = flood(FILL_A)
    expected = FILL_A.copy()
    expected[2, 2] = 6
    expected[3, 3] = 6
    np.testing.assert_array_equal(filled, expected)
    assert (filled - FILL_A).sum() * 10 * 10 == 300  # m3 at 10 m cells


def test_fill_of_walls_and_pits():
    # test data of the RichDEM library: walls of 2 on ground 0; rows 1, 2, 9, 10 all zero
    def rows(middle):
        return np.array(
            [[0] * 10] * 2 + [[int(d) for d in row] for row in middle.split()] + [[0] * 10] * 2, dtype=np.float32
        )

    raw = rows("0222200000 0200222200 0222200200 0020200200 0022200200 0000222200")
    full = rows("0222200000 0222222200 0222222200 0022222200 0022222200 0000222200")
    np.testing.assert_array_equal(flood(raw)[0], full)


@pytest.mark.parametrize("seed", range(4))
def test_fill_equals_the_library(seed):
    # pyflwdir.dem.fill_depressions (Wang & Liu 2006), outlets at every edge of the known ground
    rng = np.random.default_rng(seed)
    z = (10 * rng.random((60, 70)).cumsum(0) / 8).astype(np.float32)
    z[rng.random(z.shape) < 0.01] = np.nan
    expected, _ = pyflwdir.dem.fill_depressions(z, nodata=np.nan)
    np.testing.assert_array_equal(flood(z)[0], expected)


# The usual 6 x 6 teaching grid of flow direction and accumulation (grid from memory); directions, counts and
# heights worked out by hand and confirmed by a library
TEACHING = grid(
    "78 72 69 71 58 49\n74 67 56 49 46 50\n69 53 44 37 38 48\n64 58 55 22 31 24\n68 61 47 21 16 19\n74 53 34 12 11 12"
)
DIRECTIONS = grid("2 2 2 4 4 8\n2 2 2 4 4 8\n1 1 2 4 8 4\n128 128 1 2 4 8\n2 2 1 4 4 4\n1 1 1 1 0 16")
UPSTREAM = grid("0 0 0 0 0 0\n0 1 1 2 2 0\n0 3 7 5 4 0\n0 0 0 20 0 1\n0 0 0 1 24 0\n0 2 4 7 35 1")
HEIGHTS = grid(
    "56 50 47 49 36 27\n52 45 34 27 24 28\n47 31 22 15 16 32\n42 36 33 0 15 8\n57 50 36 10 0 8\n63 42 23 1 0 1"
)


@pytest.fixture(scope="module")
def teaching():
    filled, order, reached_from = flood(TEACHING)
    return steepest(filled, reached_from, 1, 1), order


#: by step number, E SE S SW W NW N NE; the last, -1, an outlet
D8_CODES = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0])


def test_flow_directions(teaching):
    np.testing.assert_array_equal(D8_CODES[teaching[0]], DIRECTIONS)


def test_accumulation_and_its_sum_rule(teaching):
    upstream = accumulate_d8(*teaching) - 1
    np.testing.assert_array_equal(upstream, UPSTREAM)
    assert upstream.max() == TEACHING.size - 1  # the one outlet drains every other cell


def test_height_above_drainage(teaching):
    # Rennó et al. 2008, eqs 10-14; drainage where 20 or more cells lie upstream
    steps, order = teaching
    height = height_above(TEACHING, steps, order, accumulate_d8(steps, order) - 1 >= 20)
    np.testing.assert_array_equal(height, HEIGHTS)


def test_accumulation_down_a_ramp():
    # RichDEM's test data: all cells flow north on 10 x 10, counts 10, 9, ... 1 with the cell itself
    filled, order, reached_from = flood(np.repeat(np.arange(10, dtype=np.float32)[:, None], 10, axis=1))
    total = accumulate_d8(steepest(filled, reached_from, 1, 1), order)
    np.testing.assert_array_equal(total, np.repeat(np.arange(10, 0, -1)[:, None], 10, axis=1))


def test_steepest_counts_a_diagonal_at_its_length():
    # O'Callaghan & Mark 1984: drop over distance. 2 in 1 to the east beats 2.5 in 1.414 to the south-east,
    # though the latter is the lowest neighbor
    z = grid("12 12 12 12\n12 10 8 12\n12 12 7.5 12\n12 12 6 12")
    filled, _, reached_from = flood(z)
    assert steepest(filled, reached_from, 1, 1)[1, 1] == 0


# Shares by Freeman 1991 (p = 1.1), Quinn et al. 1991 without contour weights (p = 1), and near steepest descent
# (p = 4), from the formula in the documentation of the RichDEM library: e0 = 10, d = 10, E 8, SE 7, S 9
@pytest.mark.parametrize(
    ("power", "east", "south_east", "south"),
    [(1, 0.39052, 0.41421, 0.19526), (1.1, 0.39472, 0.42114, 0.18414), (4, 0.42953, 0.54362, 0.02685)],
)
def test_multiple_flow_shares(power, east, south_east, south):
    z = grid("20 20 20\n20 10 8\n20 9 7")
    weight = np.zeros((3, 3))
    weight[1, 1] = 1
    filled, order, reached_from = flood(z)
    steps = steepest(filled, reached_from, 10, 10)
    closed = weight == 0  # neighbors keep what they get
    got = accumulate_mfd(filled, steps, order, 10, 10, exponent=power, weight=weight, barriers=closed)
    assert got[1, 2] == pytest.approx(east, abs=1e-5)
    assert got[2, 2] == pytest.approx(south_east, abs=1e-5)
    assert got[2, 1] == pytest.approx(south, abs=1e-5)
    assert got.sum() - got[1, 1] == pytest.approx(1, abs=1e-12)


# ln(a / tan slope), Beven & Kirkby 1979, computed
@pytest.mark.parametrize(("a", "slope", "index"), [(210, 0.05, 8.34284), (10, 0.10, 4.60517), (1000, 0.005, 12.20607)])
def test_wetness_index(a, slope, index):
    assert wetness_index(a, slope, 0.001) == pytest.approx(index, abs=1e-5)
