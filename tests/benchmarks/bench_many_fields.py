"""Farms of 1, 5 and 40 fields, near each other and far apart: time and memory recorded, and how they grow.

Run with ``pytest tests/benchmarks/bench_many_fields.py -s``. Memory and time must follow the ground of the fields, not
the box around them. STOVERGEO_BENCH_ZONES=60 makes the farms small.
"""

from __future__ import annotations

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from as_user import write_plan
from bench_rows import growth, row, timed
from rasterio.transform import from_origin
from shapely.affinity import rotate
from shapely.geometry import box

pytestmark = pytest.mark.benchmark
CRS, WEST, SOUTH = "EPSG:32615", 440_000.0, 4_640_000.0
SIDE_M = 500.0
SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}
#: ground over which 40 fields lie, m
BOX_M = (25_000.0, 16_000.0)
SMALL = int(os.environ.get("STOVERGEO_BENCH_ZONES", "1000")) < 100


def places(count: int, far: bool) -> list[tuple[float, float]]:
    """Return the south-west corners of fields: on a lattice that touches, or all over the box."""
    columns = 8
    if not far:
        return [(WEST + 520 * (k % columns), SOUTH + 520 * (k // columns)) for k in range(count)]
    wide, high = BOX_M[0] / columns, BOX_M[1] / 5
    rng = np.random.default_rng(5)
    order = rng.permutation(40)[:count]
    found = []
    for k in order:
        east, north = rng.uniform(0, wide - 800), rng.uniform(0, high - 800)
        found.append((WEST + wide * (k % columns) + east, SOUTH + high * (k // columns) + north))
    return found


def write_farm(folder: Path, count: int, far: bool) -> Path:
    """Write fields with heights and a yield map under them; return the plan file."""
    rng = np.random.default_rng(7)
    shapes = [rotate(box(x, y, x + SIDE_M, y + SIDE_M), rng.uniform(-4, 4)) for x, y in places(count, far)]
    fields = gpd.GeoDataFrame({"name": [f"Field {k + 1}" for k in range(count)]}, geometry=shapes, crs=CRS)
    fields.to_file(folder / "fields.gpkg")
    west, south, east, north = fields.total_bounds + np.array([-600, -600, 600, 600])
    shape = (int((north - south) / 10), int((east - west) / 10))
    x, y = np.arange(shape[1]) * 10 + west - WEST, north - SOUTH - np.arange(shape[0])[:, None] * 10
    layers = {
        "dem": 300 + 6 * np.sin(x / 700) * np.cos(y / 500) + 2 * np.sin((x + y) / 180),
        "yield": 200 + 25 * np.sin(x / 260) * np.cos(y / 330),
    }
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": CRS, "tiled": True, "compress": "deflate"}
    for name, values in layers.items():
        size = {"height": shape[0], "width": shape[1], "transform": from_origin(west, north, 10, 10)}
        with rasterio.open(folder / f"{name}.tif", "w", **profile, **size) as out:
            out.write(values.astype(np.float32), 1)
    return write_plan(
        {
            "farm": {"name": "Many", "season": 2026, "cell": "20 m" if SMALL else "5 m"},
            "layers": {
                "fields": {"path": "fields.gpkg", "name_column": "name"},
                "elevation": {"path": "dem.tif", "vertical_unit": "m"},
                "yield_raster": {"path": "yield.tif", "unit": "bu/ac at 15.5 %"},
            },
            "soil": SOIL,
            "crop": {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 1.0},
            "need": {"herd": [{"name": "cows", "head": 20 * count, "months": ["Nov", "Dec", "Jan", "Feb", "Mar"]}]},
        },
        folder,
    )


@pytest.mark.parametrize("far", [False, True], ids=["near", "far"])
def test_time_and_memory_follow_the_fields(tmp_path: Path, far: bool) -> None:
    code = (
        "import sys; from stovergeo.cli import app\n"
        "sys.argv = ['stovergeo', 'plan', {plan!r}, '--out', {out!r}]\n"
        "app(standalone_mode=False)"
    )
    counts, seconds, peaks = [1, 5, 40], [], []
    cache = tmp_path / "cache"
    for count in [1, *counts]:  # the first run of all compiles
        folder = tmp_path / f"{count} {len(seconds)}"
        folder.mkdir()
        plan = write_farm(folder, count, far)
        took, peak = timed(code.format(plan=str(plan), out=str(folder / "out")), cache)
        assert (folder / "out" / "map.html").is_file()
        seconds.append(took)
        peaks.append(peak)
    for count, took, peak in zip(counts, seconds[1:], peaks[1:], strict=True):
        row(f"{count} fields, {'far apart' if far else 'near'}", seconds=f"{took:.1f}", peak_MB=peak)
    row(f"growth with fields, {'far apart' if far else 'near'}", exponent=growth(counts, seconds[1:]))
