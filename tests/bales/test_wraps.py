"""Wraps compared: months, prices, break-even, refusals."""

import itertools
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.bales import (
    OutsideGroundError,
    StorageMethod,
    bale_of,
    bale_plan,
    base_of_ground,
    break_even_messages,
    break_even_table,
    crew_notes,
    moisture_band,
    need_table,
    net_rolls,
    net_turns,
    rejection_reason,
    storable_methods,
    storage_messages,
    storage_methods,
    storage_span,
    wrap_table,
)
from stovergeo.bales.climate import baled_on, climate_of, counted_rain_mm, months_of_use, rain_by_mm
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import InputError, Report, Severity
from stovergeo.core.printing import render
from stovergeo.inputs.plan.plan import plan_from

COEFFICIENTS = load_handbook()


def make_plan(**sections):
    return plan_from({"farm": {"name": "test", "season": 2026}, "layers": {}} | sections, Path(), Report())


def table_of(plan, ground="soil", coefficients=COEFFICIENTS, **options):
    bale = bale_of(plan.bale, None, coefficients)
    options = {"among": storage_methods(plan.storage, bale, ground)} | options
    return wrap_table(plan.storage, plan.wrap, bale, coefficients, 2026, **options)


def methods(**moisture):
    return {
        name: SimpleNamespace(name=name, title=name, moisture_pct=m, ash_pct=a, cut_height_m=0.3, passes=2)
        for name, (m, a) in moisture.items()
    }


@settings(max_examples=examples(40))
@given(low=st.floats(0, 300), more=st.floats(0, 300), ground=st.sampled_from(["soil", "clay"]))
def test_a_higher_price_never_favors_the_cheaper_wrap(low, more, ground):
    plan = make_plan()
    at_low, at_high = (table_of(plan, ground, value_per_mg=p) for p in (low, low + more))
    key = ["year", "month", "wrap", "base"]
    both = at_low.merge(at_high, on=key, suffixes=("_low", "_high"))
    for _, rows in both.groupby(["year", "month"]):
        saving = rows["loss_pct_low"].to_numpy()
        rise = (rows["cost_bale_high"] - rows["cost_bale_low"]).to_numpy()
        order = np.argsort(saving)
        assert (np.diff(rise[order]) >= -1e-9).all()  # what loses more gains nothing by the price
    best = [t[t["best"]].groupby(["year", "month"])["loss_pct"].min() for t in (at_low, at_high)]
    assert (best[1] <= best[0] + 1e-9).all()


def test_break_even_price_is_where_costs_meet():
    plan = make_plan()
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    even = break_even_table(table_of(plan), bale).set_index(["wrap", "base"])
    price = even.loc[("full_cover", "soil"), "price_mg"]
    last = table_of(plan, value_per_mg=price)
    last = last[last["in_season"]].groupby(["wrap", "base"]).tail(1).set_index(["wrap", "base"])["cost_bale"]
    assert last[("full_cover", "soil")] == pytest.approx(last[("net", "soil")])


def test_does_not_pay_is_an_answer_and_pays_is_one_too():
    plan = make_plan()
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    cheap = break_even_table(table_of(plan, value_per_mg=60), bale).set_index(["wrap", "base"])
    said = cheap.loc[("full_cover", "soil"), "message"]
    assert said.key == "break_even.too_dear_if_high"
    assert said.values["price"] == cheap.loc[("full_cover", "soil"), "price_mg"]
    assert cheap.loc[("full_cover", "soil"), "from_month"] == 0
    assert cheap.loc[("full_cover", "soil"), "price_if_high_mg"] < cheap.loc[("full_cover", "soil"), "price_mg"]
    dear = break_even_table(table_of(plan, value_per_mg=600), bale).set_index(["wrap", "base"])
    row = dear.loc[("full_cover", "soil")]
    assert row["message"].key == "break_even.from_month"
    assert row["message"].values["start"].values["month"] == row["from_month"]
    assert row["from_month"] in range(1, 13)
    assert row["price_mg"] == pytest.approx(cheap.loc[("full_cover", "soil"), "price_mg"])
    # bales drawn in that month and later should be covered, those before not
    table = table_of(plan, value_per_mg=600)
    rows = {
        w: table[(table["wrap"] == w) & (table["base"] == "soil")]["cost_bale"].to_numpy()
        for w in ("net", "full_cover")
    }
    pays = rows["full_cover"] < rows["net"]
    assert not pays[0]
    assert (np.diff(pays.astype(int)) >= 0).all()


