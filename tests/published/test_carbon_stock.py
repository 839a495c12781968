"""RothC and potential evapotranspiration against published tables and worked examples.

READ: seen in the source named. CALC: arithmetic from the stated equations. MEM: from memory, not read again.
Sources: A, the open reference code of RothC (Apache 2.0; its inputs and results as facts). D, Coleman, Prout & Milne
2024, the RothC model description. P, an open evapotranspiration library and its tests, after FAO 56 and Watson,
Hydrology, pp. 435-436.
"""

import numpy as np
import pytest
from round_climate import (
    CROPS,
    HARGREAVES,
    RAIN,
    SUMMER,
    TEMPERATURE,
    THORNTHWAITE,
    months,
    months_but,
    per_input,
    round_months,
    tier2_of,
)

from stovergeo.residue.carbon_stock import evapotranspiration as pet
from stovergeo.residue.carbon_stock import rothc, rothc_rates, tier2
from stovergeo.residue.carbon_stock.rothc_rates import PAN

# ---- potential evapotranspiration -----------------------------------------------------------------


# P, READ; the textbook's months all have thirty days, ours have their own (CALC)
def test_thornthwaite_of_the_textbook():
    temperature = months("2.1 2.5 4.8 7.1 8.3 10.7 13.4 14.5 11.1 8.2 5.4 3.7")
    length = months("9.4 10.6 11.9 13.4 14.6 15.2 14.9 13.9 12.6 11.1 9.8 9.1")
    found = pet.thornthwaite_from_days(temperature, length)[:6]
    assert found == pytest.approx(months("10.96 13.07 29.35 45.61 59.16 75.04"), abs=0.005)
    assert found == pytest.approx(months("10.67 14.08 28.49 45.85 57.47 75.20"), abs=2)


def test_hargreaves_and_the_radiation_above_the_air():
    assert pet.hargreaves_a_day(35.0, 10.0, 38.93715) == pytest.approx(6.1008, abs=5e-5)  # P, READ 6.1; CALC
    assert pet.hargreaves_a_day(20.7, 11.8, 40.6) == pytest.approx(5.04, abs=0.005)  # inputs READ; CALC
    assert pet.extraterrestrial_radiation(-20.0, 246) == pytest.approx(32.2, abs=0.05)  # FAO 56, example 8, READ


# ---- RothC: the open reference code (A, READ; the exact column CALC) ------------------------------

A_TEMPERATURE = months("3.73 3.08 5.49 7.4 10.94 14.4 16.28 16.24 13.78 9.51 6.22 4.09")
A_RAIN = months("52.2 42.9 35.2 52 64.9 46.3 63.5 60.6 58.8 63.4 72.5 60.9")
A_PAN = months("6.6 17.3 40.7 70.5 103.5 117.3 130.1 106.9 61.9 29.5 8.8 3.9")
A_INERT = 3.0041
A_SPUN_UP = np.array([0.145466, 5.678121, 0.740594, 27.642769])


def a_matrices():
    rates = rothc_rates.monthly_rates(A_TEMPERATURE, A_RAIN, A_PAN, months_but(9), 13.0, 25.0)
    return rothc.month_matrices(rates, 13.0)


def test_rate_modifiers_of_the_reference_climate():
    max_deficit_mm = rothc_rates.max_deficit(13.0, 25.0)
    deficit = rothc_rates.moisture_deficits(A_RAIN, A_PAN, months_but(9), max_deficit_mm)
    expected_a = ".383041 .331114 .545565 .757088 1.236432 1.794533 2.125875 2.118658 1.689152 1.030179 .622199 .413690"
    assert rothc_rates.temperature_rate(A_TEMPERATURE) == pytest.approx(months(expected_a), abs=5e-7)
    expected_s = "0 0 0 -.875 -13.6 -38.2717 -38.2717 -38.2717 -25.8967 0 0 0"
    assert deficit == pytest.approx(months(expected_s), abs=5e-5)
    expected_b = "1 1 1 1 1 .2 .2 .2 .665246 1 1 1"
    assert rothc_rates.moisture_rate(deficit, max_deficit_mm) == pytest.approx(months(expected_b), abs=5e-7)


