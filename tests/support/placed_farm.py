"""A small farm on a hillside, anywhere on earth: a boundary, heights, one soil and a stated yield."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from as_user import write_plan
from frozen_farms import merged
from pyproj import Transformer
from rasterio.transform import from_origin
from shapely.geometry import LineString, box

from stovergeo.core.errors import Report
from stovergeo.inputs.crs import working_crs
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

#: latitude, longitude: the Argentine Pampas, Hungary, the north of Finland's farmland, Kenya, central Iowa, Ontario
PLACES = {
    "Pampas": (-33.5, -61.5),
    "Hungary": (47.5, 20.5),
    "Finland": (61.5, 23.5),
    "Kenya": (-0.5, 35.2),
    "Iowa": (42.0, -93.6),
    "Ontario": (43.0, -81.2),
}
WIDE_M, HIGH_M, MARGIN_M = 400.0, 300.0, 100.0
SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}
CROP = {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 2.0, "erosivity": "160 US"}


def placed_plan(
    folder: Path, place: tuple[float, float], changes: dict[str, Any] | None = None, fall: str = ""
) -> Path:
    """Write the farm and its plan file; `fall` is the side its ground falls to by 4 %, "" for level ground."""
    latitude, longitude = place
    crs = working_crs(longitude, latitude)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    west, south = round(x, -1), round(y, -1)
    shapes = {
        "fields": box(west, south, west + WIDE_M, south + HIGH_M),
        "property": box(west - 60, south - 60, west + WIDE_M + 60, south + HIGH_M + 60),
        "roads": LineString([(west - 90, south - 40), (west + WIDE_M + 90, south - 40)]),
    }
    for name, shape in shapes.items():
        gpd.GeoDataFrame({"name": [name]}, geometry=[shape], crs=crs).to_file(folder / f"{name}.gpkg")
    cols, rows = (round((side + 2 * MARGIN_M) / 10) for side in (WIDE_M, HIGH_M))
    across, down = np.meshgrid(np.arange(cols) * 10.0, np.arange(rows) * 10.0)
    heights = 100 + 0.04 * {"north": down, "south": -down, "": 0 * down}[fall] + 0.0005 * across
    profile = {"driver": "GTiff", "width": cols, "height": rows, "count": 1, "dtype": "float32"}
    corner = from_origin(west - MARGIN_M, south + HIGH_M + MARGIN_M, 10, 10)
    with rasterio.open(folder / "ground.tif", "w", crs=crs, transform=corner, **profile) as out:
        out.write(heights.astype(np.float32), 1)
    plan = {
        "farm": {"name": "Placed", "season": 2026, "cell": "10 m", "margin": "60 m"},
        "layers": {
            "fields": {"path": "fields.gpkg", "name_column": "name"},
            "elevation": {"path": "ground.tif", "vertical_unit": "m"},
            "property": {"path": "property.gpkg"},
            "roads": {"path": "roads.gpkg"},
        },
        "soil": SOIL,
        "crop": CROP,
        "yields": {"everywhere": "180 bu/ac"},
        "odds": {"samples": 40},
        "yards": {"most": 2},
        "need": {"herd": [{"name": "cows", "head": 25}]},
    }
    return write_plan(merged(plan, changes or {}), folder)


def placed_season(
    folder: Path, place: str, changes: dict[str, Any] | None = None, fall: str = ""
) -> tuple[SeasonResult, Report]:
    """Plan the season of the farm."""
    report = Report()
    return run_season(placed_plan(folder, PLACES[place], changes, fall), report), report