def test_clay_makes_the_pad_worth_more():
    plan = make_plan()
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    prices = [
        break_even_table(table_of(plan, g), bale).set_index(["wrap", "base"]).loc[("net", "gravel"), "price_mg"]
        for g in ("soil", "clay")
    ]
    assert prices[1] < prices[0]


@pytest.mark.parametrize("way", [("full_cover", "soil"), ("stretch_film", "soil")])
def test_a_verdict_that_hangs_on_the_rejected_skin_is_not_known(way):
    plan, most = make_plan(), COEFFICIENTS["storage.rim_rejected"].high
    bale = bale_of(plan.bale, None, COEFFICIENTS)

    def even(worth, rejected=None):
        own = COEFFICIENTS if rejected is None else load_handbook({"storage.rim_rejected": rejected})
        highest = own["storage.rim_rejected"].high
        table = break_even_table(table_of(plan, value_per_mg=worth, coefficients=own), bale, rejected_max=highest)
        return table.set_index(["wrap", "base"]).loc[way]

    lower, upper = even(60)[["price_if_rejected_mg", "price_mg"]]
    assert lower < upper
    between = (lower + upper) / 2
    assert even(between)["message"].key == "break_even.unknown"
    assert even(0.98 * lower)["message"].key.startswith("break_even.too_dear")
    assert even(1.02 * upper)["message"].key.endswith("_month")
    # who knows how much is thrown away gets an answer, and the two answers differ
    assert even(between, most)["message"].key.endswith("_month")
    assert even(between, 0.0)["message"].key.startswith("break_even.too_dear")


def test_rejected_skin_counts_only_when_asked():
    plain = table_of(make_plan())
    coefficients = load_handbook({"storage.rim_rejected": 0.5})
    rejecting = table_of(make_plan(), coefficients=coefficients)
    assert np.allclose(plain["counted_pct"], plain["loss_pct"])
    assert np.allclose(rejecting["counted_pct"], plain["loss_pct"] + 0.5 * plain["rim_pct"])


def test_months_run_from_baling():
    plan = make_plan(storage={"baled": "11-05"})
    uses = months_of_use(plan.storage, 2026)
    assert [(u.month, u.year) for u in uses[:3]] == [(11, 2026), (12, 2026), (1, 2027)]
    assert sum(u.days for u in uses) == 365
    assert all(a.months_stored < b.months_stored for a, b in itertools.pairwise(uses))
    spring = make_plan(storage={"baled": "04-10"})
    assert baled_on(spring.storage, 2026) == date(2027, 4, 10)


def test_the_default_season_counts_the_reference_rain():
    plan = make_plan()
    climate = climate_of(plan.storage, COEFFICIENTS)
    ten = rain_by_mm(climate, date(2026, 9, 1), (date(2027, 7, 1) - date(2026, 9, 1)).days / (365.25 / 12))
    assert float(ten) == pytest.approx(685.8)
    assert float(rain_by_mm(climate, date(2026, 9, 1), 0)) == 0
    # winter rain and snow count for less than summer rain
    assert climate.counted_mm[0] / climate.rain_mm[0] == pytest.approx(0.3 * climate.counted_mm[6] / climate.rain_mm[6])


