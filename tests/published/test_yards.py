"""Stack yards against published figures. The source stands beside each check.

READ: the figure was seen in the source; CALC: plane geometry or arithmetic from it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import HA_PER_ACRE, M2_PER_HA, M_PER_FT, M_PER_IN, MG_PER_TON
from stovergeo.inputs.plan.gather import Bale
from stovergeo.siting.pattern import (
    Pattern,
    bales_per_stack,
    block,
    land_per_bale_m2,
    row_pattern,
)
from stovergeo.siting.yard import base_cost, stone_volume_m3

FT2 = M_PER_FT**2
FIVE_BY_SIX = Bale.model_validate({"width": "5 ft", "diameter": "6 ft"})
SQUARE = Bale.model_validate({"shape": "square", "width": "4 ft", "height": "3 ft", "length": "8 ft"})


def pattern(name: str, gap_ft: float = 3, bale: Bale = FIVE_BY_SIX, ton: float = 0.6) -> Pattern:
    return row_pattern(
        bale,
        ton * MG_PER_TON * 1000,
        name,
        row_gap_m=gap_ft * M_PER_FT,
        square_levels=6,
        square_across=3,
        height_per_base=1.5,
        row_min=3,
    )


# CALC: plane geometry per bale, W (D + g), D (D + g)/2, W (3D + g)/6, with W 5 ft and D 6 ft; patterns as in
# Yaremcio, Alberta, "Stacking bales", and the row gaps of Alberta (2-3 ft), Missouri (3 ft), Winner SD (10 ft).
@pytest.mark.parametrize(
    ("name", "gap_ft", "ft2_per_100"),
    [
        ("single row", 3, 4500),
        ("single row", 6, 6000),
        ("single row", 10, 8000),
        ("mushroom", 3, 2700),
        ("mushroom", 6, 3600),
        ("mushroom", 10, 4800),
        ("pyramid", 3, 1750),
        ("pyramid", 6, 2000),
        ("pyramid", 10, 2333.3),
    ],
)
def test_land_per_hundred_bales(name, gap_ft, ft2_per_100):
    assert 100 * land_per_bale_m2(pattern(name, gap_ft)) / FT2 == pytest.approx(ft2_per_100, rel=1e-4)


def test_land_of_a_large_square_pile():
    # READ: Ames Tribune 2013, Iowa stover piles 24 ft wide and 18 ft high; CALC: 18 bales on 24 ft x 4 ft
    squares = pattern("single row", bale=SQUARE)
    assert squares.across_m / M_PER_FT == pytest.approx(24)
    assert squares.height_m / M_PER_FT == pytest.approx(18)
    assert 100 * squares.step_m * squares.across_m / squares.per_step / FT2 == pytest.approx(533.3, abs=0.1)


def test_squares_stand_six_high():
    # READ: Shah & Wicks 2017, Ohio State FABE-660.1
    assert pattern("single row", bale=SQUARE).per_step == 6 * 3


def test_a_short_row_of_squares_would_break_the_height_rule():
    # CALC from the same rule: 18 ft high needs a base of at least 12 ft, three bales of 4 ft
    assert pattern("single row", bale=SQUARE).steps_min == 3


def test_small_base_lowers_the_pile():
    # CALC: bales of 3 ft x 3 ft x 5 ft, one bale across in length 5 ft x 3 = 15 ft: 22.5 ft, six of 3 ft stay 18 ft;
    # with one bale across, 5 ft x 1.5 = 7.5 ft carries two
    small = Bale.model_validate({"shape": "square", "width": "3 ft", "height": "3 ft", "length": "5 ft"})
    one = row_pattern(
        small, 300.0, "single row", row_gap_m=1, square_levels=6, square_across=1, height_per_base=1.5, row_min=3
    )
    assert one.per_step == 2


def test_pyramid_and_mushroom_heights():
    # CALC: circles of 6 ft in each other's hollows, 6 (1 + sqrt 3) ft; a bale on end (5 ft) under one on its side
    assert pattern("pyramid").height_m / M_PER_FT == pytest.approx(6 * (1 + math.sqrt(3)))
    assert pattern("mushroom").height_m / M_PER_FT == pytest.approx(11)


# Worked example D. READ: 100-ton cap, International Fire Code 3703.4 as adopted in Ohio Adm. Code 1301:7-7-37; gaps of
# 20 ft (the code), 100 ft (insurers), 200 ft (Ames Tribune 2013). CALC: 1,000 bales of 0.6 ton, n (L + S)(W + S).
def test_worked_example_d_stacks():
    assert bales_per_stack(pattern("pyramid"), 100 * MG_PER_TON) == 166
    assert math.ceil(1000 / 166) == 7
    one = block(pattern("pyramid"), 1, 24)
    assert one.length_m / M_PER_FT == pytest.approx(120)
    assert one.width_m / M_PER_FT == pytest.approx(18)
    assert one.bales == 144  # 143 are needed


def test_worked_example_e():
    # CALC: 300 bales in six rows of 50 with gaps of 3 ft: 250 x 51 ft, 0.293 ac; with a lane of 20 ft 0.606 ac
    six = block(pattern("single row"), 6, 50)
    assert six.bales == 300
    assert (six.length_m / M_PER_FT, six.width_m / M_PER_FT) == (pytest.approx(250), pytest.approx(51))
    acre = M2_PER_HA * HA_PER_ACRE
    assert six.length_m * six.width_m / acre == pytest.approx(0.293, abs=5e-4)
    lane = 2 * 20 * M_PER_FT
    assert (six.length_m + lane) * (six.width_m + lane) / acre == pytest.approx(0.606, abs=5e-4)
    # 180 tons exceed one stack's 100: it must be split
    assert six.bales > bales_per_stack(pattern("single row"), 100 * MG_PER_TON)


def test_gravel_volume():
    # CALC: yd3 = area x inches / 12 / 27; 4,500 ft2 x 6 in = 83.3 yd3
    cubic_yard = (3 * M_PER_FT) ** 3
    assert stone_volume_m3(4500 * FT2, 6 * M_PER_IN) / cubic_yard == pytest.approx(83.33, abs=0.01)


def test_gravel_mass():
    # from memory, the reference sheet's 1.4 ton/yd3: 83.3 yd3 weigh 117 tons
    assert base_cost(3, 4500 * FT2, 100, load_handbook()).stone_mg / MG_PER_TON == pytest.approx(117, abs=0.5)


# Clear distances: value, low, high in feet, and who says so (READ unless the handbook's standing says otherwise)
SETBACKS_FT = {
    "well": (250, 100, 300, ("Wisconsin DNR", "Minnesota", "Preble")),
    "water": (300, 100, 1000, ("Wisconsin DNR",)),
    "flow_path": (100, 33, 300, ("Wisconsin DNR", "Preble")),
    "building": (100, 33, 200, ("insurers", "International Fire Code 3703.4")),
    "dwelling": (300, 100, 500, ("South Roxana", "Winner")),
    "road": (100, 33, 200, ("insurer",)),
    "overhead_line": (50, 33, 100, ("HSE",)),
    "property_line": (100, 33, 200, ("South Roxana", "insurer")),
    "trees": (33, 13, 66, ("CFS",)),
}


@pytest.mark.parametrize("key", SETBACKS_FT)
def test_clear_distances_and_who_says_so(key):
    value, low, high, said_by = SETBACKS_FT[key]
    number = load_handbook()[f"setbacks.{key}"]
    assert (number.value / M_PER_FT, number.low / M_PER_FT, number.high / M_PER_FT) == pytest.approx((value, low, high))
    assert all(who in number.source for who in said_by)


@pytest.mark.parametrize(
    ("key", "value", "unit", "who"),
    [
        ("yards.fire_gap", 100 * M_PER_FT, "m", "insurers"),  # READ: separate stacks need 100 ft clear
        ("yards.row_gap", 3 * M_PER_FT, "m", "Missouri"),  # READ: rows about 3 ft apart
        ("yards.base.gravel", 6 * M_PER_IN, "m", "NRCS"),  # READ: at least 6 in on geotextile
        ("yards.base.deep_gravel", 12 * M_PER_IN, "m", "AEN-79"),  # READ: about 12 in of rock on bare soil
        ("yards.water_table.good", 150, "cm", "Soil Survey Manual"),  # READ: well drained, deeper than 150 cm
        ("yards.height_per_base", 1.5, "1", "Schultheis"),  # READ
    ],
)
def test_layout_figures(key, value, unit, who):
    number = load_handbook()[key]
    assert number.value == pytest.approx(value)
    assert number.unit == unit
    assert who in number.source


def test_fire_gap_spread():
    # READ: 20 ft, International Fire Code; 200 ft between groups of Iowa stover piles
    number = load_handbook()["yards.fire_gap"]
    assert (number.low / M_PER_FT, number.high / M_PER_FT) == pytest.approx((20, 200))


def test_default_stack_limit_is_the_fire_codes():
    # READ: International Fire Code 3703.4, at most 100 tons a stack
    from stovergeo.inputs.plan.yards import Yards

    assert Yards().stack_max_mg / MG_PER_TON == pytest.approx(100)


def test_drainage_scores_follow_the_table():
    # reference sheet's drainage table (judgment): well 1.0, moderately well 0.7, somewhat poorly 0.35; wetter excluded
    coefficients = load_handbook()
    scores = [coefficients.value(f"yards.drainage.{k}") for k in ("well", "moderately_well", "somewhat_poorly")]
    assert scores == [1.0, 0.7, 0.35]
    assert coefficients.value("yards.drainage.worst_class") == 5
    assert np.allclose([coefficients.value(f"yards.clay.{k}") for k in ("good", "fair", "most")], [27, 40, 60])
