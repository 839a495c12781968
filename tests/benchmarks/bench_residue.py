"""Speed of the Monte Carlo run, against a plain reference in the same run; never as seconds.

Run with ``pytest tests/benchmarks/bench_residue.py -s``. Each test prints one row.
"""

from __future__ import annotations

import importlib.util
import os
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from bench_rows import row

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.inputs.plan.crop import Crop, Limits, Odds
from stovergeo.residue import RuleOptions, limits, methods, monte_carlo, sample_limits

pytestmark = pytest.mark.benchmark
DRAWS = int(os.environ.get("STOVERGEO_BENCH_DRAWS", "1000"))


@pytest.fixture(scope="module")
def case():
    """Forty zones in five fields on a hundred thousand cells."""
    path = Path(__file__).parents[1] / "residue" / "conftest.py"
    spec = importlib.util.spec_from_file_location("residue_farm", path)
    farm = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(farm)
    options = RuleOptions(Crop(rotation="continuous corn"), Limits(), load_handbook())
    stack = limits(farm.make_farm(300, 340, 5.0), options, Report())
    y, x = np.mgrid[0:300, 0:340]
    labels = x // 43 + 8 * (y // 60)
    zones = pd.DataFrame({"zone_id": [f"z{n}" for n in range(40)], "field_id": [f"F{n // 8}" for n in range(40)]})
    return stack, zones, labels, options, methods(options.coefficients)


def timed(case, samples):
    stack, zones, labels, options, ways = case
    start = time.perf_counter()
    run = sample_limits(stack, zones, labels, options, Odds(samples=samples, seed=3), ways)
    return time.perf_counter() - start, run


def test_draws_at_once_against_one_at_a_time(case, monkeypatch):
    together, run = timed(case, DRAWS)
    monkeypatch.setattr(monte_carlo, "_DRAWS_AT_ONCE", 1)
    one_by_one, same = timed(case, DRAWS // 20)
    row(
        f"Monte Carlo, 40 zones, {DRAWS} samples",
        seconds=f"{together:.1f}",
        times_as_long_one_draw_at_a_time=f"{20 * one_by_one / together:.1f}",
    )
    assert run.limit_mg_ha.shape == (DRAWS, 40)
    assert same.limit_mg_ha.shape == (DRAWS // 20, 40)


def test_sampled_cells_against_all_cells(case, monkeypatch):
    few, sampled = timed(case, 100)
    monkeypatch.setattr(monte_carlo, "CELLS_A_ZONE", 10**9)
    every, full = timed(case, 100)
    off = np.abs(np.percentile(sampled.limit_mg_ha, 10, axis=0) - np.percentile(full.limit_mg_ha, 10, axis=0))
    row(
        "Monte Carlo on sixty cells a zone",
        times_as_long_on_all_cells=f"{every / few:.1f}",
        P10_differs_by_at_max=f"{off.max():.3f} Mg/ha",
    )
    assert off.max() < 0.15
