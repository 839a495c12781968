"""Speed of the yard search after terrain is known, and of its kernels; ratios, never asserted as seconds.

Run with ``pytest tests/benchmarks/bench_yards.py -s``. Growth is shown at 500, 1,000 and 2,000
cells a side, and at 4,000 with STOVERGEO_BENCH_CELLS=4000. The yardstick in the same run is one
exact distance transform by scipy on the same grid.
"""

from __future__ import annotations

import os
import resource
import time

import geopandas as gpd
import numpy as np
import pytest
import shapely
import xarray as xr
from affine import Affine
from bench_rows import growth, row
from odc.geo.geobox import GeoBox
from scipy.ndimage import distance_transform_edt, gaussian_filter, zoom
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.distance import distance_to_cells
from stovergeo.core.errors import Report
from stovergeo.core.stack import new_stack, put
from stovergeo.inputs.plan.gather import Bale
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting import find_yards, rate_ground
from stovergeo.siting.route import route_m

pytestmark = pytest.mark.benchmark
CELL, WEST, SOUTH, CRS = 5.0, 500_000.0, 4_650_000.0, "EPSG:32615"
LARGEST = int(os.environ.get("STOVERGEO_BENCH_CELLS", "2000"))
SIDES = [n for n in (500, 1000, 2000, 4000) if n <= LARGEST]
TOOK: dict[int, float] = {}  # seconds by side, in the order of SIDES


