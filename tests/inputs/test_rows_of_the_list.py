"""Rows of the list of wrong inputs that no other file here takes up, through the reader and the command."""

from __future__ import annotations

import io
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from as_user import ask, standing, write_plan


def sound(farm) -> float:
    """Check the farm with the command: nothing to say but what it always says; return its hectares."""
    exit_code, out, err = ask("check", write_plan(farm.data, farm.folder))
    assert exit_code == 0, out + err
    assert "Nothing wrong was found." in out
    return float(farm.read().fields["area_ha"].sum())


@pytest.mark.row(17)
def test_a_pond_in_a_field_is_no_field(farm, fields):
    before = sound(farm)
    pond = shapely.box(420_100, 4_864_100, 420_150, 4_864_140)
    farm.write_fields(fields.set_geometry([fields.geometry[0].difference(pond), fields.geometry[1]], crs=32615))
    assert before - sound(farm) == pytest.approx(0.2, rel=0.002)  # 50 by 40 m; the grid's scale there is 0.9997


@pytest.mark.row(18)
def test_a_field_of_two_parts_is_one_field(farm, fields):
    before = sound(farm)
    whole = gpd.GeoDataFrame({"name": ["both"]}, geometry=[shapely.MultiPolygon(list(fields.geometry))], crs=32615)
    farm.write_fields(whole)
    assert sound(farm) == pytest.approx(before, rel=1e-9)
    assert len(farm.read().fields) == 1


@pytest.mark.row(22)
def test_outlines_with_heights_are_taken_flat(farm, fields):
    before = sound(farm)
    farm.write_fields(fields.set_geometry(shapely.force_3d(fields.geometry.to_numpy(), 300.0), crs=32615))
    assert sound(farm) == pytest.approx(before, rel=1e-9)


@pytest.mark.row(23)
def test_a_few_positions_that_are_no_number(farm, table, hear):
    spoiled = table.astype({"Longitude": object})
    spoiled.loc[:9, "Longitude"] = "inf"
    farm.write_points(spoiled)
    hear("points.no_place", "fix")


@pytest.mark.row(40)
@pytest.mark.parametrize(
    "path",
    ["http://127.0.0.1:9/fields.gpkg", "/vsicurl/http://127.0.0.1:9/a.gpkg", "s3://bucket/a.gpkg", "GPKG:fields.gpkg"],
)
def test_a_path_that_is_an_address(farm, path, hear):
    farm.layers["fields"]["path"] = path
    hear("path.remote", "refuse")


@pytest.mark.row(40)
def test_data_written_where_a_path_belongs(farm, hear):
    farm.layers["fields"]["path"] = '{"type": "FeatureCollection", "features": []}'
    hear("path.remote", "refuse")


@pytest.mark.row(41)
def test_a_description_of_another_file_under_the_name_of_a_raster(farm, hear):
    inner = "<VRTRasterBand dataType='Float32' band='1'><SimpleSource><SourceFilename>/etc/passwd</SourceFilename>"
    (farm.folder / "ground.tif").write_text(f"<VRTDataset rasterXSize='9' rasterYSize='9'>{inner}", "utf-8")
    hear("file.signature", "refuse")


@pytest.mark.row(41)
def test_a_description_of_another_file_under_the_name_of_a_layer(farm, hear):
    (farm.folder / "fields.gpkg").write_text("<OGRVRTDataSource><OGRVRTLayer name='a'/></OGRVRTDataSource>", "utf-8")
    hear("file.signature", "refuse")