@settings(max_examples=examples(30))
@given(month=st.integers(0, 11), extra=st.floats(0, 200), base=st.sampled_from(["soil", "gravel"]))
def test_a_wetter_month_never_loses_less(month, extra, base):
    rain = list(climate_of(make_plan().storage, COEFFICIENTS).rain_mm)
    wetter = [r + extra * (i == month) for i, r in enumerate(rain)]
    dry, wet = (table_of(make_plan(storage={"rain_mm": r})) for r in (rain, wetter))
    assert (wet["loss_pct"] >= dry["loss_pct"] - 1e-9).all()


def test_turns_of_net():
    assert net_turns(make_plan().wrap, make_plan().storage, 2026, COEFFICIENTS) == 4
    year_out = make_plan(storage={"last_used": "11-10"})
    assert net_turns(year_out.wrap, year_out.storage, 2026, COEFFICIENTS) == 5
    indoors = make_plan(storage={"last_used": "11-10", "place": "closed shed"})
    assert net_turns(indoors.wrap, indoors.storage, 2026, COEFFICIENTS) == 4
    assert net_turns(make_plan().wrap, make_plan().storage, 2026, COEFFICIENTS, road_haul_km=150) == 5
    assert net_turns(make_plan(wrap={"long_haul": True}).wrap, make_plan().storage, 2026, COEFFICIENTS) == 5
    assert net_turns(make_plan(wrap={"turns": 3}).wrap, year_out.storage, 2026, COEFFICIENTS) == 3
    assert net_rolls(5000, 3000) == 2
    assert net_rolls(3000, 3000) == 1


def test_wet_bales_are_left_out_with_a_reason():
    report = Report()
    ways = methods(single_pass=(38, 5), rake_bale=(18, 11))
    assert list(storable_methods(ways, make_plan(), COEFFICIENTS, report)) == ["rake_bale"]
    assert not len(report), "a way that came only by default is left out without a word"
    asked_for = make_plan(gather={"methods": ["single_pass", "rake_bale"]})
    assert list(storable_methods(ways, asked_for, COEFFICIENTS, report)) == ["rake_bale"]
    (problem,) = report
    assert problem.code == "bale.cannot_be_kept"
    assert problem.severity is Severity.WARN
    assert "38% moisture" in problem.what


def test_uncovered_squares_refuse_the_plan():
    plan = make_plan(bale={"size": "3x4x8"}, wrap={"kind": "net"}, need={"herd": [{"name": "h", "head": 10}]})
    report = Report()
    assert storable_methods(methods(rake_bale=(18, 11)), plan, COEFFICIENTS, report) == {}
    with pytest.raises(InputError, match="under a tarp or a roof"):
        report.stop_if_refused()
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    with pytest.raises(OutsideGroundError, match="under a tarp or a roof"):
        need_table(plan.need, plan.storage, plan.wrap, bale, COEFFICIENTS, 2026)
    tarped = make_plan(
        bale={"size": "3x4x8"},
        storage={"place": "tarped rows"},
        wrap={"kind": "twine"},
        need={"herd": [{"name": "h", "head": 10}]},
    )
    assert need_table(tarped.need, tarped.storage, tarped.wrap, bale, COEFFICIENTS, 2026)["bales"].sum() > 0


def test_a_plan_may_raise_the_moisture_stop_only_as_far_as_the_model_goes():
    ways = methods(wet=(34, 5), wetter=(38, 5))
    raised = load_handbook({"storage.moisture_max": 40})
    assert list(storable_methods(ways, make_plan(), raised)) == ["wet"]


def test_ground_that_counts_as_clay():
    assert base_of_ground(3, 20, COEFFICIENTS) == "soil"
    assert base_of_ground(3, 45, COEFFICIENTS) == "clay"
    assert base_of_ground(6, 20, COEFFICIENTS) == "clay"
    assert base_of_ground(float("nan"), float("nan"), COEFFICIENTS) == "soil"


def test_bands_of_moisture():
    assert [moisture_band(m, COEFFICIENTS)[0] for m in (18, 20, 22, 28, 31)] == [
        "green",
        "green",
        "amber",
        "red",
        "too wet",
    ]


