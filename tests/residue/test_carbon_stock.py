"""The stock of soil carbon on made-up ground: an independent loop, exact inverses, and the signs of every effect."""

from __future__ import annotations

import numpy as np
import pytest
from carbon_steps import Soil
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from round_climate import CROPS, a_year

from stovergeo.core.coefficients import load_handbook
from stovergeo.residue.carbon_stock import evapotranspiration as pet
from stovergeo.residue.carbon_stock import rothc, rothc_rates, tier2

COEFFICIENTS = load_handbook()


def covers() -> st.SearchStrategy[np.ndarray]:
    return st.lists(st.booleans(), min_size=12, max_size=12).map(np.array)


@st.composite
def grounds(draw: st.DrawFn) -> dict:
    """Any soil in any climate that is not frozen all year."""
    temperature = draw(a_year(-25.0, 33.0))
    temperature[draw(st.integers(0, 11))] = draw(st.floats(2.0, 33.0))
    return {
        "temperature_c": temperature,
        "rain_mm": draw(a_year(0.0, 250.0)),
        "pan_mm": draw(a_year(0.0, 280.0)),
        "covered": draw(covers()),
        "clay_pct": draw(st.floats(0.0, 90.0)),
        "depth_cm": draw(st.floats(10.0, 60.0)),
    }


def months_of(ground: dict) -> np.ndarray:
    return rothc.month_matrices(rothc_rates.monthly_rates(**ground), ground["clay_pct"])


def fixed(split: np.ndarray = CROPS, month: int = 10, yearly: float = 1.0) -> np.ndarray:
    return rothc.in_month(yearly, month, split)


def loop(ground: dict, inputs: np.ndarray, years: int, pools: np.ndarray) -> list[list[float]]:
    """Run the plain loop after the soil's moisture has settled; return the pools at the end of each year."""
    soil = Soil(ground["clay_pct"], ground["depth_cm"])
    weather = list(
        zip(*(ground[key].tolist() for key in ("temperature_c", "rain_mm", "pan_mm", "covered")), strict=True)
    )
    for _ in range(1000):
        before = soil.deficit
        for _, rain, pan, crop in weather:
            soil.moisture(rain, pan, crop)
        if soil.deficit == before:
            break
    soil.pools = dict(zip(soil.pools, pools.tolist(), strict=True))
    found = []
    for _ in range(years):
        for (temperature, rain, pan, crop), brings in zip(weather, inputs.tolist(), strict=True):
            soil.month(temperature, rain, pan, crop, brings)
        found.append(list(soil.pools.values()))
    return found


@settings(max_examples=examples(40))
@given(grounds(), a_year(0.0, 2.0), st.floats(0.2, 2.0), st.lists(st.floats(0.0, 60.0), min_size=4, max_size=4))
def test_twenty_years_are_those_of_a_plain_loop(ground, brings, ratio, pools):
    inputs = rothc.by_pool(brings, rothc.plant_split(ratio))
    found = rothc.project(np.array(pools), months_of(ground), inputs, years=20)
    assert found == pytest.approx(np.array(loop(ground, inputs, 20, np.array(pools))), rel=1e-9, abs=1e-9)


@settings(max_examples=examples(40))
@given(grounds(), st.integers(1, 12), st.floats(0.1, 12.0), st.sampled_from([CROPS, rothc.MANURE]))
def test_a_steady_state_stays_as_it_is_in_a_plain_loop(ground, month, yearly, split):
    inputs = rothc.in_month(yearly, month, split)
    steady = rothc.steady_state(months_of(ground), inputs)
    assert np.array(loop(ground, inputs, 3, steady)[-1]) == pytest.approx(steady, rel=1e-8)


@settings(max_examples=examples(60))
@given(grounds(), st.integers(1, 12), st.floats(5.0, 200.0))
def test_the_input_that_a_stock_needs_holds_it(ground, month, stock):
    months = months_of(ground)
    needed = rothc.input_to_hold(stock, rothc.stock_per_input(months, fixed(month=month)))
    held = rothc.steady_state(months, fixed(month=month, yearly=float(needed))).sum() + rothc.inert_carbon(stock)
    assert held == pytest.approx(stock, rel=1e-9)
    again = rothc.stock_held(needed, rothc.stock_per_input(months, fixed(month=month)), rothc.inert_carbon(stock))
    assert again == pytest.approx(stock, rel=1e-12)


@settings(max_examples=examples(40))
@given(grounds(), st.floats(0.1, 8.0), st.floats(0.1, 8.0))
def test_inputs_of_different_kinds_add_up(ground, plant, manure):
    months = months_of(ground)
    kinds = fixed(yearly=plant), fixed(rothc.MANURE, 4, manure)
    together = rothc.steady_state(months, kinds[0] + kinds[1])
    assert together == pytest.approx(sum(rothc.steady_state(months, kind) for kind in kinds), rel=1e-9)


