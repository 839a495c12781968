"""Elevation in tiles: a folder or a list, overlapping, in other reference systems; one ground as from one raster."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
import xarray as xr
from rasterio.transform import from_origin
from rasterio.warp import Resampling, calculate_default_transform, reproject
from shapely.geometry import box

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers

CRS = "EPSG:32633"
WEST, SOUTH = 500_000, 5_300_000
CELL = 10


def ground(west: int, north: int, wide: int, high: int) -> np.ndarray:
    """Heights that hang on the place, in cells of 10 m from a corner."""
    x = west + (np.arange(wide) + 0.5) * CELL - WEST
    y = north - (np.arange(high) + 0.5) * CELL - SOUTH
    return (250 + 6 * np.sin(x / 150)[None, :] + 4 * np.cos(y / 110)[:, None]).astype(np.float32)


def write(path: Path, heights: np.ndarray, west: int, north: int, crs: str = CRS) -> None:
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": crs, "nodata": np.nan}
    rows, cols = heights.shape
    transform = from_origin(west, north, CELL, CELL)
    with rasterio.open(path, "w", width=cols, height=rows, transform=transform, **profile) as file:
        file.write(heights, 1)


def tile(folder: Path, name: str, west: int, north: int, wide: int = 60, high: int = 60) -> None:
    write(folder / name, ground(west, north, wide, high), west, north)


def four(folder: Path) -> list[str]:
    """Four tiles that overlap by 100 m and hold the fields and their surroundings."""
    folder.mkdir(exist_ok=True)
    for i, (dx, dy) in enumerate([(-100, 1000), (400, 1000), (-100, 500), (400, 500)]):
        tile(folder, f"t{i}.tif", WEST + dx, SOUTH + dy)
    tile(folder, "elsewhere.tif", WEST + 50_000, SOUTH)
    return [f"{folder.name}/{p.name}" for p in sorted(folder.iterdir())]


def heights(folder: Path, path: object, **more: object) -> tuple[xr.DataArray, Report]:
    fields = gpd.GeoDataFrame({"name": ["a"]}, geometry=[box(WEST, SOUTH + 50, WEST + 700, SOUTH + 750)], crs=CRS)
    fields.to_file(folder / "fields.gpkg")
    data = {
        "farm": {"name": "t", "season": 2026, "cell": "10 m"},
        "layers": {"fields": {"path": "fields.gpkg"}, "elevation": {"path": path, "vertical_unit": "m", **more}},
        "yields": {"everywhere": "9 t/ha"},
        "soil": {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.3 US", "tolerance": "5 ton/ac/yr"},
    }
    report = Report()
    farm = read_layers(plan_from(data, folder, report), report)
    report.stop_if_refused()
    return farm.elevation, report


@pytest.fixture
def whole(tmp_path: Path) -> xr.DataArray:
    tile(tmp_path, "whole.tif", WEST - 200, SOUTH + 1100, 120, 120)
    return heights(tmp_path, "whole.tif")[0]


def assert_same_ground(found: xr.DataArray, whole: xr.DataArray, off_m: float) -> None:
    at = found.interp(x=whole.x[5:-5], y=whole.y[5:-5])
    known = np.isfinite(whole[5:-5, 5:-5].to_numpy())
    assert np.abs(at.to_numpy() - whole[5:-5, 5:-5].to_numpy())[known].max() <= off_m


def test_a_folder_and_a_list_are_one_ground(tmp_path: Path, whole: xr.DataArray) -> None:
    listed = four(tmp_path / "tiles")
    for path in ("tiles", listed):
        found, report = heights(tmp_path, path)
        assert_same_ground(found, whole, 1e-3)
        assert not [p for p in report if p.code.startswith(("dem.", "overlay."))]


def test_tiles_in_another_reference_system(tmp_path: Path, whole: xr.DataArray) -> None:
    four(tmp_path / "tiles")
    for path in sorted((tmp_path / "tiles").iterdir()):
        with rasterio.open(path) as source:
            values, transform, bounds = source.read(1), source.transform, source.bounds
        to = "EPSG:3035"
        there, wide, high = calculate_default_transform(CRS, to, values.shape[1], values.shape[0], *bounds)
        out = np.full((high, wide), np.nan, np.float32)
        reproject(values, out, src_transform=transform, src_crs=CRS, dst_transform=there, dst_crs=to,
                  src_nodata=np.nan, dst_nodata=np.nan, resampling=Resampling.bilinear)  # fmt: skip
        if path.name == "t1.tif":  # one of them only: the tiles differ
            profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": to, "nodata": np.nan}
            with rasterio.open(path, "w", width=wide, height=high, transform=there, **profile) as file:
                file.write(out, 1)
    found, _ = heights(tmp_path, "tiles")
    steepest = 6 / 150 + 4 / 110
    assert_same_ground(found, whole, steepest * CELL / 2)  # within half a cell of a tile's rim its rim counts


def test_the_first_tile_that_knows_counts(tmp_path: Path) -> None:
    four(tmp_path / "tiles")
    write(tmp_path / "first.tif", np.full((60, 60), 300, np.float32), WEST - 100, SOUTH + 1000)
    found, _ = heights(tmp_path, ["first.tif", *(f"tiles/t{i}.tif" for i in range(4))])
    assert float(found.sel(x=WEST + 100, y=SOUTH + 700, method="nearest")) == pytest.approx(300)
    found, _ = heights(tmp_path, [*(f"tiles/t{i}.tif" for i in range(4)), "first.tif"])
    assert float(found.sel(x=WEST + 100, y=SOUTH + 700, method="nearest")) < 265


def test_a_gap_between_tiles_stays_unknown_and_is_told(tmp_path: Path) -> None:
    four(tmp_path / "tiles")
    (tmp_path / "tiles" / "t3.tif").unlink()
    found, report = heights(tmp_path, "tiles")
    assert np.isnan(float(found.sel(x=WEST + 650, y=SOUTH + 150, method="nearest")))
    assert "dem.partial" in [p.code for p in report]


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("empty", "raster.no_tiles"),
        (["tiles/t0.tif", "missing.tif"], "file.missing"),
        (["tiles/elsewhere.tif", "tiles/elsewhere.tif"], "overlay.empty"),
        (["tiles/t0.tif", "fields.gpkg"], "file.signature"),
        (["https://example.org/a.tif"], "path.remote"),
        (["/vsicurl/x.tif", "tiles/t0.tif"], "path.remote"),
        ([], "plan.bad_value"),
        ([3], "plan.bad_value"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(tmp_path: Path, path: object, code: str) -> None:
    (tmp_path / "empty").mkdir()
    four(tmp_path / "tiles")
    with pytest.raises(InputError) as error:
        heights(tmp_path, path)
    assert code in [p.code for p in error.value.problems]


def test_more_tiles_than_are_opened_are_refused(tmp_path: Path) -> None:
    four(tmp_path / "tiles")
    with pytest.raises(InputError, match="too_many_tiles"):
        heights(tmp_path, ["tiles/t0.tif"] * 401)


def test_a_tile_in_feet_among_tiles_in_meters_is_read_by_its_own_unit(tmp_path: Path, whole: xr.DataArray) -> None:
    four(tmp_path / "tiles")
    with rasterio.open(tmp_path / "tiles" / "t0.tif", "r+") as file:
        file.write(file.read(1) / np.float32(0.3048), 1)
        file.units = ("ft",)
    for i in range(1, 4):
        with rasterio.open(tmp_path / "tiles" / f"t{i}.tif", "r+") as file:
            file.units = ("m",)
    found, _ = heights(tmp_path, [f"tiles/t{i}.tif" for i in range(4)], vertical_unit=None)
    assert_same_ground(found, whole, 1e-2)


def test_the_fields_lie_on_known_ground(whole: xr.DataArray) -> None:
    assert np.isfinite(whole.to_numpy()).all()
    assert shapely.box(*whole.rio.bounds()).contains(box(WEST, SOUTH + 50, WEST + 700, SOUTH + 750))
