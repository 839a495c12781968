"""Speed of the replay: 40 fields, 30 autumns and 200 draws, and its growth with fields and with draws.

Times are the processor's, of all threads together; a sum of squares over as many hours in the same run is the
reference. Once compiled, work must grow no faster than with fields times draws.
STOVERGEO_BENCH_DRAWS sets the largest number of draws.
"""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from bench_rows import growth, row
from made_weather import as_autumns, made_days

from stovergeo.core.coefficients import load_handbook
from stovergeo.window import Crew, FieldToBale, replay

pytestmark = pytest.mark.benchmark
DRAWS = int(os.environ.get("STOVERGEO_BENCH_DRAWS", "200"))
PAST = as_autumns(made_days())
CREW = Crew("round", balers=4, limit_pct=25, windrow_m=6.1, combine_ha_h=12, combine_from=20)
HANDBOOK = load_handbook()


def seconds(fields: int, draws: int) -> float:
    """Replay made-up fields, return the processor's seconds."""
    work = [FieldToBale(f"F{k}", 30, 200, 480, drainage_class=3 + k % 4) for k in range(fields)]
    start = time.process_time()
    replay(PAST, work, CREW, HANDBOOK, draws)
    return time.process_time() - start


def reference(hours: int) -> float:
    """Return the seconds that a sum of squares over so many hours takes."""
    numbers = np.linspace(0, 1, 10_000_000)
    start = time.process_time()
    for _ in range(max(1, hours // len(numbers))):
        np.dot(numbers, numbers)
    return time.process_time() - start


def test_the_replay_and_its_growth() -> None:
    seconds(2, 2)  # compiles
    by_draws = [(DRAWS // part, seconds(40, DRAWS // part)) for part in (4, 2, 1)]
    by_fields = [(count, seconds(count, DRAWS // 2)) for count in (10, 20, 40)]
    hours = 40 * len(PAST.years) * PAST.days * 24 * DRAWS
    row(
        f"replay, 40 fields x {len(PAST.years)} autumns x {DRAWS} draws",
        processor_seconds=f"{by_draws[-1][1]:.1f}",
        times_a_sum_of_squares=f"{by_draws[-1][1] / reference(hours):.1f}",
        growth_with_draws=growth(*zip(*by_draws, strict=True)),
        growth_with_fields=growth(*zip(*by_fields, strict=True)),
    )
    for pairs in (by_draws, by_fields):
        small, large = pairs[0], pairs[-1]
        assert large[1] / small[1] < 1.5 * large[0] / small[0]
