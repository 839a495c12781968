"""The choice keeps every limit, loses no mass, says what is short, and is explained."""

from __future__ import annotations

import ctypes
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.errors import ContractError
from stovergeo.core.printing import render
from stovergeo.core.units import MG_PER_TON
from stovergeo.supply import Capacity, alternatives, choose, conflict, optimize, reliefs, trade_off, with_yield
from stovergeo.supply.alternatives import next_bales, without_yard
from stovergeo.supply.choice import least_cost, share_out
from stovergeo.supply.model import build
from stovergeo.supply.solve import shadow_prices, short_weights, solve

SHARED = settings(max_examples=examples(12), suppress_health_check=[HealthCheck.function_scoped_fixture])


def keys(messages):
    return [m.key for m in messages]


def check_limits(problem, choice):
    zones = choice.zone_method.set_index("zone_id")
    offers = problem.offers.set_index(["zone_id", "method"])
    for zone in zones[zones["method"] != "leave"].itertuples():
        offer = offers.loc[(zone.Index, zone.method)]
        assert offer["allowed"]
        assert zone.removal_mg_ha == offer["removal_mg_ha"]
        assert 0 < zone.share <= 1
        # whole bales never hold more than the zone gives
        assert zone.bales * zone.bale_dry_kg / 1000 <= zone.removal_mg + 1e-6
    # mass: zones to yards to use, less the loss
    assert choice.flows["dry_mg"].sum() == pytest.approx(choice.baled_mg, abs=0.01)
    assert choice.wrap_use["dry_mg"].sum() == pytest.approx(choice.baled_mg, abs=0.01)
    left = choice.wrap_use["dry_mg"] * (1 - choice.wrap_use["loss_pct"] / 100)
    assert choice.wrap_use["withdrawn_mg"].to_numpy() == pytest.approx(left.to_numpy())
    short = choice.shortage["dry_mg"].sum()
    assert choice.withdrawn_mg + short >= problem.need["dry_mg"].sum() - 0.05
    by_zone = choice.flows.groupby("zone_id")["bales"].sum()
    assert (by_zone == zones.loc[by_zone.index, "bales"]).all()
    assert (choice.yard_use["dry_mg"] * 1000 / 470 <= choice.yard_use["capacity_bales"] + 1e-3).all()
    assert choice.total_cost == pytest.approx(choice.cost.sum())
    assert choice.bound <= choice.total_cost + 0.01


@SHARED
@given(
    seed=st.integers(0, 500), need_fraction=st.sampled_from([0.2, 0.6, 0.9, 1.4]), room=st.sampled_from([0.4, 1.0, 3.0])
)
def test_every_limit_holds_and_no_mass_is_lost(season, seed, need_fraction, room):
    problem = season(seed=seed, need_fraction=need_fraction, room=room)
    check_limits(problem, optimize(problem))


def test_more_need_never_costs_less_and_more_capacity_never_costs_more(season):
    costs = [optimize(season(seed=2, need_fraction=s), gap=1e-5).total_cost for s in (0.2, 0.4, 0.6)]
    assert costs == sorted(costs)
    short = [
        optimize(season(seed=2, need_fraction=0.9, room=r), gap=1e-5).shortage["dry_mg"].sum() for r in (0.3, 0.6, 2.0)
    ]
    assert short == sorted(short, reverse=True)
    assert short[0] > short[-1]


def test_less_allowed_never_gives_more_bales(season):
    problem = season(seed=3, need_fraction=1.2)
    held = problem.offers.assign(allowed=problem.offers["allowed"] & (problem.offers["removal_mg_ha"] < 3.5))
    assert optimize(replace(problem, offers=held)).baled_mg <= optimize(problem).baled_mg + 1e-3


def test_herds_come_before_contracts(season):
    choice = optimize(season(seed=4, need_fraction=1.5))
    assert set(choice.shortage["kind"]) == {"contract"}
    assert choice.short_bales > 0


def test_bales_too_dirty_for_a_plant_do_not_go_there(season):
    problem = season(seed=5, need_fraction=0.7)
    strict = problem.terms.assign(ash_max_pct=np.where(problem.terms["kind"] == "contract", 8.0, np.inf))
    choice = optimize(replace(problem, terms=strict))
    dirty = choice.zone_method.loc[
        choice.zone_method["method"].isin(["rake_bale", "chop_and_rake"]), "removal_mg"
    ].sum()
    herd = choice.wrap_use.loc[choice.wrap_use["need"] == "need 0", "dry_mg"].sum()
    assert dirty <= herd + 0.01


