"""Moisture, humidity, pace and chances worked out apart from this code, to the digits they were given in."""

from __future__ import annotations

import numpy as np
import pytest
from made_weather import steady

from stovergeo.core.coefficients import load_handbook
from stovergeo.window import (
    NEVER,
    air_of,
    daily_moisture,
    days_done,
    drying_of,
    equilibrium_pct,
    pace_mg_h,
    saturation_kpa,
    wilson,
)
from stovergeo.window.chain import Blocks
from stovergeo.window.humidity import vapor_of
from stovergeo.window.progress import Calendar, Task, bale

HANDBOOK = load_handbook()
WARM, MILD, COLD = (22, 7), (13, 2), (7, -1)


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        (12.39, 0.2195, [7.4, 10.2, 11.9, 13.0, 14.4, 16.4, 19.1, 22.5]),
        (14, 0.22, [8.3, 11.4, 13.3, 14.4, 16.0, 18.2, 21.1, 24.8]),
        (16, 0.22, [9.4, 12.8, 14.9, 16.2, 17.8, 20.2, 23.4, 27.4]),
    ],
)
def test_the_moisture_where_drying_stops(a, b, expected):
    humidity = [0.12, 0.40, 0.60, 0.70, 0.80, 0.89, 0.95, 0.98]
    assert equilibrium_pct(humidity, a, b) == pytest.approx(expected, abs=0.051)


def test_humidity_above_the_cap_changes_nothing():
    assert equilibrium_pct(1.0, 14, 0.22) == equilibrium_pct(0.98, 14, 0.22)


def test_saturation_vapor_pressure():
    expected = [0.4212, 0.6108, 0.8723, 1.2280, 1.7053, 2.3383]
    assert saturation_kpa([-5, 0, 5, 10, 15, 20]) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(("day", "expected"), [(WARM, 0.74), (MILD, 0.36), (COLD, 0.20)])
def test_mean_vapor_pressure_deficit_where_the_dew_point_is_the_lowest_temperature(day, expected):
    air = air_of(steady(*day, days=3))
    deficit = air.saturation_kpa - vapor_of(air, 0.0)[..., None]
    assert deficit[0, 1].mean() == pytest.approx(expected, abs=0.005)


CHAIN = {
    "A": (WARM, 47.3, (), [38.5, 31.2, 25.4, 21.2, 18.5, 17.1, 16.3, 15.9]),
    "B": (MILD, 47.3, (), [42.9, 38.8, 35.0, 31.6, 28.7, 26.1, 23.8, 22.0, 20.8, 19.9, 19.3, 19.0, 18.7, 18.6]),
    "C": (COLD, 47.3, (), [44.8, 42.5, 40.2, 38.0, 36.0, 34.1, 32.2, 30.6, 29.0, 27.5, 26.2, 25.0, 23.9, 23.0, 22.3,
                           21.9, 21.5, 21.2, 21.0, 20.9, 20.8, 20.7]),
    "D": (MILD, 18.0, (10.0,), [39.4, 30.2, 24.9, 22.0, 20.4, 19.6, 19.1]),
    "D2": (MILD, 18.0, (2.0,), [28.5, 23.5, 20.9, 19.7, 19.1, 18.8]),
    "A66": (WARM, 66.0, (), [56.5, 46.9, 38.2, 30.9, 25.2, 21.0, 18.5, 17.0]),
}  # fmt: skip


@pytest.mark.parametrize("case", CHAIN)
def test_moisture_at_the_end_of_each_day(case):
    day, start, rain, expected = CHAIN[case]
    found = daily_moisture(steady(*day, len(expected), rain), start, "shredded", 20, HANDBOOK)
    assert found["moisture_pct"].to_numpy() == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    ("case", "limit", "expected"),
    [
        ("A", 20, [0, 0, 0, 0, 2, 9, 9, 9]),
        ("B", 20, [0] * 10 + [2, 5, 9, 9]),
        ("B", 25, [0] * 6 + [3] + [9] * 7),
        ("C", 20, [0] * 22),
        ("D", 20, [0] * 6 + [4]),
        ("D2", 20, [0] * 4 + [3, 7]),
        ("A66", 20, [0] * 6 + [3, 9]),
    ],
)
def test_fit_hours_of_each_day(case, limit, expected):
    day, start, rain, moisture = CHAIN[case]
    found = daily_moisture(steady(*day, len(moisture), rain), start, "shredded", limit, HANDBOOK)
    assert found["fit_hours"].tolist() == expected


def first_fit_day(day, limit, start=47.3, rain=(), **constants):
    """Return the first day with three fit hours, counted from 1; None where none comes in sixty."""
    drying = drying_of(HANDBOOK)._replace(**constants)
    found = daily_moisture(steady(*day, 60, rain), start, "shredded", limit, HANDBOOK, drying)
    fit = np.flatnonzero(found["fit_hours"] >= 3)
    return int(fit[0]) + 1 if len(fit) else None


