"""A replay holds against a count by hand, moves the right way with weather and crew, and is told with its bands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from made_weather import as_autumns, at, made_days, station_file, steady

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.printing import render
from stovergeo.inputs.weather import WeatherSource, read_weather
from stovergeo.window import (
    NEVER,
    SUNDAY,
    Crew,
    FieldToBale,
    air_of,
    autumns,
    balers_needed,
    bales_by_day,
    best_order,
    chance,
    chance_messages,
    cost_of_waiting,
    daily_moisture,
    fit_calendar,
    fit_days,
    humidity_messages,
    idle_hours,
    likely_days,
    limit_pct,
    replay,
    setting,
    start_order,
    with_this_season,
)
from stovergeo.window.draws import draw, middle
from stovergeo.window.replay import lying_days

HANDBOOK = load_handbook()
#: 480 kg of dry stover at 11 Mg/h
BALES_H = 11_000 / 480
BEFORE = -1  #: combined before the autumn begins


def field(name, bales=200.0, **given):
    given.setdefault("combined", BEFORE)
    return FieldToBale(name, area_ha=bales * 0.48 / 4.0, bales=bales, bale_dry_kg=480, **given)


def crew(**given):
    return Crew(**{"shape": "round", "balers": 1, "limit_pct": 20.0, "windrow_m": 6.1, "shred_ha_h": 1e6, **given})


def dry_days(days=30):
    return steady(22, 7, days)


# counted by hand


def test_one_field_is_done_when_its_fit_hours_are_enough():
    """Warm dry days, shredded on the first day: 2 fit hours on day 4 (counted from 0), then 9 a day."""
    past = dry_days()
    hours = daily_moisture(past, 47.0, "shredded", 20, HANDBOOK)["fit_hours"].to_numpy()
    lying = np.concatenate([[0], hours])[: past.days]  # on day 0 it lies as combined, then shredded
    found = replay(past, [field("one", 20 * BALES_H, method="shredded")], crew(), HANDBOOK, draws=0)
    assert found.middle.done[0, 0] == pytest.approx(np.argmax(lying.cumsum() >= 20), abs=1)
    assert found.middle.made.sum() == pytest.approx(20 * BALES_H)
    assert found.middle.worked_h.sum() == pytest.approx(20)


def test_a_move_takes_its_time_and_the_road():
    """Two fields of 3 hours each, fit 9 h a day; 25 km of road at 25 km/h and 0.75 h: 3 + 1.75 + 3 h fit one day."""
    dry = [field(name, 3 * BALES_H, probe=(0, 15.0)) for name in ("a", "b")]
    near = replay(dry_days(), dry, crew(road_km=np.array([[0, 25.0], [25.0, 0]])), HANDBOOK, draws=0)
    far = replay(dry_days(), dry, crew(road_km=np.array([[0, 75.0], [75.0, 0]])), HANDBOOK, draws=0)
    first = near.middle.done[0, 0]
    assert near.middle.done[0].tolist() == [first, first]
    assert far.middle.done[0].tolist() == [first, first + 1]  # 3 + 3.75 + 3 h do not
    assert near.middle.moves.tolist() == [1]


def test_nothing_is_baled_on_days_off_before_the_start_or_after_a_fields_deadline():
    past = dry_days()
    dry = field("a", 1000 * BALES_H, probe=(0, 15.0), deadline=12)
    free = crew(begin=3, days_off=frozenset({SUNDAY}), holidays=frozenset({(9, 11)}))
    found = replay(past, [dry], free, HANDBOOK, draws=0)
    worked = np.flatnonzero(found.middle.made[0])
    assert worked.min() == 3
    assert worked.max() == 12
    assert 10 not in worked
    assert not set(worked) & set(np.flatnonzero(past.weekdays()[0] == SUNDAY))
    assert found.middle.done[0, 0] == NEVER
    assert found.middle.left[0, 0] + found.middle.made.sum() == pytest.approx(1000 * BALES_H)


def test_the_rake_holds_the_baler():
    past, bales = dry_days(), 30 * BALES_H
    dry = field("a", bales, probe=(0, 15.0))
    half = 0.5 * BALES_H * 0.48 / 4.0  # ha/h that give half of the baler's pace
    fast, slow = (replay(past, [dry], crew(rake_ha_h=rake), HANDBOOK, draws=0) for rake in (np.inf, half))
    assert slow.middle.worked_h.sum() == pytest.approx(2 * fast.middle.worked_h.sum())


def test_the_combine_goes_from_field_to_field():
    """4 ha/h for 10 h a day: 40 ha, then 80 ha; each lies from the day after."""
    fields = [
        FieldToBale(name, area, 100, 480, method="combined", combined=None) for name, area in (("a", 40), ("b", 80))
    ]
    shared = setting(dry_days(), fields, crew(combine_ha_h=4, combine_from=2), HANDBOOK)
    found = fit_calendar(shared)
    assert list(found.columns) == ["day", "share_20", "share_25", "share_30"]
    until = np.full((1, 2, 30), 24.0)
    ready, lying = lying_days(shared, middle(shared.past, fields, HANDBOOK), until)
    assert ready.tolist() == lying.tolist() == [[3, 5]]


def test_stover_is_shredded_only_after_the_combine_at_the_shredders_pace():
    one = field("a", 100 * 4.0 / 0.48, combined=4)  # 100 ha at 5.1 ha/h and 9 h a day: 3 days
    shared = setting(dry_days(), [one], crew(shred_ha_h=None), HANDBOOK)
    ready, lying = lying_days(shared, middle(shared.past, [one], HANDBOOK), np.full((1, 1, 30), 24.0))
    assert (ready.tolist(), lying.tolist()) == ([[5]], [[8]])


def test_fit_days_of_each_field_grow_with_the_limit():
    fields = [field("dry", drainage_class=3.0), field("wet", drainage_class=6.0)]
    found = fit_days(setting(PAST, fields, crew(), HANDBOOK)).set_index(["limit_pct", "field"])
    for name in ("dry", "wet"):
        assert (found.xs(name, level="field")["hours"].diff().dropna() > 0).all()
    assert (found.xs("wet", level="field") <= found.xs("dry", level="field")).all(axis=None)
    steadily = fit_days(setting(dry_days(10), [field("a", probe=(0, 15.0))], crew(), HANDBOOK))
    assert steadily["days"].tolist() == [10, 10, 10]
    assert steadily["hours"].tolist() == [90, 90, 90]


def test_a_probe_sets_the_moisture_anew():
    past = dry_days(6)
    wet, probed = (replay(past, [field("a", 10.0, probe=p)], crew(), HANDBOOK, draws=0) for p in (None, (1, 18.0)))
    assert probed.middle.done[0, 0] == 1
    assert wet.middle.done[0, 0] > 1


def test_methods_dry_at_their_own_rates():
    past = dry_days(5)
    end = {
        m: daily_moisture(past, 47, m, 20, HANDBOOK)["moisture_pct"].iloc[-1]
        for m in ("combined", "shredded", "windrowed")
    }
    assert end["shredded"] < end["windrowed"] < end["combined"]


# moves the right way

FIELDS = [field("a", 300.0, deadline=70), field("b", 500.0, drainage_class=5.0), field("c", 200.0, drainage_class=3.0)]
PAST = as_autumns(made_days(2001, 2015))


def finished(past=PAST, by_day=85, fields=FIELDS, handbook=HANDBOOK, **given):
    given.setdefault("daily", False)
    given.setdefault("limit_pct", 25.0)
    found = replay(past, fields, crew(**given), handbook, draws=0)
    return (found.middle.done <= by_day).all(axis=1)


@settings(max_examples=examples(15))
@given(seed=st.integers(0, 1000), wet=st.floats(0.2, 2.0), factor=st.floats(1.0, 4.0), by_day=st.integers(20, 105))
def test_more_rain_never_raises_the_chance(seed, wet, factor, by_day):
    past = as_autumns(made_days(2001, 2004, seed, wet))
    wetter = replace(past, rain_mm=past.rain_mm * factor)
    assert (finished(wetter, by_day) <= finished(past, by_day)).all()


@settings(max_examples=examples(15))
@given(seed=st.integers(0, 1000), limits=st.tuples(st.floats(17, 35), st.floats(17, 35)), by_day=st.integers(20, 105))
def test_a_lower_limit_never_raises_the_chance(seed, limits, by_day):
    past = as_autumns(made_days(2001, 2004, seed))
    low, high = (finished(past, by_day, limit_pct=limit) for limit in sorted(limits))
    assert (low <= high).all()


@settings(max_examples=examples(15))
@given(seed=st.integers(0, 1000), balers=st.integers(1, 3), later=st.integers(0, 20), by_day=st.integers(20, 105))
def test_fewer_balers_or_a_later_start_never_raise_the_chance(seed, balers, later, by_day):
    past = as_autumns(made_days(2001, 2004, seed))
    base = finished(past, by_day, balers=balers)
    assert (base <= finished(past, by_day, balers=balers + 1)).all()
    assert (finished(past, by_day, balers=balers, begin=later) <= base).all()


def test_two_balers_are_never_later_than_one():
    one, two = (replay(PAST, FIELDS, crew(balers=n, daily=False, limit_pct=25), HANDBOOK, draws=5) for n in (1, 2))
    for single, double in zip([one.middle, *one.draws], [two.middle, *two.draws], strict=True):
        assert (double.done.max(axis=1) <= single.done.max(axis=1)).all()


def test_one_year_left_out_moves_the_chance_by_no_more_than_its_share():
    by_day, n = 60, len(PAST.years)
    whole = chance(replay(PAST, FIELDS, crew(limit_pct=25), HANDBOOK, draws=0), by_day).value
    for k in range(n):
        past = PAST.only(np.arange(n) != k)
        less = chance(replay(past, FIELDS, crew(limit_pct=25), HANDBOOK, draws=0), by_day).value
        assert abs(less - whole) <= 1 / n + 1e-9


def test_autumns_that_are_wet_all_through_give_no_chance():
    past = steady(12, 8, 106, rain_mm=(6.0,) * 106, years=15)
    found = replay(past, FIELDS, crew(limit_pct=30), HANDBOOK, draws=10)
    by = chance(found, 105)
    assert (by.value, by.low, by.drawn_high) == (0, 0, 0)
    assert by.high == pytest.approx(1.96**2 / (15 + 1.96**2))  # never said to be impossible
    assert found.middle.made.sum() == 0
    assert likely_days(found, ["a", "b", "c"])["late"].isna().all()


def test_draws_do_not_hang_on_the_other_fields_or_on_years_left_out():
    few = draw(PAST.only(np.arange(4)), FIELDS[2:], HANDBOOK, 0, 1)
    many = draw(PAST, FIELDS, HANDBOOK, 0, 1)
    assert few.drying == many.drying
    assert few.start_pct[:, 0].tolist() == many.start_pct[:4, 2].tolist()
    assert few.pace.tolist() == many.pace[:4].tolist()
    assert few.broken.tolist() == many.broken[:4].tolist()
    assert draw(PAST, FIELDS, HANDBOOK, 0, 2).drying != many.drying


def test_the_same_seed_gives_the_same_replay():
    one, two = (replay(PAST, FIELDS, crew(limit_pct=25), HANDBOOK, draws=4, seed=7) for _ in range(2))
    assert all((a.done == b.done).all() for a, b in zip(one.draws, two.draws, strict=True))


# what is told


def test_the_chance_is_told_with_years_model_and_that_it_is_no_forecast():
    found = chance(replay(PAST, FIELDS, crew(limit_pct=25), HANDBOOK, draws=10), 91)
    said = render(chance_messages(found, PAST, 91), "us")
    assert f"In {found.finished} of 15 past autumns" in said
    assert "by December 1" in said
    assert "not a forecast" in said
    assert found.low <= found.value <= found.high
    assert found.drawn_low <= found.drawn <= found.drawn_high
    alone = chance_messages(chance(replay(PAST, FIELDS, crew(), HANDBOOK, draws=0), 91), PAST, 91)
    assert len(alone) == 2


def test_the_latest_years_can_be_told_apart():
    wet_lately = replace(PAST, rain_mm=PAST.rain_mm + np.where(np.arange(15) >= 10, 8.0, 0.0)[:, None])
    found = replay(wet_lately, FIELDS, crew(limit_pct=30), HANDBOOK, draws=0)
    assert chance(found, 105, last=5).value < chance(found, 105).value
    assert chance(found, 105, last=5).years == 5


def test_humidity_is_told_where_it_was_not_measured():
    assert "0 of 1,590 days" in render(humidity_messages(air_of(PAST)), "us")
    measured = replace(PAST, humidity_pct=np.full_like(PAST.rain_mm, 70.0))
    assert humidity_messages(air_of(measured)) == []


def test_bales_by_day_grow_and_stay_in_order():
    found = bales_by_day(replay(PAST, FIELDS, crew(limit_pct=25), HANDBOOK, draws=0))
    assert (found[["low", "middle", "high"]].diff().dropna() >= -1e-9).all(axis=None)
    assert (found["low"] <= found["high"]).all()
    assert found["high"].iloc[-1] == pytest.approx(1000.0)


def test_likely_days_of_a_field_that_is_not_always_done():
    found = likely_days(replay(PAST, FIELDS, crew(limit_pct=20), HANDBOOK, draws=0), ["a", "b", "c"])
    for row in found.itertuples():
        assert np.isnan(row.late) == (row.chance < 0.8)


def test_what_is_combined_already_is_not_moved_by_draws():
    fields = [field("done", combined=20), field("to come", combined=40)]
    shared = setting(PAST, fields, crew(today=30), HANDBOOK)
    one = draw(PAST, fields, HANDBOOK, 0, 1)
    ready, _ = lying_days(shared, one, np.full((15, 2, PAST.days), 24.0))
    assert (ready[:, 0] == 21).all()
    assert ready[:, 1].tolist() == (41 + one.later_d).tolist()
    assert len(set(one.later_d.tolist())) > 3


def test_from_a_stations_file_to_a_chance(tmp_path):
    few = load_handbook({"window.years.least": 5})
    path = station_file(tmp_path, made_days(2001, 2006))
    past = autumns(read_weather(path.name, tmp_path, WeatherSource("ghcn"), at()), few, at())
    own = as_autumns(made_days(2001, 2006))
    limit = limit_pct("square_covered", few, probed=True)
    assert limit == 23
    found, same = (replay(one, FIELDS, crew(limit_pct=limit), few, draws=2) for one in (past, own))
    assert found.middle.done.tolist() == same.middle.done.tolist()
    assert "of 6 past autumns" in render(chance_messages(chance(found, 91), past, 91), "metric")


# choices


def test_the_first_order_is_by_day_ready_then_deadline_then_drainage():
    fields = [field("late", combined=9), field("open"), field("due", deadline=20), field("wet", drainage_class=6.0)]
    assert start_order(fields, crew()) == [2, 3, 1, 0]


def test_a_better_order_is_found_where_the_first_one_blocks():
    """The field that is due first lies as combined and dries late; the shredded one could be done before it."""
    fields = [field("slow", 100.0, method="combined", deadline=50), field("quick", 300.0)]
    found = best_order(steady(13, 2, 60), fields, crew(), HANDBOOK, by_day=20)
    assert found.fields == [1, 0]
    assert (found.bales_at_start, found.bales, found.bales_daily) == pytest.approx((0.0, 300.0, 300.0))
    dry = [field("a", 100.0, probe=(0, 15.0)), field("b", 300.0, probe=(0, 15.0))]
    moving = best_order(steady(22, 7, 20), dry, crew(), HANDBOOK, by_day=19, bales_per_move=10.0)
    assert moving.bales == pytest.approx(400.0 - 10.0)


def test_the_fewest_balers_for_a_chance():
    fields = [field("a", 3000.0)]
    fewest, table = balers_needed(PAST, fields, crew(limit_pct=30, rake_ha_h=np.inf), HANDBOOK, 91, draws=5)
    assert (table["chance"].diff().dropna() >= 0).all()
    reached = table[table["chance"] >= 0.8]["balers"]
    assert fewest == (int(reached.iloc[0]) if len(reached) else None)
    assert (table["idle_hours"].diff().dropna() > 0).all()
    assert (table["hours"] <= 3000 / BALES_H * 1.001).all()
    assert table["cost"].to_numpy() == pytest.approx(300 * table["hours"].to_numpy())
    sure = load_handbook({"window.chance.wanted": 1.01})
    assert balers_needed(PAST, fields, crew(limit_pct=17), sure, 91, draws=0)[0] is None


def test_a_wait_costs_little_stover_and_more_risk():
    found = cost_of_waiting(
        PAST, [field("a", 2000.0)], crew(limit_pct=25), HANDBOOK, 75, value_per_mg=60, days=14, draws=3
    )
    mass_mg = 2000 * 0.48
    assert found.lost_mg == pytest.approx((mass_mg * 14 * 0.0012, mass_mg * 14 * 0.0045))
    assert found.lost_value == pytest.approx([60 * mg for mg in found.lost_mg])
    assert found.risk_bales >= 0
    assert found.risk_value == pytest.approx(found.risk_bales * 0.48 * 60)
    assert found.chance_later.value <= found.chance_now.value


def test_a_wait_is_counted_from_the_first_day_fit_to_bale():
    """Dry from the first day, 9 h a day: two days of work, done on day 1, or on day 6 where the crew waits five."""
    one = field("a", 18 * BALES_H, probe=(0, 15.0))
    now, later = (replay(dry_days(), [one], crew(wait_d=wait), HANDBOOK, draws=0) for wait in (0, 5))
    assert (now.middle.done[0, 0], later.middle.done[0, 0]) == (1, 6)
    wet = steady(8, 6, 30, (12.0,) * 30)
    assert replay(wet, [one], crew(wait_d=5), HANDBOOK, draws=0).middle.done[0, 0] == NEVER


def test_idle_hours_are_fit_hours_not_worked():
    found = replay(dry_days(), [field("a", 9 * BALES_H, probe=(0, 15.0))], crew(), HANDBOOK, draws=0)
    assert idle_hours(found, 1) == pytest.approx(9 * 2 - 9, abs=1)


def test_this_season_takes_the_place_of_the_days_so_far():
    days = made_days(2021, 2021).set_index("date").loc["2021-09-01":"2021-10-10"].assign(
        dew_c=np.nan, humidity_pct=np.nan, snow_depth_mm=np.nan
    )  # fmt: skip
    found = with_this_season(PAST, days)
    assert (found.rain_mm[:, :40] == days["rain_mm"].to_numpy()).all()
    assert (found.rain_mm[:, 40:] == PAST.rain_mm[:, 40:]).all()
    with pytest.raises(ValueError, match="must begin on day 1 of month 9"):
        with_this_season(PAST, days.iloc[3:])
    with pytest.raises(ValueError, match="not known"):
        with_this_season(PAST, days.assign(rain_mm=np.nan))


@pytest.mark.parametrize(
    ("fields", "given", "said"),
    [
        ([field("a"), field("a")], {}, "a name of its own"),
        ([field("a", combined=None)], {}, "hectares a combine covers"),
    ],
)
def test_work_that_cannot_be_replayed_is_refused(fields, given, said):
    with pytest.raises(ValueError, match=said):
        replay(PAST, fields, crew(**given), HANDBOOK, draws=0)


@pytest.mark.parametrize("given", [{"method": "swathed"}, {"bales": 0.0}])
def test_a_field_that_cannot_be_is_refused(given):
    with pytest.raises(ValueError, match=r"one of combined, shredded|above 0"):
        FieldToBale(**{"name": "a", "area_ha": 10.0, "bales": 10.0, "bale_dry_kg": 480.0, **given})


@pytest.mark.parametrize("given", [{"shape": "triangular"}, {"balers": 0}, {"limit_pct": 0.2e3}])
def test_a_crew_that_cannot_be_is_refused(given):
    with pytest.raises(ValueError, match=r"round or square|needs a baler"):
        crew(**given)