def test_wet_bales_are_used_at_once_or_not_made(season):
    problem = season(seed=6, need_fraction=0.8, needs=1)
    only_wet = problem.offers.assign(allowed=problem.offers["allowed"] & (problem.offers["method"] == "single_pass"))
    choice = optimize(replace(problem, offers=only_wet))
    assert (choice.wrap_use["months_stored"] <= problem.wet_months).all()
    assert choice.baled_mg > 0


def test_crew_hours_hold(season):
    problem = season(seed=7, need_fraction=0.8)
    per_bale = dict.fromkeys([(m, "baler") for m in problem.prices.method_per_bale], 1 / 25)
    tight = replace(problem, capacity=Capacity(hours_per_bale=per_bale, hours={"baler": 10.0}))
    choice = optimize(tight)
    assert choice.baled_mg * 1000 / 470 <= 250 + 0.01
    assert choice.short_bales > 0
    assert "limit.hours" in keys(conflict(tight))
    assert "the hours of the baler" in map(str, conflict(tight))


def test_a_refused_place_is_not_used(season):
    problem = season(seed=8)
    first = optimize(problem)
    gone = first.yard_use["yard_id"].iloc[0]
    zone = first.flows["zone_id"].iloc[0]
    choice = optimize(replace(problem, no_go_yards=frozenset({gone}), no_go_zones=frozenset({zone})))
    assert gone not in set(choice.yard_use["yard_id"])
    assert zone not in set(choice.flows["zone_id"])
    assert choice.total_cost >= first.total_cost * (1 - 0.006)


def test_a_dearer_wrap_comes_in_only_where_it_pays(season):
    problem = season(seed=9, months=10, need_fraction=0.5)
    cheap = optimize(problem, gap=1e-5)
    assert set(cheap.wrap_use["wrap"]) == {"net"}
    # stover so dear to gather that each Mg lost costs more than the wrap
    prices = replace(problem.prices, nutrient_per_mg=dict.fromkeys(problem.prices.nutrient_per_mg, 900.0))
    dear = optimize(replace(problem, prices=prices), gap=1e-5)
    cover = dear.wrap_use[dear.wrap_use["wrap"] == "full_cover"]
    net = dear.wrap_use[dear.wrap_use["wrap"] == "net"]
    assert len(cover)
    assert net.empty or cover["months_stored"].mean() > net["months_stored"].mean()


def test_a_soil_price_takes_less_from_the_ground(season):
    problem = season(seed=10)
    free = optimize(problem, gap=1e-5)
    priced = optimize(replace(problem, prices=replace(problem.prices, soil_carbon_per_mg=200.0)), gap=1e-5)
    assert priced.baled_mg <= free.baled_mg + 1e-3
    assert priced.cost["nutrients"] > free.cost["nutrients"]


def test_nothing_needed_and_nothing_to_be_had_are_answers(season):
    problem = season(seed=11)
    idle = choose(replace(problem, need=problem.need.assign(dry_mg=0.0)))
    assert idle.total_cost == 0
    assert keys(idle.messages) == ["plan.nothing_needed"]
    barren = choose(replace(problem, offers=problem.offers.assign(allowed=False)))
    assert barren.baled_mg == 0
    assert barren.short_bales > 0
    assert {"plan.nothing_gathered", "short.total"} <= set(keys(barren.messages))
    assert "limit.soil" in keys(barren.conflict)
    yardless = choose(replace(problem, yards=problem.yards.iloc[:0], distance_m=np.empty((len(problem.zones), 0))))
    assert yardless.short_bales > 0
    assert "limit.yards" in keys(yardless.conflict)


def test_a_shortage_is_reported_with_its_months_and_what_would_help(season):
    choice = choose(season(seed=12, need_fraction=0.9, room=0.3))
    said = render(choice.messages, "us")
    assert f"short by {choice.short_bales:,} bales" in said
    assert "limit.yards" in keys(choice.conflict)
    (each,) = (m for m in choice.messages if m.key == "short.conflict")
    assert set(keys(each.values["needs"])) == {"limit.need"}
    assert each.values["count"] == len(each.values["limits"]) == len(choice.conflict) - len(each.values["needs"])
    assert re.search(r"Easing one limit would bring \d+ more bales: the room in the yards\.", said)
    lacking = [m.values["bales"] for m in choice.messages if m.key.startswith("short.need")]
    assert sum(lacking) == choice.short_bales


