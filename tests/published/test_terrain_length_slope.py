"""Slope length and steepness against the handbooks' tables and a closed identity."""

import numpy as np
import pytest

from stovergeo.core.units import M_PER_FT
from stovergeo.terrain.length_slope import l_grid, ls_703, ls_grid, m_703, s_703

LENGTHS_FT = (25, 50, 75, 100, 150, 200, 250, 300, 400, 600, 800, 1000)
# Agriculture Handbook 703 (Renard et al. 1997), table 4-2, moderate rill to interrill ratio, as reprinted in
# "LS Table", Institute of Water Research, Michigan State University
LS_703 = {
    0.5: ".08 .08 .08 .09 .09 .09 .09 .09 .10 .10 .10 .10",
    1: ".12 .13 .14 .14 .15 .16 .17 .17 .18 .19 .20 .20",
    2: ".19 .22 .25 .27 .29 .31 .33 .35 .37 .41 .44 .47",
    3: ".25 .32 .36 .39 .44 .48 .52 .55 .60 .68 .75 .80",
    5: ".37 .49 .58 .65 .76 .85 .93 1.01 1.13 1.33 1.49 1.63",
    6: ".43 .58 .69 .78 .93 1.05 1.16 1.25 1.42 1.69 1.91 2.11",
    8: ".53 .74 .91 1.04 1.26 1.45 1.62 1.77 2.03 2.47 2.83 3.15",
    10: ".67 .97 1.19 1.38 1.71 1.98 2.22 2.44 2.84 3.50 4.06 4.56",
    14: "1.00 1.48 1.86 2.19 2.76",
}
CELLS_703 = [
    (slope, length, float(printed))
    for slope, row in LS_703.items()
    for length, printed in zip(LENGTHS_FT, row.split(), strict=False)
]


@pytest.mark.parametrize(("slope", "length_ft", "printed"), CELLS_703)
def test_handbook_703_table(slope, length_ft, printed):
    assert ls_703(length_ft * M_PER_FT, slope / 100) == pytest.approx(printed, abs=0.006)


# the table stops shrinking at short lengths: constant from under 3 to 15 ft (same reprint)
@pytest.mark.parametrize(("slope", "printed"), [(3, 0.22), (5, 0.30), (8, 0.42)])
@pytest.mark.parametrize("length_ft", [3, 10, 15])
def test_handbook_703_shortest_slopes(slope, printed, length_ft):
    assert ls_703(length_ft * M_PER_FT, slope / 100) == pytest.approx(printed, abs=0.02)


# exponents printed for the moderate ratio (Renard et al. 1997, quoted second-hand)
@pytest.mark.parametrize(("slope", "printed"), [(10, 0.52), (20, 0.61), (30, 0.66), (50, 0.70), (60, 0.71)])
def test_handbook_703_exponent(slope, printed):
    assert m_703(slope / 100) == pytest.approx(printed, abs=0.006)


# computed from eqs 4-1 to 4-5; the ratios 0.5 low and 2 high are from memory
@pytest.mark.parametrize(
    ("slope", "s", "low", "moderate", "high"),
    [
        (2, 0.2460, 0.1390, 0.2441, 0.3924),
        (5, 0.5693, 0.2507, 0.4009, 0.5724),
        (8, 0.8912, 0.3175, 0.4819, 0.6504),
        (10, 1.1717, 0.3495, 0.5179, 0.6824),
        (14, 1.8293, 0.3965, 0.5679, 0.7244),
    ],
)
def test_steepness_and_exponents(slope, s, low, moderate, high):
    assert s_703(slope / 100) == pytest.approx(s, abs=5e-5)
    for ratio, m in ((0.5, low), (1, moderate), (2, high)):
        assert m_703(slope / 100, ratio) == pytest.approx(m, abs=5e-5)


def test_the_two_branches_of_steepness_nearly_meet():
    # computed: 0.9981 just under 9 %, 1.0059 at 9 %; the handbook's own step
    assert s_703(0.09 - 1e-9) == pytest.approx(0.9981, abs=1e-4)
    assert s_703(0.09) == pytest.approx(1.0059, abs=1e-4)


# Agriculture Handbook 537 (Wischmeier & Smith 1978), eq. 4, computed; its printed table agrees within .002
# (from memory)
LS_537 = {
    2: ".132 .163 .201 .227 .247 .279 .304",
    4: ".230 .303 .400 .470 .528 .620 .696",
    6: ".336 .475 .672 .823 .951 1.164 1.344",
    8: ".496 .701 .991 1.214 1.402 1.717 1.982",
    10: ".684 .968 1.369 1.677 1.936 2.371 2.738",
    12: ".902 1.275 1.804 2.209 2.551 3.124 3.607",
}


# Desmet & Govers 1996: over n cells in single file the mean of L is the L of the whole length, exactly
@pytest.mark.parametrize("slope", [0.01, 0.05, 0.12])
@pytest.mark.parametrize("cells", [1, 2, 3, 6, 12, 40])
def test_grid_length_factor_is_a_mean(slope, cells):
    cell = 10.0
    m = m_703(slope)
    got = l_grid(np.arange(cells) * cell**2, cell, m)
    assert got.mean() == pytest.approx((cells * cell / 22.13) ** m, rel=1e-12)


def test_grid_length_factor_worked():
    # computed at 5 %, 10 m cells
    got = l_grid(np.arange(6) * 100.0, 10, m_703(0.05))
    np.testing.assert_allclose(got, [0.7273, 1.1932, 1.4687, 1.6822, 1.8611, 2.0174], atol=5e-5)
    assert ls_grid(500, 0.05, 90, 10) == pytest.approx(1.1485, abs=5e-5)
    assert l_grid(500, 10, m_703(0.05), 45) == pytest.approx(1.7557, abs=5e-5)
    # inflow is an area: a slope of 122 m at most counts (122 - 10) * 10 m2
    assert ls_grid(1e6, 0.05, 0, 10, longest_m=122) == ls_grid(1120, 0.05, 0, 10)
