"""Contracts are filled where their price covers what they add to the cost: figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.printing import render
from stovergeo.supply import Prices, SupplyProblem, choose, contract_messages, optimize, without_losses

METHOD = "rake_bale"
JANUARY = {"month": 1, "year": 2027}


def two_zones(**price_of: float) -> SupplyProblem:
    """Two zones of 20 ha, 3 Mg/ha each, one beside the only yard and one 2 km off; cows need 40 Mg, contracts 40 each.

    By hand, $ per Mg as baled, bales of 470 kg: gathering 20/3, baling 14 a bale, nutrients 18; haul 4 a bale and
    0.0002 a bale and meter; wrap 2 and time 1 a bale; out of the yard 3 a bale; set-up 60 a field, 100 for the yard.
    """
    ids = {"zone_id": ["F1-a", "F2-a"]}
    made = {"removal_mg_ha": 3.0, "moisture_pct": 18.0, "ash_pct": 10.0, "allowed": True, "bale_dry_kg": 470.0}
    names = ["cows", *price_of]
    kinds = ["herd", *("contract" for _ in price_of)]
    asked = {"moisture_max_pct": np.inf, "ash_max_pct": np.inf, "out_per_bale": 3.0}
    costs = {"loss_pct": 0.0, "wrap_cost": 2.0, "base_cost": 0.0, "time_cost": 1.0}
    return SupplyProblem(
        zones=pd.DataFrame({**ids, "field_id": ["F1", "F2"], "area_ha": [20.0, 20.0]}),
        offers=pd.DataFrame({**ids, "method": METHOD, **made}),
        yards=pd.DataFrame({"yard_id": ["Y1"], "capacity_bales": [400], "base": ["soil"], "base_cost": [0.0]}),
        distance_m=np.array([[300.0], [2000.0]]),
        need=pd.DataFrame([{"need": name, **JANUARY, "dry_mg": 40.0} for name in names]),
        terms=pd.DataFrame({"need": names, "kind": kinds, "price_per_mg": [np.nan, *price_of.values()], **asked}),
        storage=pd.DataFrame([{**JANUARY, "wrap": "net", "base": "soil", "months_stored": 2.0, **costs}]),
        prices=Prices({METHOD: 20.0}, {METHOD: 14.0}, {METHOD: 60.0}, 4.0, 2e-4, 100.0, {METHOD: 18.0}),
    )


def a_mg(distance_m: float) -> float:
    """$ of a Mg by hand, without set-up and opening."""
    a_bale = 14 + 4 + 2e-4 * distance_m + 2 + 1 + 3
    return 20 / 3 + 18 + a_bale / 0.470


#: 20 Mg are left in the near zone after the cows' 40; the other 20 Mg come from the far one, with its set-up
ADDED = 20 * a_mg(300) + 20 * a_mg(2000) + 60


def test_what_a_contract_adds_is_what_its_tons_cost_last() -> None:
    problem, table = without_losses(two_zones(plant=500.0))
    row = table.iloc[0]
    assert list(problem.need["need"]) == ["cows", "plant"]
    assert row["made"]
    assert row["dry_mg"] == pytest.approx(40)
    assert row["added_cost"] == pytest.approx(ADDED, rel=1e-5)
    assert row["profit"] == pytest.approx(40 * 500 - ADDED, rel=1e-5)
    assert row["pays_from_per_mg"] == pytest.approx(ADDED / 40, rel=1e-5)


@pytest.mark.parametrize(("cents", "made"), [(-1, False), (1, True)])
def test_it_is_filled_from_the_price_at_which_it_pays(cents: int, made: bool) -> None:
    problem, table = without_losses(two_zones(plant=ADDED / 40 + cents / 100))
    assert table["made"].tolist() == [made]
    assert ("plant" in set(problem.need["need"])) == made
    assert "cows" in set(problem.need["need"])


def test_a_season_whose_only_contract_does_not_pay_does_not_say_that_nothing_is_needed() -> None:
    problem = two_zones(plant=10.0)
    alone = replace(problem, need=problem.need.iloc[1:], terms=problem.terms.iloc[1:])
    kept, _ = without_losses(alone)
    assert [m.key for m in choose(kept).messages] == ["plan.nothing_pays"]


def test_an_obliged_contract_is_filled_at_a_loss_and_says_so() -> None:
    problem, table = without_losses(two_zones(plant=10.0), obliged={"plant"})
    assert "plant" in set(problem.need["need"])
    (line,) = contract_messages(table)
    assert line.key == "contract.loses"
    assert line.values["loss"] == pytest.approx(ADDED - 400, rel=1e-5)
    assert "because the plan says so" in render(line, "us")


def test_the_greatest_loss_goes_first_and_the_rest_is_judged_without_it() -> None:
    # both together need more than there is; without the poor one the good one pays
    poor, good = ADDED / 40 - 20, ADDED / 40 + 0.5
    problem, table = without_losses(two_zones(poor=poor, good=good))
    assert dict(zip(table["need"], table["made"], strict=True)) == {"poor": False, "good": True}
    assert set(problem.need["need"]) == {"cows", "good"}
    assert [m.key for m in contract_messages(table)] == ["contract.left_out", "contract.pays"]


def test_a_contract_without_a_price_is_a_need_like_a_herd() -> None:
    problem, table = without_losses(two_zones(plant=np.nan))
    assert table.empty
    assert set(problem.need["need"]) == {"cows", "plant"}


@pytest.mark.long
@settings(max_examples=examples(15), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(20, 200), st.floats(20, 200))
def test_no_plan_left_is_worth_less_than_one_with_a_contract_taken_out(one: float, other: float) -> None:
    """Revenue less cost never rises by leaving out a contract that is filled."""
    problem, table = without_losses(two_zones(one=one, other=other))
    price = dict(zip(table["need"], table["price_per_mg"], strict=True))

    def worth(p: SupplyProblem) -> float:
        choice = optimize(p, gap=1e-6)
        sold = choice.wrap_use.groupby("need")["withdrawn_mg"].sum()
        return sum(price[n] * mass for n, mass in sold.items() if n in price) - choice.total_cost

    best = worth(problem)
    for name in table.loc[table["made"], "need"]:
        fewer = replace(
            problem, need=problem.need[problem.need["need"] != name], terms=problem.terms[problem.terms["need"] != name]
        )
        assert worth(fewer) <= best + 0.05