def test_bales_lacking_are_counted_as_the_need_counts_them(season):
    problem = season(seed=12)
    need = problem.need.assign(bales=[30, 31, 32, 34] * 2)
    nothing = optimize(replace(problem, need=need, offers=problem.offers.assign(allowed=False)))
    assert nothing.shortage["bales"].tolist() == need["bales"].tolist()


def test_the_conflict_is_smallest(season):
    """With any one member lifted the rest can hold: nothing in the set is idle."""
    problem = season(seed=13, need_fraction=1.2, needs=1)
    named = conflict(problem)
    assert list(map(str, conflict(season(seed=13, need_fraction=9, needs=1)))) == ["the stover that grows", "need 0"]
    assert keys(named) == ["limit.soil", "limit.need"]
    table = reliefs(problem).set_index("limit")
    assert table.loc["soil", "gained_mg"] > 0
    assert table.loc["yards", "gained_mg"] == pytest.approx(0, abs=0.01)
    assert conflict(season(seed=13, need_fraction=0.3)) == []


def test_second_best_is_never_better_and_names_what_replaces_it(season):
    problem = season(seed=14)
    choice = optimize(problem, gap=1e-5)
    for yard in choice.yard_use["yard_id"]:
        found = without_yard(problem, choice, yard, gap=1e-5)
        assert found.more_cost >= 0
        assert yard not in found.instead


def test_next_bales_cost_what_the_larger_season_costs_more(season):
    problem = season(seed=15, need_fraction=0.4)
    choice = optimize(problem, gap=1e-6)
    found = next_bales(problem, choice, "need 0", 50, gap=1e-6)
    own = problem.need["need"] == "need 0"
    more = problem.need.assign(
        dry_mg=problem.need["dry_mg"].where(~own, problem.need["dry_mg"] + 50 * 0.47 / own.sum())
    )
    larger = optimize(replace(problem, need=more), gap=1e-6)
    assert found.had == 50
    assert found.cost_each == pytest.approx((larger.total_cost - choice.total_cost) / 50, rel=1e-3)


def test_shadow_price_of_need_is_the_cost_of_the_next_ton(season):
    problem = season(seed=16, need_fraction=0.4)
    model = build(problem)
    weights = short_weights(model, dict(zip(problem.terms["need"], problem.terms["kind"], strict=True)))
    solution = solve(model, model.total_cost(), weights, gap=1e-7, seconds=60)
    prices = shadow_prices(model, model.total_cost(), solution)["need"]
    told = least_cost(problem, gap=1e-7).next_prices()
    assert told["price"].to_numpy() == pytest.approx(prices, rel=1e-6)
    assert told.groupby("what")["price"].is_monotonic_increasing.all()  # later bales have lost more
    more = problem.need.copy()
    more.loc[0, "dry_mg"] += 0.01
    raised = optimize(replace(problem, need=more), gap=1e-9).total_cost
    assert raised - solution.objective == pytest.approx(0.01 * prices[0], rel=0.05)


def test_alternatives_keep_the_need_and_their_budget(season):
    problem = season(seed=17, habit={f"F{i}": "chop_and_rake" for i in range(1, 4)})
    choice = optimize(problem, gap=1e-4)
    table = alternatives(problem, choice, gap=1e-4).set_index("aim")
    assert (table["more_cost"] <= 0.1001).all()
    assert (table["more_cost"] >= -1e-3).all()
    assert (table["short_bales"] == choice.short_bales).all()
    assert table.loc["soil", "near_limit"] <= table.loc["cost", "near_limit"] + 1e-6
    assert table.loc["yards", "yards"] <= table.loc["cost", "yards"]
    assert table.loc["habit", "habit_fraction"] >= table.loc["cost", "habit_fraction"]


def test_the_trade_off_curve_falls(season):
    problem = season(seed=18, zones=6)
    curve = trade_off(problem, optimize(problem), steps=3)
    assert (np.diff(curve["near_limit"] * curve["baled_mg"]) <= 0.02 * curve["baled_mg"].max()).all()


def test_a_poorer_crop_is_held_to_limits_that_fall_by_the_whole_loss(season):
    problem = season(seed=19)
    poor = with_yield(problem, -0.15)
    limit = dict(zip(poor.zones["zone_id"], poor.zones["removable_mg_ha"], strict=True))
    good = poor.offers[poor.offers["allowed"]]
    assert (good["removal_mg_ha"] <= good["zone_id"].map(limit) + 1e-9).all()
    assert good["allowed"].sum() <= problem.offers["allowed"].sum()
    expected = (problem.zones["removable_mg_ha"] - 0.15 * problem.zones["stover_mg_ha"]).clip(lower=0)
    assert poor.zones["removable_mg_ha"].to_numpy() == pytest.approx(expected.to_numpy())