SPREAD = {
    (22, 7): ((4, 6, 10, 5), (3, 4, 7, 4), (2, 3, 5, 3)),
    (18, 5): ((5, 7, 16, 6), (4, 5, 10, 4), (3, 4, 7, 3)),
    (13, 2): ((7, 12, None, 8), (5, 7, 14, 6), (4, 6, 10, 5)),
    (10, 0): ((9, 17, None, 10), (6, 9, 18, 7), (5, 7, 13, 5)),
    (7, -1): ((16, None, None, 13), (8, 13, 25, 9), (6, 9, 18, 7)),
}


@pytest.mark.parametrize("day", SPREAD)
@pytest.mark.parametrize(("place", "limit"), [(0, 20), (1, 25), (2, 30)])
def test_first_day_with_three_fit_hours_by_drying_and_dew_point(day, place, limit):
    fast, typical, slow, dry_air = SPREAD[day][place]
    assert first_fit_day(day, limit, tissue=1.0) == fast
    assert first_fit_day(day, limit) == typical
    assert first_fit_day(day, limit, tissue=0.3) == slow
    assert first_fit_day(day, limit, dew_offset_c=2.0) == dry_air


@pytest.mark.parametrize(
    ("day", "limit", "expected"),
    [
        (WARM, 20, [1, 1, 2, 2, 2]),
        (MILD, 20, [3, 4, 5, 6, 6]),
        (MILD, 25, [1, 2, 2, 3, 3]),
        (COLD, 20, [None] * 5),
        (COLD, 25, [2, 3, 5, 5, 6]),
    ],
)
def test_days_until_stover_is_fit_again_after_one_wet_day(day, limit, expected):
    found = [first_fit_day(day, limit, start=16.0, rain=(rain,)) for rain in (1.0, 2.0, 5.0, 10.0, 25.0)]
    assert [None if day is None else day - 1 for day in found] == expected


@pytest.mark.parametrize(
    ("finished", "years", "expected"),
    [
        (15, 30, (0.332, 0.668)),
        (24, 30, (0.627, 0.905)),
        (27, 30, (0.744, 0.965)),
        (30, 30, (0.886, 1)),
        (9, 10, (0.596, 0.982)),
        (18, 20, (0.699, 0.972)),
        (3, 5, (0.231, 0.882)),
        (5, 5, (0.566, 1)),
    ],
)
def test_interval_of_a_chance(finished, years, expected):
    assert wilson(finished, years) == pytest.approx(expected, abs=5e-4)


def toy_hours():
    """Return the fit hours of five made-up years."""
    hours = np.zeros((5, 40))
    hours[0, ::2] = 6
    hours[1] = 6
    hours[2, 20:] = 6
    hours[3] = 3
    hours[4, ::3] = 6
    return hours


@pytest.mark.parametrize(
    ("balers", "expected", "by_16", "by_28"), [(1, [15, 8, 28, 16, 22], 3, 5), (2, [7, 4, 24, 8, 10], 4, 5)]
)
def test_a_replay_small_enough_to_count(balers, expected, by_16, by_28):
    found = days_done(toy_hours(), 1200 / 25 / balers)
    assert found.tolist() == expected
    assert ((found <= 16).sum(), (found <= 28).sum()) == (by_16, by_28)


@pytest.mark.parametrize(("balers", "expected"), [(1, [15, 8, 28, 16, 22]), (2, [7, 4, 24, 8, 10])])
@pytest.mark.parametrize("daily", [True, False])
def test_the_same_replay_baled_field_by_field(balers, expected, daily):
    """The five years again with the crew's own rules: 1,200 bales in one field, 25 an hour and baler."""
    hours = toy_hours()[:, None]
    blocks = Blocks(hours, np.full_like(hours, 9), np.full_like(hours, 18), np.full_like(hours, 18))
    one, rate = np.zeros(1, dtype=np.int64), np.array([25.0 * balers])
    task = Task(np.array([1200.0]), rate, rate, 35.0, one + 39, one, daily, block_h=0.0, move_h=np.zeros((1, 1)))
    season = bale(task, blocks, Calendar(np.zeros((5, 40), dtype=bool), np.ones(5), np.zeros(5, np.int64), 9.0))
    assert (season.done[:, 0] + 1).tolist() == expected
    assert season.made.sum(axis=1) == pytest.approx(np.full(5, 1200.0))


def test_work_that_does_not_fit_is_never_done():
    assert days_done(np.full((1, 3), 2.0), 6.5).tolist() == [NEVER]


@pytest.mark.parametrize(
    ("shape", "moisture", "removal", "windrow", "expected"),
    [
        ("square", 15, 4.0, 12.0, 14.0),
        ("square", 24, 4.0, 12.0, 14.0),
        ("square", 36, 6.0, 12.0, 20.9),
        ("round", 17, 4.0, 6.1, 11.0),
        ("round", 36, 5.0, 6.1, 13.6),
        ("round", 17, 2.4, 6.1, 5.5),
        ("square", 15, 1.0, 6.0, 8.05 * 6.0 * 1.0 * 0.80 / 10),  # ground speed holds it
    ],
)
def test_pace(shape, moisture, removal, windrow, expected):
    assert pace_mg_h(shape, moisture, removal, windrow, HANDBOOK) == pytest.approx(expected)
