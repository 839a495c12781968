"""Rows of the benchmarks: printed where they arise, and kept for the one table of `tests/benchmarks/run.py`."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

#: file that gains a line of JSON a row; not set: rows are only printed
ROWS_FILE = "STOVERGEO_BENCH_ROWS"
_PEAK = "import resource; print('peak', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)"


def row(name: str, **figures: object) -> None:
    """Print one row: what was measured at which size, and its figures, each with its unit or "times"."""
    said = {key.replace("_", " "): str(value) for key, value in figures.items()}
    print(f"\n{name}: " + ", ".join(f"{key} {value}" for key, value in said.items()))
    if ROWS_FILE in os.environ:
        with Path(os.environ[ROWS_FILE]).open("a", encoding="utf-8") as file:
            file.write(json.dumps({"name": name, "figures": said}) + "\n")


def growth(sizes: Sequence[float], times: Sequence[float]) -> str:
    """Return the exponent with which time grows with size (1: linear), from a line through the logarithms."""
    if len(sizes) < 2:
        return "one size only"
    return f"{np.polyfit(np.log(sizes), np.log(times), 1)[0]:.2f}"


def timed(code: str, cache: Path) -> tuple[float, int]:
    """Return wall seconds and peak MB of a fresh process."""
    start = time.perf_counter()
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{_PEAK}"], capture_output=True, text=True, env=environment, check=True
    )
    return time.perf_counter() - start, int(done.stdout.split("peak")[-1])
