"""Files that are not what they should be: each is refused with what is wrong and what to do, and none ends the run."""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from as_user import ask, write_plan
from made_files import folder_members, geodatabase, gpx, kml, osm, pack, shapefile

Wrong = Callable[[Path, gpd.GeoDataFrame], str]


def empty_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", {}).name


def archive_without_a_layer(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", {"photo.jpg": b"\xff\xd8", "letter.docx": b"x"}).name


def archive_that_grows(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", shapefile(fields, folder) | {"fields.sbn": b"\0" * 30_000_000}).name


def archive_of_very_many_files(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", shapefile(fields, folder) | {f"notes/{i}.txt": b"note" for i in range(1500)}).name


def archive_in_an_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    inner = pack(folder / "inner.zip", shapefile(fields, folder))
    return pack(folder / "w.zip", {"inner.zip": inner}).name


def archive_under_another_name_in_an_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    inner = pack(folder / "inner.zip", shapefile(fields, folder))
    return pack(folder / "w.zip", {"fields.geojson": inner}).name


def archive_that_writes_elsewhere(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", shapefile(fields, folder) | {"../../escaped.txt": b"x"}).name


def archive_that_writes_to_a_drive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", shapefile(fields, folder) | {"C:\\escaped.txt": b"x"}).name


def archive_that_understates_a_size(folder: Path, fields: gpd.GeoDataFrame) -> str:
    """The list at the end of the archive says 100 bytes for a member of many megabytes."""
    path = pack(folder / "w.zip", {"fields.geojson": b"[" + b" " * 20_000_000 + b"]"})
    data = bytearray(path.read_bytes())
    entry = data.rindex(b"PK\x01\x02")
    data[entry + 24 : entry + 28] = struct.pack("<I", 100)
    path.write_bytes(bytes(data))
    return path.name


def archive_with_a_password(folder: Path, fields: gpd.GeoDataFrame) -> str:
    path = pack(folder / "w.zip", {"fields.geojson": b"{}"})
    data = bytearray(path.read_bytes())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + at] |= 1
    path.write_bytes(bytes(data))
    return path.name


def archive_cut_short(folder: Path, fields: gpd.GeoDataFrame) -> str:
    path = pack(folder / "w.zip", shapefile(fields, folder))
    path.write_bytes(path.read_bytes()[:-60])
    return path.name


def archive_of_two_layers(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", shapefile(fields, folder, "a") | shapefile(fields, folder, "b")).name


def half_a_shapefile_in_an_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", {n: p for n, p in shapefile(fields, folder).items() if not n.endswith(".dbf")}).name


def shapefile_without_its_shapes_in_an_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.zip", {n: p for n, p in shapefile(fields, folder).items() if not n.endswith(".shp")}).name


def description_of_another_file_in_an_archive(folder: Path, fields: gpd.GeoDataFrame) -> str:
    source = "<SrcDataSource>/etc/hostname</SrcDataSource>"
    text = f'<OGRVRTDataSource><OGRVRTLayer name="fields">{source}</OGRVRTLayer></OGRVRTDataSource>'
    return pack(folder / "w.zip", {"fields.gpkg": text}).name


def kmz_without_a_map(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(folder / "w.kmz", {"images/overlay.png": b"\x89PNG"}).name


def kmz_of_two_maps(folder: Path, fields: gpd.GeoDataFrame) -> str:
    inner = kml(fields, folder / "inner.kml")
    return pack(folder / "w.kmz", {"north.kml": inner, "south.kml": inner}).name


def kmz_of_a_picture(folder: Path, fields: gpd.GeoDataFrame) -> str:
    overlay = "<GroundOverlay><Icon><href>images/overlay.png</href></Icon></GroundOverlay>"
    text = f'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>{overlay}</Document></kml>'
    return pack(folder / "w.kmz", {"doc.kml": text, "images/overlay.png": b"\x89PNG"}).name


def kmz_with_entities(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return pack(
        folder / "w.kmz", {"doc.kml": '<!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/hostname">]><kml>&x;</kml>'}
    ).name


def extract_cut_short(folder: Path, fields: gpd.GeoDataFrame) -> str:
    path = osm(fields, folder / "w.osm.pbf", landuse="farmland")
    path.write_bytes(path.read_bytes()[:-40])
    return path.name


def extract_of_another_thing(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return osm(fields, folder / "w.osm", landuse="quarry").name


def extract_that_breaks_off(folder: Path, fields: gpd.GeoDataFrame) -> str:
    path = osm(fields, folder / "w.osm", landuse="farmland")
    path.write_text(path.read_text()[: path.stat().st_size // 3])
    return path.name


def receiver_without_tracks(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return gpx(folder / "w.gpx", waypoints=[("gate", (-93.99, 43.92))]).name


def receiver_without_anything(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return gpx(folder / "w.gpx").name


def receiver_with_a_way_to_town(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return gpx(
        folder / "w.gpx", tracks=[("drive", [(-93.99, 43.92), (-93.95, 43.92), (-93.95, 43.95), (-93.9, 43.95)])]
    ).name


def receiver_that_stood_still(folder: Path, fields: gpd.GeoDataFrame) -> str:
    return gpx(folder / "w.gpx", tracks=[("still", [(-93.99, 43.92)] * 5)]).name


def folder_called_a_geodatabase(folder: Path, fields: gpd.GeoDataFrame) -> str:
    (folder / "w.gdb").mkdir()
    (folder / "w.gdb" / "notes.txt").write_text("x")
    return "w.gdb"


def geodatabase_in_ruins(folder: Path, fields: gpd.GeoDataFrame) -> str:
    path = geodatabase(fields, folder / "w.gdb")
    for part in path.glob("*.gdbtable"):
        part.write_bytes(part.read_bytes()[:20])
    return "w.gdb"


def geodatabase_with_a_link_out_of_it(folder: Path, fields: gpd.GeoDataFrame) -> str:
    geodatabase(fields, folder / "w.gdb")
    (folder / "w.gdb" / "a00000099.gdbtable").symlink_to("/etc/hostname")
    return "w.gdb"


def geodatabase_of_points(folder: Path, fields: gpd.GeoDataFrame) -> str:
    points = fields.set_geometry(shapely.centroid(fields.geometry.to_numpy()), crs=fields.crs)
    path = geodatabase(points, folder / "w.gdb")
    return pack(folder / "w.zip", folder_members(path)).name


CODES: dict[Wrong, str] = {
    empty_archive: "layer.empty",
    archive_without_a_layer: "file.signature",
    archive_that_grows: "zip.limits",
    archive_of_very_many_files: "zip.limits",
    archive_in_an_archive: "zip.limits",
    archive_under_another_name_in_an_archive: "zip.limits",
    archive_that_writes_elsewhere: "zip.limits",
    archive_that_writes_to_a_drive: "zip.limits",
    archive_that_understates_a_size: "file.unreadable",
    archive_with_a_password: "file.unreadable",
    archive_cut_short: "file.unreadable",
    archive_of_two_layers: "layer.choose",
    half_a_shapefile_in_an_archive: "file.incomplete",
    shapefile_without_its_shapes_in_an_archive: "file.signature",
    description_of_another_file_in_an_archive: "file.signature",
    kmz_without_a_map: "file.signature",
    kmz_of_two_maps: "layer.choose",
    kmz_of_a_picture: "layer.empty",
    kmz_with_entities: "xml.entities",
    extract_cut_short: "file.unreadable",
    extract_of_another_thing: "layer.empty",
    extract_that_breaks_off: "file.unreadable",
    receiver_without_tracks: "layer.empty",
    receiver_without_anything: "layer.empty",
    receiver_with_a_way_to_town: "track.open",
    receiver_that_stood_still: "track.open",
    folder_called_a_geodatabase: "file.signature",
    geodatabase_in_ruins: "file.unreadable",
    geodatabase_with_a_link_out_of_it: "file.signature",
    geodatabase_of_points: "geom.type",
}


@pytest.mark.parametrize("wrong", CODES, ids=lambda w: w.__name__)
def test_a_wrong_file_is_refused_with_its_cure(farm, fields, wrong):
    farm.layers["fields"] = {"path": wrong(farm.folder, fields)}
    farm.read()
    problem = next(p for p in farm.report.refused if p.where.startswith("fields"))
    assert problem.code == CODES[wrong]
    assert problem.what_in("us").endswith((".", "?"))
    assert problem.cure.endswith(".")
    exit_code, out, err = ask("check", write_plan(farm.data, farm.folder))
    assert exit_code == 2
    assert CODES[wrong] in out + err
    assert "Traceback" not in out + err


@pytest.mark.parametrize("wrong", CODES, ids=lambda w: w.__name__)
@pytest.mark.long
@pytest.mark.parametrize("key", ["soils", "roads", "yield_points", "elevation"])
def test_a_wrong_file_is_refused_for_any_layer(farm, fields, wrong, key):
    path = wrong(farm.folder, fields)
    known = {"soils": {}, "roads": {"tags": {"highway": True}}}
    farm.layers[key] = farm.layers.get(key, known.get(key, {})) | {"path": path}
    farm.read()
    assert any(p.where.startswith(key) and p.cure for p in farm.report.refused)
    assert all(issubclass(type(p.what_in("metric")), str) for p in farm.report)


def test_sizes_are_judged_before_anything_is_unpacked(farm, monkeypatch):
    pack(farm.folder / "w.zip", {"fields.geojson": b" " * 30_000_000})
    opened = []
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *a, **k: opened.append(a))
    farm.layers["fields"] = {"path": "w.zip"}
    farm.read()
    assert farm.problem("zip.limits")
    assert opened == []
