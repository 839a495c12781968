"""Speed of the choice: 200 yards x 500 zones x 12 months to a 0.5 % gap, and at half and double size.

Run it with ``python tests/benchmarks/bench_choice.py``. Seconds differ from machine to
machine, so the time of the relaxed programme on the same machine stands beside them as a
ratio; nothing is asserted about time. Each size is solved for several made-up farms.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from dataclasses import replace
from pathlib import Path

from stovergeo.supply.choice import optimise
from stovergeo.supply.model import build
from stovergeo.supply.solve import least_short, short_weights

_spec = importlib.util.spec_from_file_location("made", Path(__file__).parents[1] / "supply" / "conftest.py")
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

SIZES = ((250, 100), (500, 200), (1000, 400))
#: room in all yards over what may be taken, $ to open one, need over what may be taken
FARMS = {"roomy": (2.0, 150.0, 0.6), "dear yards, just room": (0.7, 600.0, 0.6), "short": (1.0, 600.0, 1.2)}


def run(zones: int, yards: int, farm: str, seed: int, seconds: float = 60.0) -> None:
    room, opening, need_share = FARMS[farm]
    problem = made.made_season(zones, yards, 12, seed, need_share=need_share, room=room)
    problem = replace(problem, prices=replace(problem.prices, yard_opening=opening))
    start = time.process_time()
    model = build(problem)
    built = time.process_time()
    least_short(model, short_weights(model, dict(zip(problem.terms["need"], problem.terms["kind"], strict=True))))
    relaxed = time.process_time() - built
    again = time.perf_counter(), time.process_time()
    choice = optimise(problem, gap=0.005, seconds=seconds)
    wall, cpu = time.perf_counter() - again[0], time.process_time() - again[1]
    print(
        f"{zones:5d} zones {yards:4d} yards, {farm}, seed {seed}: {model.size} variables ({int(model.whole.sum())} "
        f"whole), build {built - start:.2f} s cpu, relaxed {relaxed:.2f} s cpu, whole {cpu:.1f} s cpu "
        f"({wall:.1f} s wall, {cpu / relaxed:.0f} x relaxed), gap {100 * choice.gap:.3f} %, {choice.status}, "
        f"{choice.cost_per_mg:.2f} $/Mg, short {choice.short_bales}",
        flush=True,
    )


if __name__ == "__main__":
    seeds = range(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
    for size in SIZES:
        for name in FARMS:
            for number in seeds:
                run(*size, name, number)
