"""Stover mass, ground cover, winter and tillage. READ: seen in the source; CALC: our arithmetic; MEM: from memory."""

import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import KG_HA_PER_LB_ACRE
from stovergeo.residue.production import cover_of, laid_down, mass_of, surviving

COEFFICIENTS = load_handbook()
COVERS = (10, 20, 30, 40, 50, 60, 70, 80, 90)
AH703_K = 0.00038 / KG_HA_PER_LB_ACRE  # 0.00038 ac/lb (AH-703, corn, MEM)


# Form: Gregory 1982, Trans. ASAE 25:1333-1337, as restated in two public codes (READ); masses CALC.
TABLES = {
    "k 0.00032, kg/ha": (0.00032, 1.0, (329, 697, 1115, 1596, 2166, 2863, 3762, 5029, 7196)),
    "k 0.00032, lb/ac": (0.00032, KG_HA_PER_LB_ACRE, (294, 622, 994, 1424, 1933, 2555, 3357, 4487, 6420)),
    "k 0.00021, lb/ac": (0.00021, KG_HA_PER_LB_ACRE, (448, 948, 1515, 2170, 2945, 3893, 5115, 6838, 9782)),
    "k 0.00040, lb/ac": (0.00040, KG_HA_PER_LB_ACRE, (235, 498, 796, 1139, 1546, 2044, 2685, 3590, 5136)),
    "AH-703, lb/ac": (AH703_K, KG_HA_PER_LB_ACRE, (277, 587, 939, 1344, 1824, 2411, 3168, 4235, 6059)),
    "AH-703, kg/ha": (AH703_K, 1.0, (311, 658, 1052, 1507, 2045, 2703, 3551, 4747, 6792)),
}


@pytest.mark.parametrize("column", range(len(COVERS)), ids=[f"{c} %" for c in COVERS])
@pytest.mark.parametrize("table", TABLES)
def test_mass_for_cover(table, column):
    k, unit, masses = TABLES[table]
    assert mass_of(COVERS[column] / 100, k) / unit == pytest.approx(masses[column], abs=0.51)


# AH-703 corn rows (MEM): 950, 2,400 and 6,050 lb/ac are 30, 60 and 90 %. They and 0.00038 ac/lb agree.
@pytest.mark.parametrize(("lb_ac", "cover"), [(950, 30.30), (2400, 59.83), (6050, 89.96)])
def test_handbook_rows_for_corn(lb_ac, cover):
    assert 100 * cover_of(lb_ac * KG_HA_PER_LB_ACRE, AH703_K) == pytest.approx(cover, abs=0.005)


# Reed & Clark et al., Penn State 2020 (READ): corn ground after grain harvest 90-95 % covered.
def test_cover_after_grain_harvest():
    assert cover_of(8000.0, COEFFICIENTS.value("retention.cover.k")) == pytest.approx(0.923, abs=5e-4)


# 30 cm2/g for maize: residue table of an open crop-growth model, v4.8.5.0, 2024 (READ).
def test_cover_coefficient_lies_between_the_values_met():
    k = COEFFICIENTS["retention.cover.k"]
    assert k.low <= 30 * 1e-5 <= k.high
    assert k.low <= AH703_K <= k.high
    assert k.value == pytest.approx(32 * 1e-5)


# Share of surface mass left by each pass: textbook table quoted in an online dictionary (READ).
@pytest.mark.parametrize(
    ("name", "left"),
    [
        ("moldboard", 0.05),
        ("chisel_straight", 0.80),
        ("chisel_twisted", 0.50),
        ("disk_deep", 0.25),
        ("disk_shallow", 0.50),
        ("field_cultivator", 0.80),
        ("sweep", 0.90),
        ("spring_harrow", 0.60),
        ("spike_harrow", 0.70),
    ],
)
def test_mass_left_by_a_pass(name, left):
    assert COEFFICIENTS.value(f"tillage.{name}") == left


# Non-fragile residue, USDA and industry table 1992 (MEM): the defaults lie within its ranges.
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("moldboard", 0.0, 0.10),
        ("chisel_straight", 0.60, 0.80),
        ("chisel_twisted", 0.50, 0.70),
        ("disk_shallow", 0.40, 0.70),
        ("field_cultivator", 0.60, 0.90),
        ("sweep", 0.75, 0.95),
        ("spring_harrow", 0.60, 0.80),
        ("spike_harrow", 0.70, 0.90),
        ("subsoiler", 0.70, 0.90),
        ("ripper", 0.60, 0.80),
        ("strip_till", 0.60, 0.75),
        ("anhydrous_knife", 0.75, 0.85),
        ("planter", 0.85, 0.95),
        ("planter_no_till", 0.85, 0.95),
    ],
)
def test_passes_lie_within_the_1992_ranges(name, low, high):
    assert low <= COEFFICIENTS.value(f"tillage.{name}") <= high


# Standing stalks laid down: Wagner & Nelson 1995, abstract (READ).
@pytest.mark.parametrize(("name", "laid"), [("sweep", 0.07), ("chisel_straight", 0.29), ("chisel_twisted", 0.76)])
def test_stalks_laid_down_by_a_pass(name, laid):
    assert COEFFICIENTS.value(f"flattening.{name}") == laid


def test_shallow_and_deep_disk_lay_nearly_all_stalks():
    assert 0.89 <= COEFFICIENTS.value("flattening.disk_shallow") <= COEFFICIENTS.value("flattening.disk_deep") <= 1.0


def test_two_passes_lay_their_share_of_what_still_stands():
    assert laid_down([0.29, 0.07]) == pytest.approx(1 - 0.71 * 0.93)


# Litterbags, eastern Canada, November to mid-May: 20 % lost on the surface (READ).
def test_overwinter_loss():
    assert COEFFICIENTS.value("retention.cover.overwinter") == 0.80


# Vectors A and C of the science notes (computed, not published): 1.548 and 3.870 Mg/ha for 30 % cover after planting.
@pytest.mark.parametrize(("passes", "mg_ha"), [((0.90,), 1.548), ((0.50, 0.80, 0.90), 3.870)])
def test_stover_to_leave_for_thirty_per_cent(passes, mg_ha):
    left = surviving(0.80, passes)
    assert mass_of(0.30, 0.00032) / left / 1000 == pytest.approx(mg_ha, abs=1e-3)
