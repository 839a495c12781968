"""The command with what it says, and a small farm made for one test."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from as_user import ask
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, box

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

CRS = "EPSG:32615"
WEST, SOUTH = 440_000.0, 4_650_000.0

#: the plan file of the farm that `write_small_farm` writes; tests add sections or spoil it
PLAN = """
[farm]
name = "small"
season = 2026
[layers.fields]
path = "fields.gpkg"
[layers.property]
path = "property.gpkg"
[layers.yield_raster]
path = "yield.tif"
unit = "bu/ac at 15.5 %"
[layers.elevation]
path = "ground.tif"
[soil]
drainage_class = "well drained"
clay_pct = 24
erodibility = "0.32 US"
tolerance = "5 ton/ac/yr"
[odds]
samples = 20
"""


def command(*words: object) -> subprocess.CompletedProcess:
    """Run the command inside the test's own process: a process of its own takes two seconds to begin."""
    return subprocess.CompletedProcess(words, *ask(*words))


def process(*words: object) -> subprocess.CompletedProcess:
    """Run the command line as a user does, in a process of its own."""
    line = [sys.executable, "-m", "stovergeo.cli", *map(str, words)]
    wide = {**os.environ, "COLUMNS": "200"}  # so that no word is broken over two lines
    return subprocess.run(line, capture_output=True, text=True, env=wide, timeout=300, check=False)


def write_small_farm(folder: Path, side_m: float = 400.0, cell_m: float = 5.0, relief: bool = True) -> dict:
    """Write a small square field with a finished yield map into a folder; return its plan as data.

    No need is stated: all that may leave is gathered, and the choice is quickly made.
    """
    field = box(WEST, SOUTH, WEST + side_m, SOUTH + side_m)
    own = field.buffer(side_m / 8, join_style="mitre")
    gpd.GeoDataFrame({"name": ["square"]}, geometry=[field], crs=CRS).to_file(folder / "fields.gpkg")
    gpd.GeoDataFrame({"name": ["own"]}, geometry=[own], crs=CRS).to_file(folder / "property.gpkg")
    count = int(side_m / cell_m) + 40
    transform = from_origin(WEST - 20 * cell_m, SOUTH + side_m + 20 * cell_m, cell_m, cell_m)
    x, y = np.meshgrid(np.linspace(-0.25, 1.25, count), np.linspace(1.25, -0.25, count))
    layers = {"yield.tif": 190 + 25 * np.sin(6 * x) * np.cos(5 * y)}
    if relief:
        layers["ground.tif"] = 300 + 4 * np.sin(4 * x) + 3 * np.cos(3 * y) + 4 * x
    profile = {
        "driver": "GTiff",
        "width": count,
        "height": count,
        "count": 1,
        "dtype": "float32",
        "crs": CRS,
        "transform": transform,
    }
    for name, values in layers.items():
        with rasterio.open(folder / name, "w", **profile) as out:
            out.write(values.astype(np.float32), 1)
            if name == "ground.tif":
                out.set_band_unit(1, "m")
    plan = {
        "farm": {"name": "small", "season": 2026, "cell": f"{cell_m} m", "margin": f"{side_m / 8} m"},
        "layers": {
            "fields": {"path": "fields.gpkg", "name_column": "name"},
            "property": {"path": "property.gpkg"},
            "yield_raster": {"path": "yield.tif", "unit": "bu/ac at 15.5 %"},
        },
        "soil": {
            "drainage_class": "well drained",
            "clay_pct": 24,
            "erodibility": "0.32 US",
            "tolerance": "5 ton/ac/yr",
        },
        "crop": {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 2.0},
        "gather": {"working_width": f"{side_m / 40} m", "min_zone": f"{side_m**2 / 1e4 / 16} ha"},
        "odds": {"samples": 60},
    }
    if relief:
        plan["layers"]["elevation"] = {"path": "ground.tif"}
    return plan


def add_surroundings(folder: Path, plan: dict, seed: int, side_m: float = 400.0) -> dict:
    """Put random trees, wells, buildings, wires, roads and water around the small farm."""
    rng = np.random.default_rng(seed)
    x, y = WEST + rng.uniform(-30, side_m + 30, 12), SOUTH + rng.uniform(-30, side_m + 30, 12)
    shapes = {
        "trees": [box(x[0], y[0], x[0] + 40, y[0] + 12)],
        "buildings": [box(x[1], y[1], x[1] + 15, y[1] + 20)],
        "dwellings": [Point(x[2], y[2])],
        "wells": [Point(x[3], y[3])],
        "water": [LineString([(x[4], y[4]), (x[5], y[5])])],
        "overhead_lines": [LineString([(x[6], y[6]), (x[7], y[7])])],
        "roads": [LineString([(WEST - 40, SOUTH - 20), (WEST + side_m + 40, SOUTH - 20)])],
    }
    for name, geometry in shapes.items():
        gpd.GeoDataFrame({"name": [name]}, geometry=geometry, crs=CRS).to_file(folder / f"{name}.gpkg")
        plan["layers"][name] = {"path": f"{name}.gpkg"}
        if name in ("trees", "buildings"):
            plan["layers"][name]["height"] = "10 m"
    return plan


def season_of(folder: Path, plan: dict) -> SeasonResult:
    """Run a season of a plan given as data."""
    return run_season(plan_from(plan, folder, Report()), Report())
