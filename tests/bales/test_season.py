"""The bales package through its public functions: bales made, need drawn, wraps compared."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from stovergeo.bales import bale_of, bale_plan, baling_messages, need_table, pace, wrap_table
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.inputs.plan.plan import plan_from


def make_plan(**sections):
    return plan_from({"farm": {"name": "test", "season": 2026}, "layers": {}} | sections, Path(), Report())


@pytest.fixture
def coefficients():
    return load_handbook()


def test_bales_never_hold_more_than_the_zone_gives(coefficients):
    plan = make_plan(bale={"size": "5x6"}, wrap={"kind": "net"})
    zones = pd.DataFrame(
        {
            "zone_id": ["F1-a", "F1-b", "F1-c"],
            "method": ["rake_bale", "leave", "second_pass"],
            "removal_mg": [100.0, 0.0, 0.3],
            "removal_mg_ha": [4.0, 0.0, 0.3],
        }
    )
    methods = {"rake_bale": SimpleNamespace(moisture_pct=18.0), "second_pass": SimpleNamespace(moisture_pct=22.0)}
    table = bale_plan(zones, methods, plan, coefficients).set_index("zone_id")
    assert list(table.index) == ["F1-a", "F1-c"]
    made = table["bales"] * table["bale_dry_kg"] / 1000
    assert (made <= [100.0, 0.3]).all()
    assert 100.0 - made["F1-a"] < table.loc["F1-a", "bale_dry_kg"] / 1000
    assert table.loc["F1-c", "bales"] == 0
    assert table.loc["F1-a", "bales_ha"] == pytest.approx(4000 / table.loc["F1-a", "bale_dry_kg"])
    assert table.loc["F1-a", "turns"] == 4
    # four turns of a 6 ft bale and 18 in of overlap
    assert table.loc["F1-a", "net_m"] == pytest.approx(213 * (4 * math.pi * 1.8288 + 0.4572))


def test_the_months_of_a_need_add_up_to_the_whole(coefficients):
    plan = make_plan(need={"contract": [{"name": "plant", "dry_mass": "800 ton", "months": ["Jan", "Feb", "Jun"]}]})
    bale = bale_of(plan.bale, None, coefficients)
    table = need_table(plan.need, plan.storage, plan.wrap, bale, coefficients, 2026)
    assert list(table["month"]) == [1, 2, 6]
    assert table["dry_mg"].sum() == pytest.approx(800 * 0.90718474)
    left = table["bales"] * bale.dry_kg / 1000 * (1 - table["loss_pct"] / 100)
    assert table["dry_mg"].sum() <= left.sum() < table["dry_mg"].sum() + 2 * bale.dry_kg / 1000
    assert table["loss_pct"].is_monotonic_increasing


@pytest.mark.parametrize(
    ("months", "housing", "rate"),
    [
        # deep-bedded barn at the published middle, 5.5 lb a head and day, stocked from fall to spring
        (["Oct", "Nov", "Dec", "Jan", "Feb", "Mar", "Apr"], "deep_bedded_barn", None),
        # open lot all year at the published reported rate, 3.2 lb a head and day
        (None, "open_lot", 3.2 * 0.45359237),
    ],
)
def test_a_herd_of_1600_lands_where_practice_says(coefficients, months, housing, rate):
    # common practice, no source: about 1,500 to 1,700 round bales a year for 1,600 head on bedding
    herd = {"name": "herd", "head": 1600, "housing": housing}
    if months:
        herd["months"] = months
    if rate:
        herd["kg_head_day"] = rate
    plan = make_plan(bale={"size": "5x6"}, wrap={"kind": "net"}, need={"herd": [herd]})
    bale = bale_of(plan.bale, None, coefficients)
    table = need_table(plan.need, plan.storage, plan.wrap, bale, coefficients, 2026)
    assert 1500 <= table["bales"].sum() <= 1700


def test_every_month_has_one_best_way(coefficients):
    plan = make_plan()
    table = wrap_table(plan.storage, plan.wrap, bale_of(plan.bale, None, coefficients), coefficients, 2026)
    assert (table.groupby(["year", "month"])["best"].sum() >= 1).all()
    best = table[table["best"]]
    assert np.allclose(best["cost_bale"], table.groupby(["year", "month"])["cost_bale"].min())
    assert len(best) == 12


def test_a_size_and_other_measures_together_are_refused():
    with pytest.raises(InputError, match="says another width"):
        make_plan(bale={"size": "5x6", "width": "4 ft"})
    assert make_plan(bale={"size": "5x6", "width": "5 ft", "shape": "round"}).bale.width_m == pytest.approx(1.524)


@pytest.mark.parametrize(
    "sections",
    [
        {"bale": {"width": "5 m"}},
        {"bale": {"diameter": "6 in"}},
        {"bale": {"dry_density": "73 lb/ft3"}},
        {"storage": {"rain_mm": [1, 1.1, 2.2, 3.5, 4.3, 4.9, 4.3, 4.3, 3.3, 2.6, 2, 1.3]}},  # inches
        {"storage": {"rain_mm": [-1, *[60] * 11]}},
        {"wrap": {"overlap": "15 ft"}},
    ],
)
def test_measures_that_no_bale_or_season_has_are_refused(sections):
    with pytest.raises(InputError):
        make_plan(**sections)


def test_a_square_bale_without_measures_is_a_trade_size(coefficients):
    assert bale_of(make_plan(bale={"shape": "square"}).bale, None, coefficients).name == "3x4x8"


def test_density_spreads_the_number_of_bales(coefficients):
    plan = make_plan(bale={"size": "5x6"}, wrap={"kind": "net"})
    zones = pd.DataFrame({"zone_id": ["F1-a"], "method": ["rake_bale"], "removal_mg": [500.0], "removal_mg_ha": [5.0]})
    row = bale_plan(zones, {"rake_bale": SimpleNamespace(moisture_pct=18.0)}, plan, coefficients).iloc[0]
    assert row["bales_low"] < row["bales"] < row["bales_high"]
    own = make_plan(bale={"size": "5x6", "dry_density": "7.3 lb/ft3"})
    sure = bale_plan(zones, {"rake_bale": SimpleNamespace(moisture_pct=18.0)}, own, coefficients).iloc[0]
    assert sure["bales_low"] == sure["bales"] == sure["bales_high"]


def test_condition_and_setting_change_the_density(coefficients):
    usual = bale_of(make_plan().bale, None, coefficients)
    spring = bale_of(make_plan(bale={"condition": "spring"}).bale, None, coefficients)
    tight = bale_of(make_plan(bale={"setting": "tight"}).bale, None, coefficients)
    assert spring.dry_kg < usual.dry_kg < tight.dry_kg
    # spring harvest with a self-loading wagon, abstract: 90 kg/m3
    assert spring.density_dry_kg_m3 == pytest.approx(90, abs=0.1)


def test_names_of_the_trade():
    coefficients = load_handbook()
    for size in ("4x5", "5x5", "4x6", "5x6", "3x3x8", "3x4x8", "4x4x8"):
        assert bale_of(make_plan(bale={"size": size}).bale, None, coefficients).name == size


def test_thin_windrows_hold_the_baler_to_its_ground_speed(coefficients):
    bale = bale_of(make_plan().bale, None, coefficients)
    free = pace(bale, "net", 4, coefficients)
    assert pace(bale, "net", 4, coefficients, width_m=9, removal_mg_ha=1.0) < free
    assert pace(bale, "net", 4, coefficients, width_m=9, removal_mg_ha=9.0) == pytest.approx(free)
    # more turns, twine and a cover sheet all cost time at the wrap
    assert (
        pace(bale, "twine", 0, coefficients)
        < pace(bale, "full_cover", 4, coefficients)
        < pace(bale, "net", 4, coefficients)
    )
    assert pace(bale, "net", 5, coefficients) < free


def test_baling_has_its_messages(coefficients):
    plan = make_plan(bale={"size": "5x6"}, wrap={"kind": "net"})
    methods = {"rake_bale": SimpleNamespace(moisture_pct=18.0)}
    zones = pd.DataFrame({"zone_id": ["F1-a"], "method": ["rake_bale"], "removal_mg": [3000.0], "removal_mg_ha": [4.3]})
    told = baling_messages(bale_plan(zones, methods, plan, coefficients), plan, coefficients)
    assert [m.key for m in told] == ["baling.count", "baling.time", "baling.weather", "baling.too_long", "baling.net"]
    assert told[0].values["bales"] == 6405
    assert render(told[-1], "us") == "Net: 492,533 ft on 51 rolls, about $14,022."
    (none,) = baling_messages(bale_plan(zones.assign(method="leave"), methods, plan, coefficients), plan, coefficients)
    assert none.key == "baling.none"


def test_a_herd_draws_the_same_whatever_the_stack_loses(coefficients):
    plan = make_plan(need={"herd": [{"name": "h", "head": 200}]}, wrap={"kind": "net"}, storage={"base": "ground"})
    bale = bale_of(plan.bale, None, coefficients)
    dry, wet = (
        need_table(plan.need, plan.storage, plan.wrap, bale, coefficients, 2026, ground=g) for g in ("soil", "clay")
    )
    assert np.allclose(dry["dry_mg"], wet["dry_mg"])
    assert wet["bales"].sum() > dry["bales"].sum()