def test_crew_notes_hold_what_the_crew_asks():
    plan = make_plan()
    zones = pd.DataFrame(
        {
            "zone_id": ["F1-a", "F1-b", "F2-a"],
            "field_id": ["F1", "F1", "F2"],
            "method": ["rake_bale", "rake_bale", "leave"],
            "removal_mg_ha": [4.0, 3.0, 0.0],
        }
    )
    notes = crew_notes(zones, methods(rake_bale=(18, 11)), plan, COEFFICIENTS)
    assert set(notes["scope"]) == {"farm", "F1"}
    assert set(notes["topic"]) >= {
        "method",
        "cut",
        "bale",
        "wrap",
        "gate",
        "first_bale",
        "approach",
        "carry",
        "row",
        "heating",
    }
    assert (notes[["topic", "title", "message", "source"]] != "").all(axis=None)
    (gather,) = notes.loc[notes["topic"] == "method", "message"]
    assert gather.values["take"] == 3.0  # the cautious one of the two zones
    said = notes.groupby("topic")["message"].agg(lambda told: render(list(told), "us"))
    assert "Take no more than 1.3 ton/ac, dry" in said["method"]
    assert "4 turns of net, 18 in of overlap" in said["wrap"]
    assert "at least five seconds" in said["gate"]
    assert "clear of the ground" in said["carry"]
    assert "fire service" in said["heating"]


def test_a_core_temperature_prints_in_the_scale_of_the_reader():
    notes = crew_notes(
        pd.DataFrame(columns=["zone_id", "field_id", "method", "removal_mg_ha"]), {}, make_plan(), COEFFICIENTS
    )
    titles = notes.loc[notes["topic"] == "heating", "title"]
    assert [render(t, "us") for t in titles] == [
        "When",
        "Up to 125 °F",
        "130 °F",
        "150 °F",
        "160 °F",
        "175 °F",
        "185 °F",
        "200 °F",
    ]  # as the bulletins print them
    assert render(titles.iloc[-1], "metric") == "93 °C"


def test_a_bale_prints_in_the_size_the_plan_gives():
    zones = pd.DataFrame({"zone_id": ["Z"], "field_id": ["F"], "method": ["rake_bale"], "removal_mg_ha": [4.0]})
    for size, said in (
        ("5x6", "Round bale, 5 ft wide and 6 ft across."),
        ("3x4x8", "Large square bale, 3 ft high, 4 ft wide and 8 ft long."),
    ):
        notes = crew_notes(zones, methods(rake_bale=(18, 11)), make_plan(bale={"size": size}), COEFFICIENTS)
        assert any(render(told, "us").startswith(said) for told in notes["message"])


def test_storage_messages_say_months_and_reasons():
    plan = make_plan(need={"herd": [{"name": "barn", "head": 100}]})
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    table = table_of(plan)
    need = need_table(plan.need, plan.storage, plan.wrap, bale, COEFFICIENTS, 2026)
    ends = storage_span(plan.storage, 2026)[1]
    told = storage_messages(table, need, ends) + break_even_messages(break_even_table(table, bale))
    said = render(told, "us")
    assert "For bales used from November 2026 to" in said
    assert "net on drained ground costs least" in said
    assert "Full-cover wrap on drained ground does not pay" in said
    (barn,) = (m for m in told if m.key == "storage.need")
    assert barn.values["bales"] == need["bales"].sum()
    late = "Barn uses bales in September and October, but storage ends on August 10, 2027"
    assert f"{late} (`storage.last_used`)." in said
    assert f"{late}." in render(told, "us", "landowner")


