"""One farm in every form its files may have: the same fields are read, and nothing of an archive stays behind."""

from __future__ import annotations

import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.ops
from made_files import FORMS, PLACES, geodatabase, gpx, in_form, made_fields, pack, shapefile

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers


def read(folder: Path, layers: dict, refused: bool = False) -> tuple:
    """Read layers of a farm without yield data; return them and the report."""
    data = {"farm": {"name": "t", "season": 2026, "cell": "10 m"}, "layers": layers}
    data["yields"] = {"everywhere": "9 t/ha"}
    data["soil"] = {
        "drainage_class": "well drained",
        "clay_pct": 24,
        "erodibility": "0.32 US",
        "tolerance": "5 ton/ac/yr",
    }
    report = Report()
    try:
        found = read_layers(plan_from(data, folder, report), report)
    except InputError:
        found = None
    assert bool(report.refused) == refused, [str(p) for p in report.refused]
    return found, report


def same_ground(found: gpd.GeoDataFrame, truth: gpd.GeoDataFrame) -> None:
    found = found.sort_values("name")  # some formats keep an order of their own
    assert list(found["name"]) == list(truth["name"])
    apart = found.geometry.to_numpy(), truth.to_crs(found.crs).geometry.to_numpy()
    assert shapely.area(shapely.symmetric_difference(*apart)).max() < 20  # of 60,000 m2 and more: places to 1e-7 degree


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("place", PLACES)
def test_every_form_gives_the_same_fields(tmp_path, form, place):
    truth = made_fields(place)
    path = in_form(form, truth, tmp_path)
    found, report = read(tmp_path, {"fields": {"path": path}})
    same_ground(found.fields, truth)
    said = {p.code for p in report} - {"tags.default", "track.closed"}
    assert said == set()


def test_one_of_several_layers_is_named(tmp_path):
    truth = made_fields("iowa")
    houses = truth.assign(name="house")
    pack(tmp_path / "all.zip", shapefile(houses, tmp_path, "Houses") | shapefile(truth, tmp_path, "Outlines"))
    for name in ("Outlines", "outlines", "OUTLINES.shp"):
        found, _ = read(tmp_path, {"fields": {"path": "all.zip", "layer": name}})
        same_ground(found.fields, truth)
    _, report = read(tmp_path, {"fields": {"path": "all.zip"}}, refused=True)
    assert report.refused[0].code == "layer.choose"
    assert "'Houses', 'Outlines'" in report.refused[0].what
    _, report = read(tmp_path, {"fields": {"path": "all.zip", "layer": "Trees"}}, refused=True)
    assert report.refused[0].code == "layer.unknown"


def test_one_layer_of_a_packed_file_of_several(tmp_path):
    truth = made_fields("austria")
    truth.to_file(tmp_path / "a.gpkg", layer="outlines")
    truth.assign(name="x").to_file(tmp_path / "a.gpkg", layer="other")
    pack(tmp_path / "a.zip", {"a.gpkg": tmp_path / "a.gpkg"})
    found, _ = read(tmp_path, {"fields": {"path": "a.zip", "layer": "outlines"}})
    same_ground(found.fields, truth)


def test_what_was_unpacked_is_gone_afterwards(tmp_path, monkeypatch):
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "scratch"))
    truth = made_fields("iowa")
    pack(tmp_path / "f.zip", shapefile(truth, tmp_path))
    pack(tmp_path / "bad.zip", {"fields.shp": b"\x00\x00\x27\x0a" + b"\0" * 200})
    before = sorted(p.name for p in tmp_path.iterdir())
    read(tmp_path, {"fields": {"path": "f.zip"}})
    read(tmp_path, {"fields": {"path": "bad.zip"}}, refused=True)
    assert list((tmp_path / "scratch").iterdir()) == []
    assert sorted(p.name for p in tmp_path.iterdir()) == before