def test_steady_state_of_the_reference_climate():
    added = rothc.in_month(1.74, 8, CROPS)
    pools = rothc.steady_state(a_matrices(), added)
    assert pools == pytest.approx([0.145466, 5.678121, 0.740594, 27.642903], abs=5e-7)
    assert pools.sum() + A_INERT == pytest.approx(37.2111843, abs=5e-8)
    per_input = rothc.stock_per_input(a_matrices(), added)
    assert per_input == pytest.approx(19.659244, abs=5e-7)
    assert (37.2110503 - A_INERT) / per_input == pytest.approx(1.739993, abs=5e-7)
    # the code stops when it hardly changes any more, a little below the steady state
    assert pools == pytest.approx(A_SPUN_UP, abs=2e-4)


YEARS = {
    1939: (
        "3.99 5.37 5.46 8.3 10.53 13.55 15.56 16.06 14.07 7.91 8.47 2.36",
        "114.5 30.7 51.6 90.3 40.4 74.9 59.8 96.4 25.2 103.6 105.4 58",
        "8.2 17.2 43.1 68.2 99.3 112.5 128.9 104.4 64.2 27.7 12.9 3.6",
        "0 0 0 0 0 0 0 1.4643 0 0 0 0",
        (9, 10),
        (0.073021, 5.422155, 0.713380, 27.605975, 36.818631),
    ),
    1940: (
        "-2.6 1.61 5.97 8.52 12.14 15.66 14.77 15.47 12.62 8.8 6.39 3.03",
        "56.1 52.9 79.1 69.7 45.8 35.4 82.2 6 29.7 81.4 189.3 46.2",
        "2.4 18.2 47.1 78.9 105.3 120.3 124.7 111.3 62.9 28.1 6 3",
        "0 0 0 .0571 .0571 .0571 .0571 .0571 .2854 0 0 0",
        (),
        (0.108287, 5.202866, 0.678883, 27.559986, 36.554121),
    ),
    1941: (
        "-.03 3.28 4.5 6.18 8.42 15.01 17.53 14.5 13.95 9.84 6.25 4.94",
        "74.8 55.9 88.3 45.6 58.6 40.9 67.8 105 25.5 52.5 69.6 42.8",
        "4 16.1 43 73.9 104.3 120.8 134.9 102.9 65.7 29.5 10.2 4.4",
        "0 0 0 0 0 0 0 0 1.3266 0 0 0",
        (1, 2, 3, 4, 10, 11, 12),
        (0.126620, 4.993598, 0.650737, 27.499397, 36.274451),
    ),
}
# totals within 1939, by number of months that have passed
WITHIN_1939 = {1: 37.145212, 2: 37.064672, 3: 36.988466, 4: 36.875406, 8: 37.997750}


def test_three_years_of_weather_of_the_reference_code():
    """The soil's moisture goes from one year into the next."""
    max_deficit_mm = np.asarray(rothc_rates.max_deficit(13.0, 25.0))
    pools, moisture = A_SPUN_UP, np.zeros(())
    for year, (temperature, rain, pan, brings, bare, expected) in YEARS.items():
        covered = months_but(*bare)
        deficit = rothc_rates.deficits_of_a_year(moisture, months(rain), months(pan), covered, max_deficit_mm)
        rates = rothc_rates.temperature_rate(months(temperature)) * rothc_rates.moisture_rate(deficit, max_deficit_mm)
        matrices = rothc.month_matrices(rates * rothc_rates.cover_rate(covered), 13.0)
        added = rothc.by_pool(months(brings), CROPS)
        if year == 1939:
            state = pools
            for number in range(1, 13):
                state = matrices[number - 1] @ state + added[number - 1]
                if number in WITHIN_1939:
                    assert state.sum() + A_INERT == pytest.approx(WITHIN_1939[number], abs=2e-6)
        (pools,) = rothc.project(pools, matrices, added, years=1)
        moisture = deficit[-1]
        assert [*pools, pools.sum() + A_INERT] == pytest.approx(expected, abs=2e-6), year