@settings(max_examples=examples(40))
@given(grounds(), st.floats(20.0, 150.0), st.floats(1.0, 6.0), st.floats(0.0, 1.0))
def test_what_harvest_costs_is_the_fraction_kept_of_what_it_removes(ground, stock, returned, taken):
    months = months_of(ground)
    start = rothc.pools_of(stock, months, fixed())
    assert start.sum() == pytest.approx(stock - rothc.inert_carbon(stock), rel=1e-12)
    without = rothc.project(start, months, fixed(yearly=returned)).sum(axis=-1)
    with_harvest = rothc.project(start, months, fixed(yearly=returned * (1 - taken))).sum(axis=-1)
    assert (with_harvest <= without + 1e-9).all()
    cost = 20 * rothc.fraction_kept(months, fixed()) * returned * taken
    assert without[-1] - with_harvest[-1] == pytest.approx(cost, abs=1e-9)


def test_more_removal_never_leaves_more_carbon_and_manure_never_less():
    rng = np.random.default_rng(4)
    ground = {
        "temperature_c": rng.uniform(-10, 28, (50, 12)),
        "rain_mm": rng.uniform(0, 200, (50, 12)),
        "pan_mm": rng.uniform(0, 200, (50, 12)),
        "covered": rng.random((50, 12)) < 0.5,
        "clay_pct": rng.uniform(5, 60, 50),
        "depth_cm": 30.0,
    }
    months = months_of(ground)
    start = rothc.pools_of(np.full(50, 80.0), months, fixed())
    by_removal = np.array([rothc.project(start, months, fixed(yearly=4.0 - taken)).sum(-1) for taken in range(5)])
    assert (np.diff(by_removal, axis=0) < 0).all()
    with_manure = rothc.project(start, months, fixed(yearly=2.0) + fixed(rothc.MANURE, 4, 1.0)).sum(-1)
    assert (with_manure > by_removal[2]).all()
    # manure is partly decomposed: never worth less than stover in the same month
    assert (rothc.stock_per_input(months, fixed(rothc.MANURE)) > rothc.stock_per_input(months, fixed())).all()


def stock_held_by_one(**ground: object) -> float:
    return float(rothc.stock_per_input(months_of(ground), fixed()))


@settings(max_examples=examples(60))
@given(grounds(), st.integers(0, 11), st.floats(0.1, 15.0))
def test_a_warmer_month_never_holds_more_carbon(ground, month, by):
    warmer = ground["temperature_c"] + by * (np.arange(12) == month)
    assert stock_held_by_one(**ground | {"temperature_c": warmer}) <= stock_held_by_one(**ground) * (1 + 1e-12)


@settings(max_examples=examples(60))
@given(grounds(), st.integers(0, 11), st.floats(0.1, 150.0))
def test_a_wetter_month_never_holds_more_carbon(ground, month, by):
    wetter = ground["rain_mm"] + by * (np.arange(12) == month)
    assert stock_held_by_one(**ground | {"rain_mm": wetter}) <= stock_held_by_one(**ground) * (1 + 1e-12)


@settings(max_examples=examples(60))
@given(grounds())
def test_a_thirstier_climate_never_holds_less_carbon(ground):
    held = [stock_held_by_one(**ground | {"pan_mm": more * ground["pan_mm"]}) for more in (0.7, 1.0, 1.4)]
    assert held[0] <= held[1] * (1 + 1e-12)
    assert held[1] <= held[2] * (1 + 1e-12)


def test_a_cover_crop_in_moist_months_slows_decomposition():
    moist = {"temperature_c": np.full(12, 10.0), "rain_mm": np.full(12, 120.0), "pan_mm": np.full(12, 40.0)}
    moist |= {"clay_pct": 25.0, "depth_cm": 30.0}
    bare = stock_held_by_one(**moist, covered=np.zeros(12, bool))
    assert stock_held_by_one(**moist, covered=np.ones(12, bool)) > bare


@settings(max_examples=examples(60))
@given(grounds())
def test_moisture_lies_between_full_and_the_max_deficit_and_repeats(ground):
    max_deficit_mm = np.asarray(rothc_rates.max_deficit(ground["clay_pct"], ground["depth_cm"]))
    weather = ground["rain_mm"], ground["pan_mm"], ground["covered"]
    deficit = rothc_rates.moisture_deficits(*weather, max_deficit_mm)
    assert ((deficit <= 0) & (deficit >= max_deficit_mm)).all()
    assert (
        (rothc_rates.moisture_rate(deficit, max_deficit_mm) >= 0.2)
        & (rothc_rates.moisture_rate(deficit, max_deficit_mm) <= 1)
    ).all()
    again = rothc_rates.deficits_of_a_year(deficit[-1], *weather, max_deficit_mm)
    assert again == pytest.approx(deficit, abs=1e-9)


