"""Opening files: a missing file is named with what is near, one trouble hides no other, and nothing is left behind."""

from __future__ import annotations

import shutil
import warnings

import geopandas as gpd
import pytest


def test_a_link_to_a_sound_file_is_read_and_reported(farm):
    (farm.folder / "link.gpkg").symlink_to("fields.gpkg")
    farm.layers["fields"]["path"] = "link.gpkg"
    assert farm.read().fields is not None
    assert "fields.gpkg" in farm.problem("path.symlink").what


def test_a_shapefile_without_its_companions_is_refused(farm, fields):
    fields.to_file(farm.folder / "f.shp")
    (farm.folder / "f.dbf").unlink()
    farm.layers["fields"]["path"] = "f.shp"
    farm.read()
    assert "f.dbf" in farm.problem("file.incomplete").what


def test_a_description_that_quotes_a_web_page_is_no_declaration(farm, fields):
    fields.to_crs(4326).to_file(farm.folder / "f.kml", driver="LIBKML")
    text = (farm.folder / "f.kml").read_text()
    page = "<description><![CDATA[<!DOCTYPE html><html><b>North</b></html>]]></description><Polygon>"
    (farm.folder / "f.kml").write_text(text.replace("<Polygon>", page, 1))
    farm.layers["fields"] = {"path": "f.kml"}
    assert farm.read().fields is not None
    assert farm.report.refused == []


@pytest.mark.parametrize(
    "folder", ["vsimon", "a vsizip", "{braces}", "100% corn", "acker_für_mais", "it's", "x.zip", "a#b", "a?b", "s3"]
)
def test_folders_of_any_name(farm, folder):
    (farm.folder / folder).mkdir()
    for key, name in (("fields", "fields.gpkg"), ("yield_points", "points.csv"), ("elevation", "ground.tif")):
        (farm.folder / name).rename(farm.folder / folder / name)
        farm.layers[key]["path"] = str(farm.folder / folder / name)
    farm.read()
    assert farm.report.refused == []


@pytest.mark.parametrize("name", ["a!canary.gpkg", "a!/canary.gpkg", "fields.zip"])
def test_a_name_that_a_library_would_take_for_a_member_of_an_archive(farm, monkeypatch, name):
    monkeypatch.chdir(farm.folder)  # such a member would be looked for from here
    (farm.folder / name).parent.mkdir(exist_ok=True)
    gpd.read_file(farm.folder / "fields.gpkg").assign(name="CANARY").to_file(farm.folder / "canary.gpkg")
    shutil.copy(farm.folder / "fields.gpkg", farm.folder / name)
    farm.layers["fields"]["path"] = name
    farm.read()
    assert "archive" in farm.problem("path.unsafe").why


def test_a_near_name_is_offered_for_a_missing_file(farm):
    farm.layers["fields"]["path"] = "feilds.gpkg"
    farm.read()
    assert "'fields.gpkg'" in farm.problem("file.missing").what


def test_a_refused_layer_does_not_hide_the_troubles_of_the_others(farm):
    farm.layers["fields"]["path"] = "nowhere.gpkg"
    del farm.layers["yield_points"]["units"]["flow"]
    del farm.layers["elevation"]["vertical_unit"]
    farm.layers["wells"] = {"path": "http://127.0.0.1:1/wells"}
    del farm.data["soil"]
    farm.read()
    refused = {p.code for p in farm.report.refused}
    assert refused == {"file.missing", "yield.unit", "dem.z_unit", "path.remote"}
    assert farm.problem("soil.none")


def test_reading_leaves_nothing_beside_the_layers(farm, fields):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fields.to_crs(4326).to_file(farm.folder / "f.kml", driver="LIBKML")
    farm.layers["property"] = {"path": "f.kml"}
    before = {p.name: p.stat().st_mtime_ns for p in farm.folder.iterdir()}
    farm.read()
    assert {p.name: p.stat().st_mtime_ns for p in farm.folder.iterdir()} == before
