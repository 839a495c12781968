"""Water erosion: cover and roughness subfactors, contouring, whole products and the inversion.

READ: seen in the source; CALC: our arithmetic from the formula; MEM: from memory of the document named.
"""

import math

import numpy as np
import pytest

from stovergeo.core.units import K_SI_PER_US, KG_HA_PER_LB_ACRE, M_PER_FT, MG_HA_PER_TON_ACRE, R_SI_PER_US
from stovergeo.residue.production import cover_of, mass_of
from stovergeo.residue.soil_loss import (
    UNIT_ROUGHNESS_MM,
    contour_factor,
    cover_effect,
    cover_needed_pct,
    erodibility_index,
    roughness_subfactor,
    soil_loss,
)
from stovergeo.terrain.length_slope import ls_703

CORN_K = 0.00038 / KG_HA_PER_LB_ACRE  # AH-703, corn (MEM)
MM_PER_IN = 25.4


# SC = exp(-b Sp (0.24/Ru)^0.08); b 0.035 and the 6.096 mm were READ in a public code, the range of b in USDA slides.
SC_TABLE = {
    0.025: (1, 0.7788, 0.6065, 0.4724, 0.3679, 0.2865, 0.2231, 0.1738, 0.1353, 0.1054, 0.0821),
    0.035: (1, 0.7047, 0.4966, 0.3499, 0.2466, 0.1738, 0.1225, 0.0863, 0.0608, 0.0429, 0.0302),
    0.050: (1, 0.6065, 0.3679, 0.2231, 0.1353, 0.0821, 0.0498, 0.0302, 0.0183, 0.0111, 0.0067),
}


def cover_subfactor(cover_pct, b, roughness_mm=UNIT_ROUGHNESS_MM):
    return math.exp(-cover_effect(b, roughness_mm) * cover_pct)


