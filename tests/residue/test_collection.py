"""What each way takes, of which parts, from which height; nutrients that leave with it."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.inputs.plan.money import Money
from stovergeo.residue import methods, nutrients, take, take_parts
from stovergeo.residue.collection import soil_in_bales, take_within
from stovergeo.residue.fractions import PARTS, reach, stalk_below

BOOK = load_handbook()
WAYS = methods(BOOK)
WHOLE = {p: BOOK.value(f"residue.fraction.{p}") for p in PARTS}


@pytest.mark.parametrize("name", WAYS)
def test_no_method_gathers_more_of_a_part_than_lies_above_the_cut(name):
    way = WAYS[name]
    above = reach(way.cut_share)
    for part, mass in take_parts(1.0, way).items():
        assert mass <= WHOLE[part] * above[part] + 1e-12
    assert sum(take_parts(9.0, way).values()) == pytest.approx(take(9.0, way))


@settings(max_examples=examples(50))
@given(cut=st.floats(0.05, 2.2), name=st.sampled_from(list(WAYS)))
def test_higher_stubble_takes_less_and_leaves_more_standing(cut, name):
    low, high = methods(BOOK, cut_height_m=cut)[name], methods(BOOK, cut_height_m=cut + 0.2)[name]
    assert high.fraction <= low.fraction + 1e-12
    assert high.stands >= low.stands - 1e-12
    assert sum(low.parts.values()) == pytest.approx(1)
    assert low.fraction_low <= low.fraction <= low.fraction_high
    assert low.fraction + low.stands <= 1


def test_shredded_stubble_stands_at_no_height():
    way = methods(BOOK, cut_height_m=0.8)["chop_and_rake"]
    assert way.stands == 0
    assert way.fraction == WAYS["chop_and_rake"].fraction


def test_only_wanted_methods_in_the_usual_order():
    assert list(methods(BOOK, ("rake_bale", "single_pass"))) == ["single_pass", "rake_bale"]


def test_stalk_below_rises_from_none_to_all():
    x = np.linspace(0, 1, 101)
    below = stalk_below(x)
    assert (below[0], below[-1]) == (0, 1)
    assert (np.diff(below) > 0).all()


@settings(max_examples=examples(50))
@given(
    stover=st.floats(0, 20),
    fraction=st.floats(0, 1),
    limit=st.floats(-5, 20),
    most=st.floats(0, 20),
)
def test_take_never_exceeds_any_bound(stover, fraction, limit, most):
    taken = take_within(stover, fraction, limit, most)
    assert 0 <= taken <= max(min(fraction * stover, limit, most), 0) + 1e-12


@settings(max_examples=examples(50))
@given(take_mg=st.floats(0.1, 10), ash=st.floats(5, 25))
def test_dirtier_bales_carry_more_soil(take_mg, ash):
    assert soil_in_bales(take_mg, ash + 1, 5.0) > soil_in_bales(take_mg, ash, 5.0) >= 0


def zones(*rows):
    return pd.DataFrame(rows, columns=["zone_id", "method", "take_mg"])


def test_plant_food_sums_and_scales_with_the_take():
    table = nutrients(zones(("a", "rake_bale", 10.0), ("b", "rake_bale", 30.0), ("c", "leave", 0.0)), WAYS, BOOK)
    numbers = table.drop(columns=["zone_id", "cost_mg"])
    assert numbers.iloc[1].to_numpy() == pytest.approx(3 * numbers.iloc[0].to_numpy())
    assert (numbers.iloc[2] == 0).all()
    assert (table["cost_low"] <= table["cost"]).all()
    assert (table["cost"] <= table["cost_high"]).all()
    assert table["cost_mg"].iloc[0] * 10 == pytest.approx(table["cost"].iloc[0])


def test_ear_bales_carry_less_plant_food():
    table = nutrients(zones(("a", "single_pass", 10.0), ("b", "second_pass", 10.0)), WAYS, BOOK)
    assert (
        table.iloc[0][["n_kg", "p2o5_kg", "k2o_kg", "s_kg"]] <= table.iloc[1][["n_kg", "p2o5_kg", "k2o_kg", "s_kg"]]
    ).all()


def test_plan_s_prices_are_used():
    one = zones(("a", "rake_bale", 1.0))
    free = Money.model_validate({"nitrogen": "0 $/lb", "phosphate": "0 $/lb", "potash": "0 $/lb", "sulfur": "0 $/lb"})
    lime = BOOK.value("nutrients.lime.content") * BOOK.value("nutrients.lime.price")
    assert nutrients(one, WAYS, BOOK, free)["cost"].iloc[0] == pytest.approx(lime)
    dear = Money.model_validate({"potash": "1 $/kg"})
    usual = Money()
    more = nutrients(one, WAYS, BOOK, dear)["cost"].iloc[0] - nutrients(one, WAYS, BOOK, usual)["cost"].iloc[0]
    assert more == pytest.approx(12.0 * (1 - BOOK.value("nutrients.k2o.price")))


def test_rain_counts_only_for_contents_of_the_mature_plant():
    one = zones(("a", "rake_bale", 1.0))
    bale, mature = nutrients(one, WAYS, BOOK).iloc[0], nutrients(one, WAYS, BOOK, basis="maturity").iloc[0]
    assert mature["k2o_kg"] == pytest.approx(bale["k2o_kg"] * 0.59)
    assert mature["p2o5_kg"] == pytest.approx(bale["p2o5_kg"] * 0.69)
    assert mature["n_kg"] == bale["n_kg"]
