"""Moisture stays within what physics allows, whatever the weather; ground carries by water, frost and snow."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from made_weather import as_autumns, made_days, steady

from stovergeo.core.coefficients import load_handbook
from stovergeo.window import air_of, daily_moisture, drying_of, equilibrium_pct
from stovergeo.window.ground import carries_until, carrying, fit_by_rain, melted_mm

HANDBOOK = load_handbook()


@settings(max_examples=examples(40))
@given(
    tmin=st.floats(-10, 20),
    spread=st.floats(0, 20),
    start=st.floats(5, 75),
    humidity=st.floats(20, 100),
)
def test_air_that_stays_the_same_brings_stover_to_equilibrium(tmin, spread, start, humidity):
    """Without a daily swing moisture ends at the equilibrium of the humidity, with one within the day's."""
    days = 400
    past = replace(steady(tmin + spread, tmin, days), humidity_pct=np.full((1, days), humidity))
    end = daily_moisture(past, start, "shredded", 20, HANDBOOK, drying_of(HANDBOOK)._replace(tissue=3.0))
    air = air_of(past)
    rh = np.minimum(1, air.vapor_kpa[0, -1] / air.saturation_kpa[0, -1])
    lowest, highest = equilibrium_pct(rh, 14, 0.22)[[rh.argmin(), rh.argmax()]]
    settled = end["moisture_pct"].to_numpy()[-1]
    if rh.min() < 0.97:  # saturated air never dries
        assert lowest - 0.01 <= settled <= highest + 0.1


@settings(max_examples=examples(40))
@given(
    weather=st.lists(
        st.tuples(st.floats(-30, 30), st.floats(0, 25), st.sampled_from([0.0, 0.2, 5.0, 60.0, 300.0])),
        min_size=1,
        max_size=40,
    ),
    start=st.floats(1, 75),
    humidity=st.sampled_from([np.nan, 0.0, 50.0, 100.0]),
)
def test_moisture_is_always_a_number_and_never_above_what_stover_holds(weather, start, humidity):
    tmin, spread, rain = (np.array(column)[None] for column in zip(*weather, strict=True))
    past = replace(steady(1, 1, len(weather)), tmin_c=tmin, tmax_c=tmin + spread, rain_mm=rain)
    past = replace(past, humidity_pct=np.full(tmin.shape, humidity))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = daily_moisture(past, start, "shredded", 20, HANDBOOK)
    held, soak = drying_of(HANDBOOK).held, drying_of(HANDBOOK).soak
    soaked = soak * np.cumsum(held * (1 - np.exp(-melted_mm(rain, tmin + spread)[0] / 4)))
    most = 100 * (1 - 1 / (1 + max(start / (100 - start), 0.33) + soaked + held))
    assert found["moisture_pct"].notna().all()
    assert (found["moisture_pct"].to_numpy() <= most + 0.01).all()
    assert found["fit_hours"].between(0, 9).all()


def test_no_hour_of_a_rainy_or_dewy_day_is_fit():
    dry = daily_moisture(steady(22, 7, 4), 15, "shredded", 25, HANDBOOK)["fit_hours"]
    rainy = daily_moisture(steady(22, 7, 4, (1.1,)), 15, "shredded", 60, HANDBOOK)["fit_hours"]
    damp = replace(steady(22, 7, 4), humidity_pct=np.full((1, 4), 99.0))
    assert dry.tolist() == [9, 9, 9, 9]
    assert rainy.iloc[0] == 0
    assert (daily_moisture(damp, 15, "shredded", 60, HANDBOOK)["fit_hours"] < 9).all()


def test_snow_wets_stover_when_it_melts():
    past = steady(-3, -8, 6, (10.0,))
    past.tmax_c[:, 4:] = 5.0
    water, lying = melted_mm(past.rain_mm, past.tmax_c)
    assert water[0].tolist() == [0, 0, 0, 0, 10, 0]
    assert lying[0].tolist() == [10, 10, 10, 10, 0, 0]
    snowy, bare = (
        daily_moisture(one, 18, "shredded", 20, HANDBOOK)["moisture_pct"].to_numpy()
        for one in (past, replace(past, rain_mm=np.zeros((1, 6))))
    )
    assert snowy[:4].tolist() == bare[:4].tolist()
    assert snowy[4] > bare[4] + 10


# ground


def hours(past, drainage, clay=np.nan, tiled=False, share=1.0):
    ground = carrying(past, HANDBOOK)
    return carries_until(ground, *(np.array([v]) for v in (drainage, clay, tiled, share)), HANDBOOK)[:, 0]


PAST = as_autumns(made_days())


def test_better_drained_ground_carries_no_less():
    shares = [(hours(PAST, float(number)) > 0).mean() for number in range(1, 8)]
    assert (np.diff(shares) <= 0).all()
    assert shares[2] > shares[3] > shares[4] > shares[5]


def test_tile_drains_as_the_next_better_class_and_clay_carries_less():
    assert (hours(PAST, 5.0, tiled=True) == hours(PAST, 4.0)).all()
    assert (hours(PAST, 4.0, clay=40.0) <= hours(PAST, 4.0, clay=30.0)).all()
    assert hours(PAST, 4.0, clay=40.0).sum() < hours(PAST, 4.0).sum()
    assert (hours(PAST, 4.0, share=1.05) >= hours(PAST, 4.0, share=0.95)).all()


def test_where_the_soil_or_the_latitude_is_not_known_rain_alone_decides():
    by_rain = fit_by_rain(PAST.rain_mm, HANDBOOK)
    warm = ~carrying(PAST, HANDBOOK).frozen & ~carrying(PAST, HANDBOOK).thaw & ~carrying(PAST, HANDBOOK).snowed
    assert ((hours(PAST, np.nan) == 24) == by_rain)[warm].all()
    nowhere = replace(PAST, latitude=float("nan"))
    assert (hours(nowhere, 3.0) == hours(PAST, np.nan)).all()


def test_rain_keeps_machines_off_for_up_to_two_days():
    rain = np.array([[0, 4.0, 0, 6.0, 0, 13.0, 0, 0, 26.0, 0, 0, 0]])
    expected = [True, True, True, False, True, False, False, True, False, False, False, True]
    assert fit_by_rain(rain, HANDBOOK)[0].tolist() == expected


def test_frozen_ground_carries_until_it_thaws_and_snow_stops_all():
    past = steady(15, 5, 12, rain_mm=(60.0,) * 4)
    past.tmax_c[:, 4:8], past.tmin_c[:, 4:8] = -4.0, -10.0
    past.tmax_c[:, 8], past.tmin_c[:, 8] = 3.0, -5.0
    found = hours(past, 6.0)[0]
    assert found[:6].tolist() == [0] * 6  # wet, and not yet frozen
    assert found[6:8].tolist() == [24, 24]
    assert found[8] == HANDBOOK.value("window.ground.thaw_hour")
    deep = replace(past, snow_mm=np.where(np.arange(12) == 7, 30.0, 0.0)[None])
    assert hours(deep, 6.0)[0, 6:8].tolist() == [24, 0]


@pytest.mark.parametrize("rain", [0.0, 1.0])
def test_dry_ground_always_carries(rain):
    assert (hours(steady(18, 6, 100, (rain,) * 100), 6.0) == 24).all()