def packed(**members: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


@pytest.mark.row(42)
def test_a_packed_layer_that_is_none(farm, hear):
    (farm.folder / "fields.zip").write_bytes(packed(**{"fields.shp": b"x" * 50}))
    farm.layers["fields"]["path"] = "fields.zip"
    hear("file.signature", "refuse")


@pytest.mark.row(42)
def test_an_archive_that_unpacks_to_a_thousand_times_its_size(farm, hear):
    (farm.folder / "fields.gpkg").write_bytes(packed(a=b"\0" * 20_000_000))
    hear("zip.limits", "refuse")


@pytest.mark.row(42)
def test_an_archive_that_would_write_elsewhere(farm, hear):
    (farm.folder / "fields.gpkg").write_bytes(packed(**{"../../home/a": b"x"}))
    hear("zip.limits", "refuse")


def test_a_gml_says_what_to_save_it_as(farm, fields, hear):
    fields.to_file(farm.folder / "fields.gml", driver="GML")
    farm.layers["fields"]["path"] = "fields.gml"
    hear("file.signature", "refuse")
    assert "GeoPackage" in farm.problem("file.signature").cure


@pytest.mark.row(43)
def test_a_small_file_of_a_huge_raster(farm, hear):
    with rasterio.open(
        farm.folder / "ground.tif", "w", driver="GTiff", width=60_000, height=60_000, count=1, dtype="float32",
        crs=32615, transform=Affine(0.01, 0, 420_000, 0, -0.01, 4_864_600), SPARSE_OK=True, BLOCKYSIZE=16,
    ):  # fmt: skip
        pass
    farm.write_fields(
        gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(4.2e5, 4.864e6, 4.206e5, 4.8646e6)], crs=32615)
    )
    farm.layers.pop("yield_points")
    farm.layers["yield_raster"] = {"path": "ground.tif", "unit": "t/ha dry"}
    hear("raster.too_big", "refuse")


@pytest.mark.row(44)
def test_a_link_is_followed_and_reported(farm, hear):
    (farm.folder / "fields.gpkg").rename(farm.folder / "real.gpkg")
    (farm.folder / "fields.gpkg").symlink_to(farm.folder / "real.gpkg")
    hear("path.symlink", "warn")


@pytest.mark.row(44)
def test_results_do_not_go_through_a_link(farm):
    (farm.folder / "elsewhere").mkdir()
    (farm.folder / "out").symlink_to(farm.folder / "elsewhere")
    plan = write_plan(farm.data, farm.folder)
    exit_code, _, err = ask("plan", plan, "--out", farm.folder / "out")
    assert exit_code == 2
    assert "out.not_folder" in err
    assert list((farm.folder / "elsewhere").iterdir()) == []


@pytest.mark.row(46)
def test_a_folder_that_may_not_be_written_to_is_reported_before_any_work(farm):
    plan = write_plan(farm.data, farm.folder)
    before = standing(farm.folder)
    exit_code, _, err = ask("plan", plan, "--out", "/sys/stovergeo-plan")  # nobody may make a folder there
    assert exit_code == 2
    assert "out.permission" in err
    assert standing(farm.folder) == before


@pytest.mark.row(53)
def test_a_soil_number_that_is_missing_here_and_there(farm, hear):
    halves = [shapely.box(419_500, 4_863_500, 420_200, 4_865_000), shapely.box(420_200, 4_863_500, 421_500, 4_865_000)]
    words = {"drainagecl": "Well drained", "hydgrp": "B", "flodfreqcl": "None", "pondfreqcl": "None"}
    numbers = {"kwfact": [0.32, np.nan], "tfact": [5, 5], "claytotal_r": [22, 24], "wei": [48, 48], "wtdepannmin": 200}
    soils = gpd.GeoDataFrame({**numbers, **words, "hydricrating": "No"}, geometry=halves, crs=32615)
    soils.to_file(farm.folder / "soils.gpkg")
    farm.layers["soils"] = {"path": "soils.gpkg"}
    farm.data.pop("soil")
    hear("soil.missing", "warn")


def test_a_spreadsheet_of_several_sheets_lists_them(farm, table, hear):
    with pd.ExcelWriter(farm.folder / "points.xlsx") as coefficients:
        table.to_excel(coefficients, sheet_name="Harvest", index=False)
        table.head(3).to_excel(coefficients, sheet_name="Notes", index=False)
    farm.layers["yield_points"]["path"] = "points.xlsx"
    hear("layer.choose", "refuse")
    assert "'Harvest', 'Notes'" in farm.problem("layer.choose").what