@pytest.mark.parametrize("packed", [False, True])
def test_points_and_heights_may_be_packed(farm, packed):
    whole = farm.read()
    if packed:
        for key, name in (("yield_points", "points.csv"), ("elevation", "ground.tif")):
            pack(farm.folder / f"{key}.zip", {f"day 1/{name}": farm.folder / name, "notes.pdf": b"%PDF"})
            farm.layers[key]["path"] = f"{key}.zip"
    again = farm.read()
    assert farm.report.refused == []
    assert len(again.points) == len(whole.points) > 1000
    np.testing.assert_array_equal(again.elevation, whole.elevation)


def test_points_in_a_spreadsheet_say_the_same_as_in_text(farm, table):
    whole = farm.read()
    table.to_excel(farm.folder / "points.xlsx", index=False)
    pack(farm.folder / "points.zip", {"points.xlsx": farm.folder / "points.xlsx"})
    for name in ("points.xlsx", "points.zip"):
        farm.layers["yield_points"]["path"] = name
        pd.testing.assert_frame_equal(
            farm.read().points.drop(columns="geometry"), whole.points.drop(columns="geometry")
        )


# ---------------------------------------------------------------- tracks of a receiver


def walked(shape: shapely.Polygon, crs: int, left_out_m: float) -> list[tuple[float, float]]:
    """Return places every 10 m along an outline that stop so far before its end, in degrees."""
    line = shapely.ops.substring(shape.exterior.segmentize(10), 0, shape.exterior.length - left_out_m)
    degrees = gpd.GeoSeries([line], crs=crs).to_crs(4326).iloc[0]
    return [tuple(c) for c in shapely.get_coordinates(degrees)]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("left_out_m", "parts"), [(0, 1), (15, 1), (15, 3)])
def test_a_walk_around_a_field_is_its_outline(tmp_path, place, left_out_m, parts):
    truth = made_fields(place)
    tracks = [(n, walked(s, truth.crs, left_out_m)) for n, s in zip(truth["name"], truth.geometry, strict=True)]
    gpx(tmp_path / "f.gpx", tracks=tracks, waypoints=[("gate", tracks[0][1][0])], parts=parts)
    found, report = read(tmp_path, {"fields": {"path": "f.gpx"}, "gates": {"path": "f.gpx", "layer": "waypoints"}})
    assert list(found.fields["name"]) == list(truth["name"])
    # what a straight line across the gap may cut off: a corner of it
    assert found.fields["area_ha"].to_numpy() == pytest.approx(truth.area.to_numpy() / 1e4, rel=0.003)
    gap = next(p for p in report if p.code == "track.closed").what.values["gap"]
    assert max(left_out_m * 0.7, 0) <= gap <= max(left_out_m, 10.0 * (parts > 1)) * 1.01 + 0.1
    assert list(found.surroundings["gates"]["name"]) == ["gate"]


def test_a_drive_that_does_not_come_back_is_no_outline(tmp_path):
    truth = made_fields("iowa", 1)
    places = walked(truth.geometry[0], 32615, 300)
    gpx(tmp_path / "f.gpx", tracks=[("half", places)])
    _, report = read(tmp_path, {"fields": {"path": "f.gpx"}}, refused=True)
    assert report.refused[0].code == "track.open"
    assert report.refused[0].what.values["gap"] > 150


def test_tracks_are_roads_where_a_layer_wants_lines(tmp_path):
    truth = made_fields("iowa", 1)
    truth.to_file(tmp_path / "fields.gpkg")
    gpx(tmp_path / "road.gpx", tracks=[("lane", walked(truth.geometry[0], 32615, 300))])
    found, _ = read(tmp_path, {"fields": {"path": "fields.gpkg"}, "roads": {"path": "road.gpx"}})
    assert found.surroundings["roads"].geom_type.isin(["LineString", "MultiLineString"]).all()


def test_a_geodatabase_of_several_layers_asks_for_one(tmp_path):
    truth = made_fields("iowa")
    geodatabase(truth, tmp_path / "f.gdb", "outlines")
    geodatabase(truth, tmp_path / "f.gdb", "other")
    _, report = read(tmp_path, {"fields": {"path": "f.gdb"}}, refused=True)
    assert report.refused[0].code == "layer.choose"
    found, _ = read(tmp_path, {"fields": {"path": "f.gdb/", "layer": "outlines"}})
    same_ground(found.fields, truth)
