"""The whole job on the sample farm: time and memory recorded, never asserted.

Run with ``pytest tests/benchmarks/bench_sample_farm.py -s``. The first run starts with an empty cache of
compiled kernels, as on a fresh machine; the second finds it filled. The reference is what a fresh process needs to
import the general libraries alone, measured in the same run.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from bench_rows import row, timed

pytestmark = pytest.mark.benchmark


def test_first_and_second_run(tmp_path: Path) -> None:
    whole = (
        "import sys; from stovergeo.cli import app\n"
        "sys.argv = ['stovergeo', 'plan', '--out', {out!r}]\n"
        "app(standalone_mode=False)"
    )
    cache = tmp_path / "cache"
    imports, _ = timed("import geopandas, rasterio, xarray, numba, scipy.optimize, pvlib, folium", cache)
    for name in ("first", "second"):
        seconds, peak = timed(whole.format(out=str(tmp_path / name)), cache)
        assert (tmp_path / name / "map.html").is_file()
        row(
            f"sample farm, {name} run",
            seconds=f"{seconds:.1f}",
            times_the_bare_imports=f"{seconds / imports:.1f}",
            peak_MB=peak,
        )