# ---- RothC: the model description's own example (D, READ; temperatures MEM, they reproduce the printed pools)

B_COVERED = months_but(8, 9, 10, 11)
B_RAIN = months("74 59 62 51 52 57 34 55 58 56 75 71")
B_PAN = months("8 10 27 49 83 99 103 91 69 34 16 8")
B_TEMPERATURE = months("3.4 3.6 5.1 7.3 11.0 13.9 16.0 16.0 13.5 10.2 6.1 4.6")


def test_example_of_the_model_description():
    max_deficit_mm = rothc_rates.max_deficit(23.4, 23.0)
    assert max_deficit_mm == pytest.approx(-44.94, abs=0.005)
    assert rothc.gas_ratio(23.4) == pytest.approx(3.51, abs=0.005)
    deficit = rothc_rates.moisture_deficits(B_RAIN, B_PAN, B_COVERED, max_deficit_mm)
    assert deficit == pytest.approx(months("0 0 0 0 -10.25 -27.50 -44.94 -44.94 -38.69 -8.19 0 0"), abs=0.005)
    rates = rothc_rates.monthly_rates(B_TEMPERATURE, B_RAIN, B_PAN, B_COVERED, 23.4, 23.0)
    pools = rothc.steady_state(rothc.month_matrices(rates, 23.4), rothc.by_pool(0.212 * B_COVERED, CROPS))
    assert pools == pytest.approx([0.1533, 4.4852, 0.6671, 25.8576], abs=5e-5)
    assert pools.sum() + 2.7 == pytest.approx(33.863203, abs=5e-7)


def test_thornthwaite_is_drier_than_the_pan_at_the_sites_of_the_model():
    """Pan: A and D, READ; both lie near 51.8 N (MEM)."""
    assert PAN * np.array([A_PAN.sum(), B_PAN.sum()]) == pytest.approx([523, 448], abs=0.5)
    found = pet.thornthwaite(np.array([A_TEMPERATURE, B_TEMPERATURE]), 51.8).sum(axis=-1)
    assert found == pytest.approx([620, 617], abs=0.5)


def test_tables_of_the_equations():
    """Inert carbon of 33.8 is printed (D, READ); the rest CALC."""
    assert rothc.inert_carbon(33.8) == pytest.approx(2.70167, abs=5e-6)
    stocks = np.array([40.0, 60.0, 80.0, 100.0])
    assert rothc.inert_carbon(stocks) == pytest.approx([3.273, 5.194, 7.208, 9.294], abs=5e-4)
    clays = np.array([10.0, 20.0, 25.0, 30.0, 35.0])
    assert rothc.gas_ratio(clays) == pytest.approx([4.3070, 3.6443, 3.4640, 3.3423, 3.2601], abs=5e-5)
    warmth = np.array([-5.0, 0.0, 5.0, 10.0, 15.0, 20.0, 25.0])
    expected = [0.01619, 0.14387, 0.49713, 1.09904, 1.89845, 2.82149, 3.80198]
    assert rothc_rates.temperature_rate(warmth) == pytest.approx(expected, abs=5e-6)
    assert rothc_rates.temperature_rate(np.array([-5.01, -18.27, -40.0])) == pytest.approx(0)


# ---- both models in a round climate of the Corn Belt (inputs ours; CALC) --------------------------


def test_evapotranspiration_of_the_round_climate():
    expected = "0 0 7.1 41.0 89.0 130.1 145.8 125.7 84.8 41.7 7.6 0"
    np.testing.assert_allclose(THORNTHWAITE, months(expected), atol=0.05)
    assert THORNTHWAITE.sum() == pytest.approx(672.8, abs=0.05)
    expected = "13.7 21.2 51.5 91.6 135.8 158.5 161.6 139.2 102.5 62.6 28.8 15.5"
    np.testing.assert_allclose(HARGREAVES, months(expected), atol=0.05)
    assert HARGREAVES.sum() == pytest.approx(982.5, abs=0.05)


