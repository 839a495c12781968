"""Speed of the choice: 200 yards x 500 zones x 12 months to a 0.5 % gap, and at half and double size.

Seconds differ from machine to machine, so the time of the relaxed program in the same run stands beside them as a
ratio; nothing is asserted about time. Each size is solved for several made-up farms. STOVERGEO_BENCH_ZONES sets the
largest number of zones (1,000 when unset), STOVERGEO_BENCH_SEEDS how many farms of each kind (1 when unset).
"""

from __future__ import annotations

import importlib.util
import os
import time
from dataclasses import replace
from pathlib import Path

import pytest
from bench_rows import growth, row

from stovergeo.supply.choice import optimize
from stovergeo.supply.model import build
from stovergeo.supply.solve import least_short, short_weights

_spec = importlib.util.spec_from_file_location("made", Path(__file__).parents[1] / "supply" / "conftest.py")
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

pytestmark = pytest.mark.benchmark
LARGEST = int(os.environ.get("STOVERGEO_BENCH_ZONES", "1000"))
SEEDS = range(int(os.environ.get("STOVERGEO_BENCH_SEEDS", "1")))
SIZES = [(LARGEST // part, 2 * LARGEST // (5 * part)) for part in (4, 2, 1)]  # zones, yards
#: room in all yards over what may be taken, $ to open one, need over what may be taken
FARMS = {"roomy": (2.0, 150.0, 0.6), "dear yards, just room": (0.7, 600.0, 0.6), "short": (1.0, 600.0, 1.2)}


def solved(zones: int, yards: int, farm: str, seed: int) -> float:
    """Solve one farm's season, print its row, return the processor's seconds it took."""
    room, opening, need_fraction = FARMS[farm]
    problem = made.made_season(zones, yards, 12, seed, need_fraction=need_fraction, room=room)
    problem = replace(problem, prices=replace(problem.prices, yard_opening=opening))
    model = build(problem)
    built = time.process_time()
    least_short(model, short_weights(model, dict(zip(problem.terms["need"], problem.terms["kind"], strict=True))))
    relaxed = time.process_time() - built
    again = time.perf_counter(), time.process_time()
    choice = optimize(problem, gap=0.005, seconds=60.0)
    wall, cpu = time.perf_counter() - again[0], time.process_time() - again[1]
    row(
        f"choice, {zones} zones x {yards} yards x 12 months, {farm}, seed {seed}",
        variables=f"{model.size} ({int(model.whole.sum())} whole)",
        times_the_relaxed_program=f"{cpu / relaxed:.1f}",
        seconds_of_the_clock=f"{wall:.2f}",
        gap_pct=f"{100 * choice.gap:.3f}",
        ended=f"{choice.status}, {choice.cost_per_mg:.2f} $/Mg, short {choice.short_bales} bales",
    )
    assert choice.gap <= 0.005 or wall > 59, "a gap that stays open must have used up its time"
    return cpu


@pytest.mark.parametrize("farm", FARMS)
def test_the_choice_and_its_growth(farm: str) -> None:
    for seed in SEEDS:
        took = [solved(zones, yards, farm, seed) for zones, yards in SIZES]
        pairs = [zones * yards for zones, yards in SIZES]
        row(f"choice, {farm}, seed {seed}", growth_exponent_with_pairs_of_zone_and_yard=growth(pairs, took))