def test_a_deficit_that_drifts_for_years_is_followed_to_its_end():
    """Half a mm a year is missing: after some eighty years the soil is as dry as it gets, whatever the others do."""
    rain = np.array([np.full(12, 50.0), np.full(12, 50.0)])
    rain[0, 6] -= 0.5
    pan = np.full(12, 50.0 / 0.75)
    max_deficit_mm = np.asarray(rothc_rates.max_deficit(20.0, 23.0))
    drying, full = rothc_rates.moisture_deficits(rain, pan, np.ones(12, bool), max_deficit_mm)
    assert drying.min() == pytest.approx(float(max_deficit_mm))
    assert full == pytest.approx(0, abs=1e-9)


def test_soils_and_samples_at_once_are_those_one_by_one():
    rng = np.random.default_rng(1)
    temperature, rain = rng.uniform(-8, 26, (3, 12)), rng.uniform(0, 180, (3, 12))
    pan, covered = rng.uniform(0, 200, 12), np.arange(12) // 4 == 1
    clay, depth = np.array([[10.0], [25.0]]), 30.0
    rates = rothc_rates.monthly_rates(temperature, rain, pan, covered, clay, depth)
    assert rates.shape == (2, 3, 12)
    together = rothc.stock_per_input(rothc.month_matrices(rates, clay), fixed())
    for soil in range(2):
        for sample in range(3):
            alone = rothc_rates.monthly_rates(
                temperature[sample], rain[sample], pan, covered, float(clay[soil, 0]), depth
            )
            months = rothc.month_matrices(alone, float(clay[soil, 0]))
            assert together[soil, sample] == pytest.approx(rothc.stock_per_input(months, fixed()), rel=1e-12)


def test_what_is_not_known_stays_so_and_harms_no_other_soil():
    ground = {"temperature_c": np.full(12, 10.0), "rain_mm": np.full(12, 60.0), "pan_mm": np.full(12, 70.0)}
    clay = np.array([20.0, np.nan, 30.0])
    held = rothc.stock_per_input(
        months_of(ground | {"covered": np.zeros(12, bool), "clay_pct": clay, "depth_cm": 30.0}), fixed()
    )
    assert np.isnan(held).tolist() == [False, True, False]
    needed = rothc.input_to_hold(np.array([80.0, 80.0, np.nan]), held)
    assert np.isnan(needed).tolist() == [False, True, True]
    temperature = np.full(12, 10.0)
    temperature[3] = np.nan
    assert np.isnan(tier2.temperature_factor(temperature, 33.69))
    assert np.isnan(pet.thornthwaite(temperature, 42.0)).all()


def test_ground_that_is_frozen_all_year_has_no_steady_state():
    cold = {"temperature_c": np.full((2, 12), -20.0), "rain_mm": np.full(12, 20.0), "pan_mm": np.zeros(12)}
    cold["temperature_c"][1, 6] = 8.0
    months = months_of(cold | {"covered": np.zeros(12, bool), "clay_pct": 20.0, "depth_cm": 30.0})
    frozen, thawed = rothc.stock_per_input(months, fixed())
    assert np.isnan(frozen)
    assert thawed > 0
    parameters = tier2.tier2_parameters(COEFFICIENTS, "full")
    assert np.isnan(tier2.stock_per_input(parameters, 20.0, np.zeros(3)))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: rothc_rates.max_deficit(120.0, 30.0), "clay lies between 0 and 100 %"),
        (lambda: rothc_rates.max_deficit(np.array([20.0, -1.0]), 30.0), "clay lies between 0 and 100 %"),
        (lambda: rothc_rates.max_deficit(20.0, 0.0), "depth of a soil is above 0 cm"),
        (lambda: rothc.in_month(1.0, 0, CROPS), "a month is 1 to 12, not 0"),
        (lambda: pet.mean_day_length(93.0), "between -90 and 90 degrees"),
        (lambda: pet.hargreaves(np.full(12, 9.0), np.full(12, -3.0), 42.0), "day_range_c is negative"),
        (
            lambda: tier2.yearly_rates(tier2.tier2_parameters(COEFFICIENTS, "full"), 101.0, 1.0, 1.0),
            "sand lies between",
        ),
    ],
)
def test_an_impossible_value_is_an_error(call, said):
    with pytest.raises(ValueError, match=said):
        call()