def noise(rng: np.random.Generator, cells: int) -> np.ndarray:
    """Smooth made-up ground, of the same grain in meters at every size."""
    small = gaussian_filter(rng.standard_normal((cells // 10, cells // 10)), 2, mode="wrap")
    return zoom(small / small.std(), 10, order=1)


def made_up(cells: int) -> tuple[xr.Dataset, dict[str, gpd.GeoDataFrame]]:
    """Return a rolling farm with 20 ha fields, and hazards in proportion to its area."""
    rng = np.random.default_rng(1)
    side = cells * CELL
    stack = new_stack(GeoBox((cells, cells), Affine(CELL, 0, WEST, 0, -CELL, SOUTH + side), CRS))
    z, k = noise(rng, cells), noise(rng, cells)
    x = np.broadcast_to(np.arange(cells) * CELL, (cells, cells))
    stack = put(
        stack,
        slope_pct=np.clip(4 + 2.5 * z, 0, 20),
        aspect_deg=(k * 90) % 360,
        ponding_m=np.clip(k - 1, 0, None) * 0.2,
        wetness=8 - 2 * z,
        drainage_height_m=np.clip(3 + 2 * z, 0, None),
        concentrated_flow=np.abs(z - k) < 0.005,
        sun_fraction=np.clip(1 - 0.1 * np.abs(k), 0, 1.1),
        inside_property=np.ones((cells, cells)),
        field_number=np.where(x % 600 < 540, x // 600, np.nan),
        drainage_class=np.clip(np.round(4 + k), 1, 7),
        clay_pct=np.clip(28 + 8 * k, 5, 70),
        water_table_cm=np.clip(120 - 60 * k, 0, 200),
        flooding_class=np.where(k > 2, 3, 0),
        ponding_class=np.where(k > 2.3, 2, 0),
        hydric=k > 1.8,
    )

    def some(radius: float = 0.0) -> gpd.GeoDataFrame:
        count = max(2, round(cells**2 / 200_000))
        at = rng.uniform(0, side, (count, 2)) + np.array([WEST, SOUTH])
        points = gpd.GeoSeries(shapely.points(at), crs=CRS)
        shapes = points.buffer(radius) if radius else points
        return gpd.GeoDataFrame({"name": [""] * count, "height_m": np.full(count, 12.0)}, geometry=shapes)

    def lines(step: float, upright: bool) -> gpd.GeoDataFrame:
        at = np.arange(step / 2, side, step)
        ends = [((a, 0), (a, side)) if upright else ((0, a), (side, a)) for a in at]
        shapes = [shapely.LineString(np.array(e) + np.array([WEST, SOUTH])) for e in ends]
        return gpd.GeoDataFrame({"name": [""] * len(at)}, geometry=shapes, crs=CRS)

    whole = shapely.box(WEST + 20, SOUTH + 20, WEST + side - 20, SOUTH + side - 20)
    return stack, {
        "wells": some(),
        "dwellings": some(),
        "gates": some(),
        "trees": some(20.0),
        "buildings": some(8.0),
        "water": some(60.0),
        "roads": lines(1600, False),
        "overhead_lines": lines(3000, True),
        "property": gpd.GeoDataFrame({"name": [""]}, geometry=[whole], crs=CRS),
    }


def timed(work, *args, **options):
    """Return wall seconds, processor seconds of all threads, and what the work returned."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = work(*args, **options)
    return time.perf_counter() - wall, time.process_time() - cpu, result


@pytest.fixture(scope="module", autouse=True)
def _compiled():
    stack, around = made_up(100)
    stack, ratings = rate_ground(stack, around, Yards(), Bale(), load_handbook(), Report())
    find_yards(stack, ratings, 500, Yards(), Bale(), load_handbook())


@pytest.mark.parametrize("cells", SIDES)
def test_whole_search(cells):
    stack, around = made_up(cells)
    coefficients = load_handbook()
    marked = np.random.default_rng(2).random((cells, cells)) < 1e-4
    _, yardstick, _ = timed(distance_transform_edt, ~marked)
    wall_rate, cpu_rate, (rated, ratings) = timed(rate_ground, stack, around, Yards(), Bale(), coefficients, Report())
    bales = 20_000 * cells**2 // 2000**2
    wall_find, cpu_find, found = timed(find_yards, rated, ratings, bales, Yards(), Bale(), coefficients)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    row(
        f"yard search, {cells} x {cells}",
        seconds_of_the_clock=f"rate {wall_rate:.2f}, search {wall_find:.2f}",
        times_an_exact_distance_transform=f"{(cpu_rate + cpu_find) / yardstick:.1f}",
        found=f"{len(found.yards)} yards, {found.yards['capacity_bales'].sum():,} of {bales:,} bales",
        peak_MB=f"{peak:,.0f}",
    )
    TOOK[cells] = wall_rate + wall_find
    if cells == SIDES[-1]:
        row("yard search", growth_exponent_with_cells=growth([s**2 for s in TOOK], list(TOOK.values())))
    assert len(found.yards)


def test_distance_kernel():
    rng = np.random.default_rng(2)
    marked = rng.random((2000, 2000)) < 1e-4
    _, ours, distance = timed(distance_to_cells, marked, 1.0)
    _, scipys, reference = timed(distance_transform_edt, ~marked)
    row("distance to the nearest cell, 2,000 x 2,000", times_faster_than_scipy=f"{scipys / ours:.1f}")
    assert np.allclose(distance, reference, atol=1e-3)


def test_way_kernel():
    n = 400
    rng = np.random.default_rng(3)
    hardness = 1 + np.round(rng.random((n, n)), 1)
    start = np.zeros((n, n), bool)
    start[n // 2, n // 2] = True
    route_m(start, hardness, 1.0)

    def by_scipy():
        number = np.arange(n * n).reshape(n, n)
        a, b, cost = [], [], []
        for di, dj, length in ((0, 1, 1.0), (1, 0, 1.0), (1, 1, 1.41), (1, -1, 1.41)):
            here = np.s_[: n - di, max(0, -dj) : n - max(0, dj)]
            there = np.s_[di:, max(0, dj) : n + min(0, dj)]
            a.append(number[here].ravel())
            b.append(number[there].ravel())
            cost.append(length * (hardness[here] + hardness[there]).ravel() / 2)
        graph = coo_array((np.concatenate(cost), (np.concatenate(a), np.concatenate(b))), shape=(n * n, n * n))
        return dijkstra(graph.tocsr(), directed=False, indices=number[start], min_only=True)

    _, ours, _ = timed(route_m, start, hardness, 1.0)
    _, scipys, _ = timed(by_scipy)
    row(f"way over hard and soft ground, {n} x {n}", times_faster_than_Dijkstra_of_scipy=f"{scipys / ours:.1f}")
