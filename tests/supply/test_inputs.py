"""`supply.choose`: a plan's own prices and limits reach the problem, and nothing is counted twice."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from stovergeo.bales import bale_of, break_even_messages, break_even_table, crew_notes, wrap_table
from stovergeo.core.bale_catalog import WRAPS, Cover
from stovergeo.core.coefficients import Coefficient, Handbook, Standing, load_handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.core.units import HA_PER_ACRE, MG_PER_TON
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.residue import methods
from stovergeo.supply import choose, optimize, supply_problem
from stovergeo.supply.inputs import prices_of

COEFFICIENTS = load_handbook()


def plan(**sections):
    data = {
        "farm": {"name": "Test farm", "season": 2026},
        "layers": {},
        "need": {
            "herd": [{"name": "barn", "head": 40}],
            "contract": [{"name": "plant", "dry_mass": "60 ton", "price": "85 $/ton", "distance_km": 64.3738}],
        },
    }
    return plan_from(data | sections, Path.cwd(), Report())


def problem(the_plan, coefficients=COEFFICIENTS):
    ways = {n: w for n, w in methods(coefficients).items() if n != "single_pass"}
    zones = pd.DataFrame({"zone_id": ["F1-a", "F1-b"], "field_id": ["F1", "F1"], "area_ha": [20.0, 12.0]})
    zones = zones.assign(stover_mg_ha=9.0, removable_mg_ha=4.6)
    offers = pd.DataFrame(
        [
            (z, n, w.title, w.fraction * 9.0, w.moisture_pct, w.ash_pct, w.fraction * 9.0 <= 4.6)
            for z in zones["zone_id"]
            for n, w in ways.items()
        ],
        columns=["zone_id", "method", "title", "removal_mg_ha", "moisture_pct", "ash_pct", "allowed"],
    )
    yards = gpd.GeoDataFrame(
        {"yard_id": ["Y1"], "capacity_bales": [400], "base": ["none"], "base_cost": [0.0]},
        geometry=[box(0, 0, 50, 50)],
        crs="EPSG:26915",
    )
    need = pd.DataFrame(
        {
            "need": ["barn", "barn", "plant"],
            "month": [11, 3, 1],
            "year": [2026, 2027, 2027],
            "dry_mg": [15.0, 15.0, 40.0],
        }
    )
    return supply_problem(the_plan, coefficients, zones, offers, ways, yards, np.array([[500.0], [900.0]]), need)


def test_the_handbooks_prices_are_used_and_the_plans_own_come_first():
    usual = prices_of(plan(), methods(COEFFICIENTS), bale_of(plan().bale, None, COEFFICIENTS), COEFFICIENTS)
    assert usual.method_per_ha["chop_and_rake"] == pytest.approx(
        COEFFICIENTS.value("machine.rate.shred") + COEFFICIENTS.value("machine.rate.rake")
    )
    own_plan = plan(money={"chop": "20 $/ac", "rake": "5 $/ac", "bale_each": 21.0, "set_up": 0.0})
    own = prices_of(own_plan, methods(COEFFICIENTS), bale_of(own_plan.bale, None, COEFFICIENTS), COEFFICIENTS)
    assert own.method_per_ha["chop_and_rake"] == pytest.approx(25 / HA_PER_ACRE)
    assert own.method_per_bale["rake_bale"] - usual.method_per_bale["rake_bale"] == pytest.approx(
        21.0 - COEFFICIENTS.value("machine.rate.bale_round")
    )
    assert set(own.method_setup.values()) == {0.0}


def test_baling_and_net_together_are_the_custom_rate_once():
    """The rate holds a net and the time to put it on; baling and wrap of the problem add up to it."""
    found = problem(plan())
    net = found.storage[(found.storage["wrap"] == "net") & (found.storage["base"] == "soil")].iloc[0]
    whole = found.prices.method_per_bale["rake_bale"] + net["wrap_cost"] + net["time_cost"]
    assert whole == pytest.approx(COEFFICIENTS.value("machine.rate.bale_round"), rel=1e-6)


def test_trucking_of_the_worked_example_reaches_the_contract():
    # the cost sheet's example: 40 miles, 34 bales of 17.54 dry ton, 297.92 $ a load; here with our bale's own mass
    terms = problem(plan()).terms.set_index("need")
    truck = terms.loc["plant", "out_per_bale"] - terms.loc["barn", "out_per_bale"]
    assert truck * 34 == pytest.approx(297.92, abs=0.5)
    assert terms.loc["plant", "price_per_mg"] == pytest.approx(85 / MG_PER_TON)
    assert np.isnan(terms.loc["barn", "price_per_mg"])


def test_fit_days_become_hours_and_hold():
    free = problem(plan())
    assert free.capacity.hours == {}
    held = problem(plan(money={"crew_days": 2, "crews": 1}))
    assert held.capacity.hours["baler"] == pytest.approx(2 * COEFFICIENTS.value("machine.hours_day"))
    assert optimize(held).baled_mg <= optimize(free).baled_mg + 1e-6


def test_landowners_price_and_soil_price_reach_the_cost():
    paid = problem(plan(landowner={"price": "15 $/ton"}, money={"soil_carbon": "10 $/ton"}))
    choice = optimize(paid)
    assert choice.cost["land"] == pytest.approx(15 / MG_PER_TON * choice.baled_mg, rel=1e-4)
    plain = optimize(problem(plan()))
    more = (choice.cost["nutrients"] / choice.baled_mg) - (plain.cost["nutrients"] / plain.baled_mg)
    assert more == pytest.approx(10 / MG_PER_TON, rel=0.02)


def test_a_whole_small_season_is_met():
    choice = optimize(problem(plan()))
    assert choice.short_bales == 0
    assert choice.withdrawn_mg == pytest.approx(70.0, rel=1e-3)
    assert 40 < choice.cost_per_mg < 140  # $/Mg: benchmarks of 20-80 $/ton delivered, brought to today


def test_a_new_wrap_is_one_entry_and_its_numbers_in_the_handbook(monkeypatch):
    wrap = {"title": "waxed paper", "shapes": ("round",), "offered": ("round",), "net": True, "rain_cover": True}
    monkeypatch.setitem(WRAPS, "paper", Cover(name="paper", price="wrap.price.paper", crew="net", **wrap))
    numbers = {"storage.rain_entry.paper": 0.1, "storage.ground_wicking.paper": 0.2, "storage.rim.paper": 0.01}
    numbers |= {"wrap.price.paper": 0.01}
    made_up = {k: Coefficient(k, v, v, v, "1", "made up", "", Standing.JUDGMENT) for k, v in numbers.items()}
    coefficients = Handbook({**load_handbook(), **made_up})
    with pytest.raises(InputError, match=r"Unknown value \"papre\". Did you mean \"paper\"\?"):
        plan(wrap={"kind": "papre"})
    assert plan(wrap={"kind": "paper"}).wrap.kind == "paper"

    season = plan(wrap={"kind": "best"})
    bale = bale_of(season.bale, None, coefficients)
    table = wrap_table(season.storage, season.wrap, bale, coefficients, 2026)
    assert table.loc[table["best"], "wrap"].iloc[-1] == "paper"
    assert "Waxed paper on drained ground pays against net" in render(
        break_even_messages(break_even_table(table, bale)), "us"
    )
    choice = choose(problem(season, coefficients))
    assert "paper" in set(choice.wrap_use["wrap"])
    assert "Waxed paper is the cheapest." in render(list(choice.reasons.query("kind == 'wrap'")["message"]), "us")
    nothing = pd.DataFrame(columns=["zone_id", "field_id", "method", "removal_mg_ha"])
    notes = crew_notes(nothing, {}, season, coefficients, {"paper": 120}).query("topic == 'wrap'").iloc[0]
    assert render(notes["title"], "us") == "Waxed paper"
    assert render(notes["message"], "us").startswith("120 bales of the farm. 4 turns of net")
