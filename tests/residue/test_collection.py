"""What each way takes, of which parts, from which height; nutrients that leave with it."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.inputs.plan.money import Money
from stovergeo.residue import methods, nutrients, take
from stovergeo.residue.collection import PARTS, reach, soil_in_bales, stalk_below

COEFFICIENTS = load_handbook()
WAYS = methods(COEFFICIENTS)
WHOLE = {p: COEFFICIENTS.value(f"residue.fraction.{p}") for p in PARTS}


@pytest.mark.parametrize("name", WAYS)
def test_no_method_gathers_more_of_a_part_than_lies_above_the_cut(name):
    way = WAYS[name]
    above = reach(way.cut_fraction)
    for part, share in way.parts.items():
        assert take(share, way) <= WHOLE[part] * above[part] + 1e-12
    assert sum(way.parts.values()) == pytest.approx(1)


@settings(max_examples=examples(50))
@given(cut=st.floats(0.05, 2.2), name=st.sampled_from(list(WAYS)))
def test_higher_stubble_takes_less_and_leaves_more_standing(cut, name):
    low, high = methods(COEFFICIENTS, cut_height_m=cut)[name], methods(COEFFICIENTS, cut_height_m=cut + 0.2)[name]
    assert high.fraction <= low.fraction + 1e-12
    assert high.stands >= low.stands - 1e-12
    assert sum(low.parts.values()) == pytest.approx(1)
    assert low.fraction + low.stands <= 1


def test_shredded_stubble_stands_at_no_height():
    way = methods(COEFFICIENTS, cut_height_m=0.8)["chop_and_rake"]
    assert way.stands == 0
    assert way.fraction == WAYS["chop_and_rake"].fraction


def test_only_wanted_methods_in_the_usual_order():
    assert list(methods(COEFFICIENTS, ("rake_bale", "single_pass"))) == ["single_pass", "rake_bale"]


def test_stalk_below_rises_from_none_to_all():
    x = np.linspace(0, 1, 101)
    below = stalk_below(x)
    assert (below[0], below[-1]) == (0, 1)
    assert (np.diff(below) > 0).all()


@settings(max_examples=examples(50))
@given(removal_mg=st.floats(0.1, 10), ash=st.floats(5, 25))
def test_dirtier_bales_carry_more_soil(removal_mg, ash):
    assert soil_in_bales(removal_mg, ash + 1, 5.0) > soil_in_bales(removal_mg, ash, 5.0) >= 0


def zones(*rows):
    return pd.DataFrame(rows, columns=["zone_id", "method", "removal_mg"])


def test_plant_food_sums_and_scales_with_the_take():
    table = nutrients(
        zones(("a", "rake_bale", 10.0), ("b", "rake_bale", 30.0), ("c", "leave", 0.0)), WAYS, COEFFICIENTS
    )
    numbers = table.drop(columns=["zone_id", "cost_mg"])
    assert numbers.iloc[1].to_numpy() == pytest.approx(3 * numbers.iloc[0].to_numpy())
    assert (numbers.iloc[2] == 0).all()
    assert (table["cost_low"] <= table["cost"]).all()
    assert (table["cost"] <= table["cost_high"]).all()
    assert table["cost_mg"].iloc[0] * 10 == pytest.approx(table["cost"].iloc[0])


def test_ear_bales_carry_less_plant_food():
    table = nutrients(zones(("a", "single_pass", 10.0), ("b", "second_pass", 10.0)), WAYS, COEFFICIENTS)
    assert (
        table.iloc[0][["n_kg", "p2o5_kg", "k2o_kg", "s_kg"]] <= table.iloc[1][["n_kg", "p2o5_kg", "k2o_kg", "s_kg"]]
    ).all()


def test_plan_s_prices_are_used():
    one = zones(("a", "rake_bale", 1.0))
    free = Money.model_validate({"nitrogen": "0 $/lb", "phosphate": "0 $/lb", "potash": "0 $/lb", "sulfur": "0 $/lb"})
    lime = COEFFICIENTS.value("nutrients.lime.content") * COEFFICIENTS.value("nutrients.lime.price")
    assert nutrients(one, WAYS, COEFFICIENTS, free)["cost"].iloc[0] == pytest.approx(lime)
    dear = Money.model_validate({"potash": "1 $/kg"})
    usual = Money()
    more = (
        nutrients(one, WAYS, COEFFICIENTS, dear)["cost"].iloc[0]
        - nutrients(one, WAYS, COEFFICIENTS, usual)["cost"].iloc[0]
    )
    assert more == pytest.approx(12.0 * (1 - COEFFICIENTS.value("nutrients.k2o.price")))


def test_rain_counts_only_for_contents_of_the_mature_plant():
    one = zones(("a", "rake_bale", 1.0))
    bale, mature = (
        nutrients(one, WAYS, COEFFICIENTS).iloc[0],
        nutrients(one, WAYS, COEFFICIENTS, basis="maturity").iloc[0],
    )
    assert mature["k2o_kg"] == pytest.approx(bale["k2o_kg"] * 0.59)
    assert mature["p2o5_kg"] == pytest.approx(bale["p2o5_kg"] * 0.69)
    assert mature["n_kg"] == bale["n_kg"]
