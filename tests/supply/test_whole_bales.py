"""A plan in whole bales: the same decisions as in tons, and integers that add up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.supply import Capacity, choose
from stovergeo.supply.choice import least_cost

SHARED = settings(max_examples=examples(15), suppress_health_check=[HealthCheck.function_scoped_fixture])
SEASONS = {
    "seed": st.integers(0, 500),
    "need_fraction": st.sampled_from([0.2, 0.6, 0.9, 1.4]),
    "room": st.sampled_from([0.4, 1.0, 3.0]),
}


@SHARED
@given(**SEASONS)
def test_every_count_is_a_sum_of_the_same_whole_bales(season, seed, need_fraction, room):
    choice = least_cost(season(seed=seed, need_fraction=need_fraction, room=room)).in_bales()
    stored, drawn = choice.whole.stored, choice.whole.withdrawals
    place = ["yard_id", "wrap", "base"]
    assert stored.groupby(place)["bales"].sum().to_dict() == drawn.groupby(place)["bales"].sum().to_dict()
    zones = choice.zone_method[choice.zone_method["bales"] > 0].set_index("zone_id")
    assert stored.groupby("zone_id")["bales"].sum().to_dict() == zones["bales"].to_dict()
    assert dict(stored.drop_duplicates("zone_id")[["zone_id", "method"]].to_numpy()) == zones["method"].to_dict()
    flows = choice.flows[choice.flows["bales"] > 0].set_index(["zone_id", "yard_id"])["bales"]
    assert stored.groupby(["zone_id", "yard_id"])["bales"].sum().to_dict() == flows.to_dict()
    used = choice.yard_use[choice.yard_use["bales"] > 0].set_index("yard_id")["bales"]
    assert stored.groupby("yard_id")["bales"].sum().to_dict() == used.to_dict()
    when = ["need", "year", "month", "wrap", "base"]
    uses = choice.wrap_use[choice.wrap_use["bales"] > 0].set_index(when)["bales"]
    assert drawn.groupby(when)["bales"].sum().to_dict() == uses.to_dict()
    assert zones["removal_mg"].to_numpy() == pytest.approx((zones["bales"] * zones["bale_dry_kg"] / 1000).to_numpy())


@SHARED
@given(**SEASONS)
def test_no_zone_gives_and_no_yard_takes_more_whole_bales_than_it_has(season, seed, need_fraction, room):
    problem = season(seed=seed, need_fraction=need_fraction, room=room)
    choice = least_cost(problem).in_bales()
    full = problem.offers.set_index(["zone_id", "method"])["removal_mg_ha"]
    area = problem.zones.set_index("zone_id")["area_ha"]
    for zone in choice.zone_method[choice.zone_method["bales"] > 0].itertuples():
        assert zone.bales * zone.bale_dry_kg / 1000 <= full[zone.zone_id, zone.method] * area[zone.zone_id] + 1e-6
    assert (choice.yard_use["bales"] <= choice.yard_use["capacity_bales"]).all()


@SHARED
@given(**SEASONS)
def test_a_need_is_met_by_whole_bales_or_short(season, seed, need_fraction, room):
    problem = season(seed=seed, need_fraction=need_fraction, room=room)
    solved = least_cost(problem)
    tons, bales = solved.in_tons(), solved.in_bales()
    wanted = problem.need.groupby("need")["dry_mg"].sum()
    had = bales.wrap_use.groupby("need")["withdrawn_mg"].sum()
    short = bales.shortage.groupby("need")["dry_mg"].sum()
    for need, mass in wanted.items():
        assert had.get(need, 0.0) + short.get(need, 0.0) >= mass - 0.02
    # a part of a bale a need on top, a part of one a zone less: nothing else moves
    parts = len(wanted) * 12 + len(tons.zone_method)
    assert abs(bales.baled_mg - tons.baled_mg) * 1000 / problem.bale_dry_kg <= parts
    assert bales.total_cost == pytest.approx(bales.cost.sum())


def test_machine_hours_hold_in_whole_bales_too(season):
    problem = season(seed=3, need_fraction=0.6)
    free = least_cost(problem).in_bales()
    made = int(free.zone_method["bales"].sum())
    each = {(method, "baler"): 0.1 for method in problem.offers["method"].unique()}
    tight = least_cost(replace(problem, capacity=Capacity({}, each, {"baler": 0.1 * (made - 7.5)}))).in_bales()
    assert tight.zone_method["bales"].sum() == made - 8
    assert tight.short_bales > 0


def test_a_plan_that_takes_nothing_has_no_bales(season):
    problem = season(seed=4)
    nothing = problem.offers.assign(allowed=False)
    choice = choose(replace(problem, offers=nothing))
    assert choice.whole.stored.empty
    assert choice.whole.withdrawals.empty
    assert np.issubdtype(choice.zone_method["bales"].dtype, np.integer)
    assert choice.short_bales > 0