@pytest.mark.parametrize("cover", range(0, 101, 10))
@pytest.mark.parametrize("b", SC_TABLE)
def test_surface_cover_subfactor(b, cover):
    assert cover_subfactor(float(cover), b) == pytest.approx(SC_TABLE[b][cover // 10], abs=5.1e-5)


# UNL NebGuide 1990 (READ): 20 % cover can halve erosion.
def test_a_fifth_of_the_ground_covered_halves_the_loss():
    assert cover_subfactor(20.0, 0.035) == pytest.approx(0.5, abs=0.005)


# Roughness at 50 % cover, b 0.035 (CALC); SR: 0.026 per mm READ, 0.66 per inch MEM, and the two agree.
@pytest.mark.parametrize(
    ("inches", "sc", "multiplier", "sr"),
    [(0.24, 0.1738, 1, 1), (0.5, 0.1920, 0.9430, 0.8423), (1.0, 0.2099, 0.8921, 0.6056), (1.5, None, 0.8636, 0.4354)],
)
def test_roughness(inches, sc, multiplier, sr):
    mm = inches * MM_PER_IN
    if sc is not None:
        assert cover_subfactor(50.0, 0.035, mm) == pytest.approx(sc, abs=5.1e-5)
    assert (0.24 / inches) ** 0.08 == pytest.approx(multiplier, abs=5.1e-5)
    # the mm form rounds 0.66 / 25.4 = 0.02598 to 0.026
    assert roughness_subfactor(mm) == pytest.approx(sr, abs=6e-4)
    assert math.exp(-0.66 * (inches - 0.24)) == pytest.approx(sr, abs=5.1e-5)


# P for contour rows: table of a state's handbook (READ); longest slope AH-537, table 13 (MEM).
@pytest.mark.parametrize(
    ("slope", "p", "max_ft"),
    [(1.5, 0.60, 400), (4, 0.50, 300), (7, 0.50, 200), (10, 0.60, 120), (15, 0.70, 80), (19, 0.80, 60), (23, 0.90, 50)],
)
def test_contouring(slope, p, max_ft):
    assert contour_factor(slope) == p
    assert contour_factor(slope, max_ft * M_PER_FT - 0.01) == p
    assert contour_factor(slope, max_ft * M_PER_FT + 0.01) == 1


@pytest.mark.parametrize("slope", [0.0, 0.9, 26.0, 40.0])
def test_no_credit_for_contour_rows_outside_the_table(slope):
    assert contour_factor(slope) == 1


# Whole products. AH-537, Fountain County, Russell silt loam (MEM); an engineering text (READ); a watershed text,
# ex. 11.1 (inputs READ).
@pytest.mark.parametrize(
    ("r", "k", "ls", "c", "p", "tons"),
    [(185, 0.37, 1.41, 1, 1, 96.51), (220, 0.10, 0.73, 0.29, 1, 4.6574), (200, 0.37, 1.08, 0.49, 0.25, 9.790)],
)
def test_published_products(r, k, ls, c, p, tons):
    assert soil_loss(r, k, ls, c, p) == pytest.approx(tons, abs=5e-3)
    si = soil_loss(r * R_SI_PER_US, k * K_SI_PER_US, ls, c, p)
    assert si / MG_HA_PER_TON_ACRE == pytest.approx(soil_loss(r, k, ls, c, p), rel=1e-12)


# R x K in SI is loss in Mg/ha: the product of the two factors is the factor of ton/ac (exact definitions).
def test_factors_of_r_and_k_make_the_factor_of_the_loss():
    assert pytest.approx(17.0195194952, abs=1e-9) == R_SI_PER_US
    assert pytest.approx(0.1317136076, abs=1e-9) == K_SI_PER_US
    assert pytest.approx(MG_HA_PER_TON_ACRE, abs=1e-9) == R_SI_PER_US * K_SI_PER_US


# The inversion (CALC): R 160, K .32, T 5, P 1, 200 ft, corn 0.00038 ac/lb.
INVERSION = [
    # slope %, LS, C0, b, roughness in, A0 ton/ac, SC, cover %, lb/ac, kg/ha
    (2, 0.3150, 0.40, 0.035, 0.24, 6.451, 0.7751, 7.28, 198.9, 223),
    (5, 0.8547, 0.40, 0.035, 0.24, 17.504, 0.2857, 35.80, 1166.2, 1307),
    (5, 0.8547, 0.40, 0.050, 0.24, 17.504, 0.2857, 25.06, 759.2, 851),
    (5, 0.8547, 0.40, 0.025, 0.24, 17.504, 0.2857, 50.12, 1830.4, 2052),
    (5, 0.8547, 0.40, 0.035, 1.00, 17.504, 0.2857, 40.13, 1349.9, 1513),
    (8, 1.4524, 0.40, 0.035, 0.24, 29.746, 0.1681, 50.95, 1874.6, 2101),
    (8, 1.4524, 0.25, 0.035, 0.24, 18.591, 0.2689, 37.52, 1237.8, 1387),
]


@pytest.mark.parametrize("row", INVERSION)
def test_least_stover_for_tolerable_loss(row):
    slope, printed_ls, C0, b, inches, a0, sc, cover, lb_ac, kg_ha = row
    LS = float(ls_703(200 * M_PER_FT, slope / 100))
    assert pytest.approx(printed_ls, abs=6e-5) == LS
    bare = soil_loss(160.0, 0.32, LS, C0)
    assert bare == pytest.approx(a0, abs=6e-4)
    assert 5 / bare == pytest.approx(sc, abs=5.5e-5)
    needed = cover_needed_pct(bare, 5.0, b, inches * MM_PER_IN)
    assert needed == pytest.approx(cover, abs=6e-3)
    mass = mass_of(needed / 100, CORN_K)
    assert mass / KG_HA_PER_LB_ACRE == pytest.approx(lb_ac, abs=0.1)
    assert mass == pytest.approx(kg_ha, abs=0.51)
    # putting the answer back gives the tolerance
    back = bare * cover_subfactor(100 * cover_of(mass, CORN_K), b, inches * MM_PER_IN)
    assert back == pytest.approx(5.0, abs=1e-9)


def test_inversion_in_si_needs_the_same_cover():
    R, K, T = 160 * R_SI_PER_US, 0.32 * K_SI_PER_US, 5 * MG_HA_PER_TON_ACRE
    assert pytest.approx((2723.123, 0.0421484, 11.2085), rel=2e-6) == (R, K, T)
    us = cover_needed_pct(soil_loss(160.0, 0.32, 0.8547, 0.40), 5.0, 0.035)
    assert cover_needed_pct(soil_loss(R, K, 0.8547, 0.40), T, 0.035) == pytest.approx(us, abs=1e-9)


def test_loss_that_is_tolerable_bare_needs_no_cover():
    assert cover_needed_pct(4.0, 5.0, 0.035) == 0
    assert cover_needed_pct(0.0, 5.0, 0.035) == 0


# Highly erodible from 8: University of Delaware and NRCS (READ).
def test_erodibility_index():
    assert erodibility_index(160, 0.32, 0.8547, 5) == pytest.approx(8.752, abs=5e-4)
    si = erodibility_index(160 * R_SI_PER_US, 0.32 * K_SI_PER_US, 0.8547, 5 * MG_HA_PER_TON_ACRE)
    assert si == pytest.approx(8.752, abs=5e-4)


# Vector A of the science notes (computed, not published): 60 m at 3 %, LS 0.3514, C0 .35.
def test_vector_a_erosion_terms():
    bare = soil_loss(160.0, 0.32, 0.3514, 0.35)
    assert bare == pytest.approx(6.298, abs=1.5e-3)
    cover = cover_needed_pct(bare, 5.0, 0.035)
    assert cover == pytest.approx(6.59, abs=0.01)
    assert mass_of(cover / 100, 0.00032) / (0.80 * 0.90) / 1000 == pytest.approx(0.296, abs=1e-3)


# National Soil Survey Handbook, quoted by UC Davis (READ): T is 1 to 5 ton/ac a year, 2.24 to 11.2 Mg/ha.
def test_range_of_tolerance():
    assert np.array([1, 5]) * MG_HA_PER_TON_ACRE == pytest.approx([2.24, 11.21], abs=5e-3)
