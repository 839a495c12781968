"""What the plan says of clouds, bare trees and culverts reaches the terrain."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString, box
from small_farm import CRS, SOUTH, WEST, season_of, write_small_farm

from stovergeo.core.errors import InputError


@pytest.fixture
def plan(tmp_path: Path) -> dict:
    plan = write_small_farm(tmp_path)
    grove = box(WEST + 150, SOUTH + 150, WEST + 250, SOUTH + 165)
    gpd.GeoDataFrame({"name": ["grove"]}, geometry=[grove], crs=CRS).to_file(tmp_path / "trees.gpkg")
    plan["layers"]["trees"] = {"path": "trees.gpkg", "height": "15 m"}
    return plan


def test_clouds_take_energy_and_leave_the_share_of_open_ground(tmp_path: Path, plan: dict) -> None:
    clear = season_of(tmp_path, plan).stack
    plan["storage"] = {"sunshine_h": [4.0] * 12}
    cloudy = season_of(tmp_path, plan).stack
    assert float(cloudy["sun_kwh_m2"].mean()) < 0.7 * float(clear["sun_kwh_m2"].mean())
    assert float(cloudy["sun_fraction"].median()) == pytest.approx(float(clear["sun_fraction"].median()), abs=0.03)


def test_more_sunshine_than_daylight_is_refused(tmp_path: Path, plan: dict) -> None:
    plan["storage"] = {"sunshine_h": [20.0] * 12}
    with pytest.raises(InputError, match="day has"):
        season_of(tmp_path, plan)


def test_bare_trees_let_sun_through_behind_them_and_nowhere_else(tmp_path: Path, plan: dict) -> None:
    dense = season_of(tmp_path, plan).stack["sun_fraction"]
    plan["layers"]["trees"]["bare_light_pct"] = 60
    bare = season_of(tmp_path, plan).stack["sun_fraction"]
    north = {"x": WEST + 200, "y": SOUTH + 172}
    far = {"x": WEST + 20, "y": SOUTH + 380}
    assert float(bare.sel(north, method="nearest")) > float(dense.sel(north, method="nearest")) + 0.05
    assert float(bare.sel(far, method="nearest")) == pytest.approx(float(dense.sel(far, method="nearest")), abs=0.01)


def test_a_culvert_drains_what_a_road_dams(tmp_path: Path, plan: dict) -> None:
    with rasterio.open(tmp_path / "ground.tif") as raster:
        profile, rows = raster.profile, raster.height
    valley = np.broadcast_to(np.linspace(310, 300, rows)[:, None], (rows, rows)).copy()
    valley += 0.02 * np.abs(np.arange(rows) - rows / 2)[None, :]
    valley[rows // 2 - 1 : rows // 2 + 1] += 2  # a road bank across it
    with rasterio.open(tmp_path / "ground.tif", "w", **profile) as raster:
        raster.write(valley.astype(np.float32), 1)
        raster.set_band_unit(1, "m")
    dammed = float(season_of(tmp_path, plan).stack["ponding_m"].max())
    middle = LineString([(WEST + 200, SOUTH + 225), (WEST + 200, SOUTH + 175)])
    gpd.GeoDataFrame({"name": ["pipe"]}, geometry=[middle], crs=CRS).to_file(tmp_path / "culverts.gpkg")
    plan["layers"]["culverts"] = {"path": "culverts.gpkg"}
    drained = float(season_of(tmp_path, plan).stack["ponding_m"].max())
    assert dammed > 0.5
    assert drained < 0.2 * dammed