def test_the_plan_is_explained(season):
    problem = season(seed=20, zones=8)
    choice = choose(problem, titles={"second_pass": "Second pass behind the combine"})
    assert "$" not in render(choice.messages, "us")  # these a landowner may read
    told = {m.key: m for m in choice.grower_messages}
    assert told["cost.season"].values == {"cost": choice.total_cost, "each": choice.cost_per_mg}
    assert {"cost.least", "cost.within"} & told.keys()
    assert told["next.cost"].values["bales"] == 100
    assert "15% lighter" in render(choice.grower_messages, "us")
    prices = choice.next_mg[(choice.next_mg["what"] == told["next.by_month"].values["need"])]["price"]
    assert told["next.by_month"].values["first"] == prices.iloc[0]
    assert f"${told['cost.season'].values['each'] * MG_PER_TON:,.2f}/ton" in render(choice.grower_messages, "us")
    assert {"zone", "yard", "wrap"} <= set(choice.reasons["kind"])
    assert set(choice.reasons.loc[choice.reasons["kind"] == "zone", "id"]) == set(choice.flows["zone_id"])


def test_a_season_no_solver_closes_in_time_still_has_a_plan_with_its_gap(season):
    problem = season(seed=21, zones=60, yards=30, months=8, need_fraction=0.6)
    choice = optimize(problem, gap=0.0, seconds=0.05)
    assert choice.status == "best found in time"
    assert np.isfinite(choice.gap)
    assert choice.bound <= choice.total_cost * (1 + 1e-9)
    check_limits(problem, choice)


@given(count=st.integers(0, 500), masses=st.lists(st.floats(0.01, 100), min_size=1, max_size=8))
def test_whole_bales_are_shared_out_to_the_last(count, masses):
    out = share_out(count, np.array(masses))
    assert out.sum() == count
    exact = count * np.array(masses) / sum(masses)
    assert (np.abs(out - exact) < 1 + 1e-6).all()


def test_tables_that_lack_something_are_named(season):
    problem = season()
    with pytest.raises(ContractError, match="'offers', which lacks allowed"):
        replace(problem, offers=problem.offers.drop(columns="allowed"))
    with pytest.raises(ContractError, match="distances have shape"):
        replace(problem, distance_m=np.ones((1, 1)))
    with pytest.raises(ContractError, match="lacks the need"):
        replace(problem, terms=problem.terms.iloc[:1])
    late = pd.DataFrame({"need": ["need 0"], "month": [1], "year": [2030], "dry_mg": [3.0]})
    with pytest.raises(ContractError, match="lacks 2030-01"):
        optimize(replace(problem, need=late))


def test_a_shortage_is_never_shown_as_a_price(season):
    choice = choose(season(seed=3, need_fraction=2.0, room=3.0))
    assert choice.short_bales > 0
    assert choice.next_mg.empty
    assert not any(key.startswith("next.") for key in keys(choice.grower_messages))


@pytest.mark.parametrize("seed", range(5))
def test_a_place_refused_never_makes_the_season_cheaper(season, seed):
    """To the dollar, as the owner who refused it would compare."""
    problem = season(zones=12, yards=6, months=6, seed=seed, need_fraction=0.6, room=0.7)
    problem = replace(problem, prices=replace(problem.prices, yard_opening=600.0))
    plan = choose(problem, explain=False)
    used = plan.yard_use.loc[plan.yard_use["bales"] > 0, "yard_id"]
    assert len(used) >= 2
    for yard in used:
        other = choose(replace(problem, no_go_yards=problem.no_go_yards | {yard}), explain=False)
        assert (other.short_bales, other.total_cost) >= (plan.short_bales, plan.total_cost - 0.5)


def test_the_solver_says_nothing_but_the_line_no_option_stops(season, capfd):
    """HiGHS 1.12 prints this line whatever its options (its issue 2783); this season makes it do so."""
    choose(season(zones=20, yards=8, months=6, seed=1), explain=False)
    ctypes.CDLL(None).fflush(None)
    out, err = capfd.readouterr()
    assert set(out.splitlines()) <= {"HighsMipSolverData::transformNewIntegerFeasibleSolution tmpSolver.run();"}
    assert err == ""