def test_round_climate_month_by_month():
    max_deficit_mm = rothc_rates.max_deficit(25.0, 30.0)
    deficit = rothc_rates.moisture_deficits(RAIN, THORNTHWAITE / PAN, SUMMER, max_deficit_mm)
    assert deficit == pytest.approx(months("0 0 0 0 0 -.14 -33.92 -41.66 -46.50 -21.17 0 0"), abs=0.005)
    moist = rothc_rates.moisture_rate(deficit, max_deficit_mm)
    assert moist[6:9] == pytest.approx([0.8299, 0.6453, 0.5297], abs=5e-5)
    rates = rothc_rates.monthly_rates(TEMPERATURE, RAIN, THORNTHWAITE / PAN, SUMMER, 25.0, 30.0)
    assert rates.mean() == pytest.approx(0.8870, abs=5e-5)
    pools = rothc.steady_state(round_months(), rothc.in_month(1.0, 10, CROPS))
    assert pools == pytest.approx([0.4330, 1.7380, 0.2261, 8.7855], abs=5e-5)


RYE = SUMMER | months_but(5, 6, 7, 8, 9, 10)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, 11.1825),
        ({"water": HARGREAVES}, 17.865),
        ({"water": 0.73 * THORNTHWAITE}, 9.711),
        ({"water": 0 * THORNTHWAITE}, 9.711),
        ({"covered": SUMMER | (np.arange(12) == 4)}, 12.073),
        ({"covered": SUMMER & (np.arange(12) != 8)}, 10.445),
        ({"covered": RYE}, 11.962),
        ({"clay": 20.0}, 11.264),
        ({"clay": 20.0, "depth": 20.0}, 13.740),
        ({"depth": 20.0}, 13.905),
        ({"clay": 15.0, "depth": 23.0}, 12.899),
        ({"clay": 22.0, "depth": 23.0}, 13.091),
        ({"clay": 28.0, "depth": 23.0}, 12.844),
        ({"split": rothc.plant_split(rothc.ROUGH_GRASS)}, 11.851),
        ({"split": rothc.plant_split(rothc.TREES)}, 12.564),
        ({"month": 4}, 10.396),
        ({"month": 6}, 10.592),
        ({"month": 11}, 11.313),
        ({"split": rothc.MANURE}, 12.589),
    ],
)
def test_stock_for_each_input_in_the_round_climate(changes, expected):
    assert per_input(**changes) == pytest.approx(expected, abs=5e-4)


def test_worth_of_manure_against_stover():
    assert per_input(split=rothc.MANURE) / per_input() == pytest.approx(1.1258, abs=5e-5)


def test_input_that_a_stock_needs():
    stocks = np.array([40.0, 60.0, 80.0, 100.0])
    assert rothc.input_to_hold(stocks, per_input()) == pytest.approx([3.284, 4.901, 6.509, 8.111], abs=5e-4)


@pytest.mark.parametrize(
    ("years", "plant", "manure", "full", "reduced", "no_till"),
    [
        (10, 0.3214, 0.3584, 0.147, 0.186, 0.285),
        (12, 0.2916, 0.3258, 0.133, 0.167, 0.258),
        (18, 0.2346, 0.2628, 0.109, 0.132, 0.203),
        (20, 0.2219, 0.2487, 0.104, 0.125, 0.190),
    ],
)
def test_share_of_added_carbon_that_stays(years, plant, manure, full, reduced, no_till):
    for split, expected in ((CROPS, plant), (rothc.MANURE, manure)):
        kept = rothc.fraction_kept(round_months(), rothc.in_month(2.0, 10, split), years)
        assert kept == pytest.approx(expected, abs=5e-5)
    for tillage, expected in (("full", full), ("reduced", reduced), ("no_till", no_till)):
        assert tier2.fraction_kept(*tier2_of(tillage), years) == pytest.approx(expected, abs=5e-4)