def test_a_storage_option_that_is_refused_is_reported_once_with_its_reason():
    plan = make_plan(bale={"size": "3x4x8"})
    table = table_of(
        plan, among=[StorageMethod(w, b) for w in ("net", "full_cover", "tarp") for b in ("soil", "gravel")]
    )
    told = storage_messages(table, pd.DataFrame(columns=["need"]), date(2027, 8, 10))
    refused = [render(m, "us") for m in told if m.key == "storage.refused"]
    assert refused == [
        "Net: Large square bales without a tarp or roof lose 20% to 50% or more: put them under a tarp or a roof.",
        "Full-cover wrap: A full-cover wrap fits round bales only. Large square bales without a tarp or roof lose "
        "20% to 50% or more: put them under a tarp or a roof.",
    ]


def test_feed_needs_a_feeder():
    with pytest.raises(InputError, match="does not go with housing"):
        make_plan(need={"herd": [{"name": "cows", "head": 10, "use": "feed", "housing": "open_lot"}]})


@pytest.mark.parametrize("day", ["02-30", "13-01", "02-29"])
def test_a_day_that_is_not_in_every_year_is_refused(day):
    with pytest.raises(InputError, match="not a day of every year"):
        make_plan(storage={"baled": day})


def test_titles_name_the_roof():
    assert StorageMethod("net", "gravel", "open shed").title == "net in an open shed on gravel"


def test_damp_bales_stand_in_no_building_and_the_dampest_in_single_rows():
    assert rejection_reason(StorageMethod("net", "soil", "closed shed"), "round", 20, COEFFICIENTS) is None
    assert (
        rejection_reason(StorageMethod("net", "soil", "closed shed"), "round", 22, COEFFICIENTS).key
        == "refused.damp_under_roof"
    )
    assert rejection_reason(StorageMethod("net", "soil", pattern="pyramid"), "round", 24, COEFFICIENTS) is None
    assert (
        rejection_reason(StorageMethod("net", "soil", pattern="pyramid"), "round", 27, COEFFICIENTS).key
        == "refused.damp_in_a_block"
    )
    assert rejection_reason(StorageMethod("net", "soil"), "round", 27, COEFFICIENTS) is None


@given(warmer=st.lists(st.floats(0, 15), min_size=12, max_size=12))
def test_a_warmer_year_never_counts_less_rain(warmer):
    climate = climate_of(make_plan().storage, COEFFICIENTS)
    cool, warm = (
        counted_rain_mm(climate.rain_mm, np.array(climate.air_c) + w, 5, 0.3) for w in (np.zeros(12), np.array(warmer))
    )
    assert (warm >= cool).all()


def test_winter_storage_outside_costs_little():
    # Michigan Corn Stover Project: uncovered outside is fine through winter, losses climb in spring and summer
    table = table_of(make_plan())
    net = table[(table["wrap"] == "net") & (table["base"] == "soil")].set_index("month")
    assert net.loc[3, "loss_pct"] < 3
    assert net.loc[3, "best"]
    assert net.loc[8, "loss_pct"] - net.loc[4, "loss_pct"] > 2 * (net.loc[3, "loss_pct"] - net.loc[11, "loss_pct"])


@settings(max_examples=examples(60))
@given(
    take=st.floats(0, 5000),
    more=st.floats(0, 500),
    size=st.sampled_from(["4x5", "5x6", "3x4x8"]),
    moisture=st.floats(10, 28),
)
def test_bales_hold_what_the_zone_gives(take, more, size, moisture):
    plan = make_plan(bale={"size": size})
    zones = pd.DataFrame(
        {"zone_id": ["a", "b"], "method": ["m", "m"], "removal_mg": [take, take + more], "removal_mg_ha": 4.0}
    )
    made = bale_plan(zones, {"m": SimpleNamespace(moisture_pct=moisture)}, plan, COEFFICIENTS).set_index("zone_id")
    held = (made["bales"] * made["bale_dry_kg"] / 1000).reindex(["a", "b"], fill_value=0)
    assert held["a"] <= take + 1e-6
    assert held["b"] <= take + more + 1e-6
    assert take - held["a"] < bale_of(plan.bale, None, COEFFICIENTS).dry_kg / 1000 + 1e-6
    assert held["a"] <= held["b"] + 1e-9
