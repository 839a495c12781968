"""Speed of the models of soil carbon, against a plain loop over months in the same run; never as seconds.

Run with ``pytest tests/benchmarks/bench_carbon.py -s``. Each test prints one row.
"""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from bench_rows import row
from carbon_steps import Soil
from round_climate import LATITUDE, RAIN, SUMMER, TEMPERATURE

from stovergeo.core.coefficients import load_handbook
from stovergeo.residue.carbon_stock import rothc, rothc_rates, tier2
from stovergeo.residue.carbon_stock.needs import Site, carbon_needs

pytestmark = pytest.mark.benchmark
SAMPLES = int(os.environ.get("STOVERGEO_BENCH_DRAWS", "1000"))
SOILS = 12


def made_site() -> Site:
    rng = np.random.default_rng(2)
    each = (SOILS, SAMPLES)
    return Site(
        temperature_c=TEMPERATURE + rng.normal(0, 1, (*each, 1)),
        day_range_c=np.full(12, 11.0),
        rain_mm=RAIN * rng.lognormal(0, 0.1, (*each, 1)),
        latitude_deg=LATITUDE,
        covered=SUMMER,
        clay_pct=rng.uniform(8, 40, each),
        sand_pct=rng.uniform(5, 60, each),
    )


def test_all_needs_of_a_farm():
    site = made_site()
    parameters = tier2.tier2_parameters(load_handbook(), "reduced")
    times = []
    for _ in range(3):  # others may be at work on the machine: the least of three
        start = time.perf_counter()
        needs = carbon_needs(site, np.array([60.0, 100.0])[:, None, None], parameters, month=10)
        times.append(time.perf_counter() - start)
    row(f"Carbon needs, 3 models, {SOILS} soils, {SAMPLES} samples", seconds=f"{min(times):.2f}")
    assert all(np.isfinite(need).all() and need.shape == (2, SOILS, SAMPLES) for need in needs.values())


def test_twenty_years_against_a_plain_loop():
    site = made_site()
    pan = np.full(12, 80.0)
    inputs = rothc.in_month(4.0, 10, rothc.plant_split())
    start = time.perf_counter()
    rates = rothc_rates.monthly_rates(site.temperature_c, site.rain_mm, pan, SUMMER, site.clay_pct, 30.0)
    found = rothc.project(np.zeros((SOILS, SAMPLES, 4)), rothc.month_matrices(rates, site.clay_pct), inputs)[-1]
    at_once = (time.perf_counter() - start) / (SOILS * SAMPLES)

    few = min(SAMPLES, 10)
    start = time.perf_counter()
    for sample in range(few):
        soil = Soil(float(site.clay_pct[0, sample]), 30.0)
        weather = (
            site.temperature_c[0, sample].tolist(),
            site.rain_mm[0, sample].tolist(),
            pan.tolist(),
            SUMMER.tolist(),
        )
        for _ in range(3):  # the soil's moisture settles
            for _, rain, drawn, crop in zip(*weather, strict=True):
                soil.moisture(rain, drawn, crop)
        for _ in range(20):
            for month, (temperature, rain, drawn, crop) in enumerate(zip(*weather, strict=True)):
                soil.month(temperature, rain, drawn, crop, inputs[month].tolist())
        assert list(soil.pools.values()) == pytest.approx(found[0, sample], rel=1e-9)
    one_by_one = (time.perf_counter() - start) / few
    row(
        f"RothC over 20 years, {SOILS} soils, {SAMPLES} samples",
        times_as_long_in_a_plain_loop=f"{one_by_one / at_once:.0f}",
    )
