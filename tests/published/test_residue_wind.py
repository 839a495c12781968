"""Wind erosion: flat cover, standing stalks, canopy. Tags as in the other files here."""

import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import MG_HA_PER_TON_ACRE
from stovergeo.residue.wind import (
    cover_needed_both_pct,
    cover_needed_pct,
    silhouette_cm2_m2,
    standing_ratio,
)

COEFFICIENTS = load_handbook()
FLAT = COEFFICIENTS.value("retention.wind.cover_effect")
STUBBLE, POWER = COEFFICIENTS.value("retention.wind.stubble_effect"), COEFFICIENTS.value("retention.wind.stubble_power")

COVERS = (0, 10, 20, 30, 40, 50, 60, 80)
# Bilbro & Fryrear 1994, Fryrear et al. 1998 (coefficient MEM; values CALC)
NEWER = (1, 0.6453, 0.4164, 0.2687, 0.1734, 0.1119, 0.0722, 0.0301)


@pytest.mark.parametrize(("cover", "ratio"), list(zip(COVERS, NEWER, strict=True)))
def test_flat_cover(cover, ratio):
    assert cover_needed_pct(ratio, FLAT) == pytest.approx(cover, abs=0.1)


@pytest.mark.parametrize(("ratio", "cover"), [(0.5, 15.8), (0.3, 27.5), (0.2, 36.7), (0.1, 52.6)])
def test_cover_for_a_ratio(ratio, cover):
    assert cover_needed_pct(ratio, FLAT) == pytest.approx(cover, abs=0.06)


# SLRs = exp(-0.0344 SA^0.6413) (MEM; CALC). 562.5 cm2/m2 are 7.5 stalks of 2.5 cm and 30 cm height on each m2.
@pytest.mark.parametrize(
    ("silhouette", "ratio"), [(100, 0.5172), (250, 0.3052), (500, 0.1571), (562.5, 0.1358), (1000, 0.0557)]
)
def test_standing_stalks(silhouette, ratio):
    assert standing_ratio(silhouette, STUBBLE, POWER) == pytest.approx(ratio, abs=5.1e-5)


def test_silhouette_of_a_foot_of_stubble():
    assert silhouette_cm2_m2(7.5, 2.5, 0.30) == pytest.approx(562.5, abs=1e-9)
    assert COEFFICIENTS.value("residue.stalks") == 7.5
    assert COEFFICIENTS.value("residue.stalk_diameter") == 2.5


# The soil survey's wind erodibility classes, ton/ac a year (READ): wind-prone from 86 (groups 3, 4 and 4L).
@pytest.mark.parametrize(
    ("ton_ac", "prone"), [(310, True), (134, True), (86, True), (56, False), (48, False), (0, False)]
)
def test_wind_prone_soils(ton_ac, prone):
    assert (ton_ac * MG_HA_PER_TON_ACRE >= COEFFICIENTS.value("retention.wind.index_from")) is prone


# T is for wind and water together (National Soil Survey Handbook, quoted by UC Davis; READ).
def test_both_losses_together_meet_the_tolerance():
    cover = cover_needed_both_pct(20.0, 0.035, 15.0, FLAT, 11.2)
    assert 20 * 2.718281828459045 ** (-0.035 * cover) + 15 * 2.718281828459045 ** (-FLAT * cover) == pytest.approx(
        11.2, abs=1e-9
    )
