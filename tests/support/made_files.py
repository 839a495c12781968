"""One layer in the forms people have it in: packed, for the web, from a receiver, from an office."""

from __future__ import annotations

import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import shapely
from made_osm import Extract
from shapely.affinity import rotate

#: corner and CRS of farms in three zones and both hemispheres
PLACES = {
    "iowa": (420_000, 4_664_000, 32615),
    "austria": (500_000, 5_300_000, 32633),
    "victoria": (300_000, 5_900_000, 32755),
}


def made_fields(place: str, count: int = 3) -> gpd.GeoDataFrame:
    """Fields of odd outlines, one with a bay, 6 to 20 ha each."""
    west, south, crs = PLACES[place]
    boxes = [
        shapely.box(west + 500 * i, south, west + 500 * i + 300 + 40 * i, south + 250 + 60 * i) for i in range(count)
    ]
    boxes[0] = boxes[0].difference(shapely.box(west - 1, south + 100, west + 60, south + 140))
    return gpd.GeoDataFrame(
        {"name": [f"Field {chr(65 + i)}" for i in range(count)]},
        geometry=[rotate(b, 7 + 11 * i) for i, b in enumerate(boxes)],
        crs=crs,
    )


def pack(path: Path, members: dict[str, Path | bytes | str]) -> Path:
    """Write a zip archive of files, by the names they have in it."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content.read_bytes() if isinstance(content, Path) else content)
    return path


def shapefile(frame: gpd.GeoDataFrame, folder: Path, stem: str = "fields") -> dict[str, Path]:
    """Write a Shapefile into a folder of its own; return its files by name."""
    place = folder / f"parts_{stem}"
    place.mkdir()
    frame.to_file(place / f"{stem}.shp")
    return {p.name: p for p in sorted(place.iterdir())}


def folder_members(folder: Path, under: str = "") -> dict[str, Path]:
    """Return the files of a folder by their names in an archive."""
    return {
        f"{under}{folder.name}/{p.relative_to(folder).as_posix()}": p for p in sorted(folder.rglob("*")) if p.is_file()
    }


def kml(frame: gpd.GeoDataFrame, path: Path) -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the driver's remarks on column names
        frame.to_crs(4326).to_file(path, driver="LIBKML")
    return path


def geodatabase(frame: gpd.GeoDataFrame, path: Path, layer: str = "fields") -> Path:
    shapes = [shapely.MultiPolygon([s]) if s.geom_type == "Polygon" else s for s in frame.geometry]
    frame.set_geometry(shapes, crs=frame.crs).to_file(path, driver="OpenFileGDB", layer=layer)
    return path


def gpx(path: Path, *, tracks: list | tuple = (), waypoints: list | tuple = (), parts: int = 1) -> Path:
    """Write tracks (a name and its places, in `parts` segments) and waypoints (a name and its place) in degrees."""
    rows = [f'<wpt lat="{y:.9f}" lon="{x:.9f}"><name>{name}</name></wpt>' for name, (x, y) in waypoints]
    for name, places in tracks:
        size = -(-len(places) // parts)
        segments = "".join(
            "<trkseg>"
            + "".join(f'<trkpt lat="{y:.9f}" lon="{x:.9f}"><ele>300</ele></trkpt>' for x, y in places[i : i + size])
            + "</trkseg>"
            for i in range(0, len(places), size)
        )
        rows.append(f"<trk><name>{name}</name>{segments}</trk>")
    head = '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
    path.write_text(f"{head}{''.join(rows)}</gpx>", "utf-8")
    return path


def ring(shape: shapely.Polygon, step: float = 0.0) -> list[tuple[float, float]]:
    """Return the places along an outline, closer than a step where one is given."""
    line = shape.exterior if not step else shape.exterior.segmentize(step)
    return [tuple(c) for c in shapely.get_coordinates(line)]


def osm(frame: gpd.GeoDataFrame, path: Path, **tags: str) -> Path:
    extract = Extract()
    for name, shape in zip(frame["name"], frame.to_crs(4326).geometry, strict=True):
        extract.way(ring(shape), name=name, **tags)
    return extract.write(path)


def as_gpx(frame: gpd.GeoDataFrame, path: Path) -> Path:
    tracks = [(n, ring(s)) for n, s in zip(frame["name"], frame.to_crs(4326).geometry, strict=True)]
    return gpx(path, tracks=tracks)


def in_form(form: str, frame: gpd.GeoDataFrame, folder: Path) -> str:
    """Write fields in one of the forms; return the path for the plan."""
    parts = None
    if form.startswith("shp"):
        parts = shapefile(frame, folder)
    if form == "shp_zip":
        pack(folder / "f.zip", parts)
    elif form == "shp_zip_in_folders":
        pack(folder / "f.zip", {f"export 2026/doc/{n}": p for n, p in parts.items()})
    elif form == "shp_zip_of_a_mac":
        junk = {f"__MACOSX/._{n}": b"\0\5\x16\7" for n in parts} | {".DS_Store": b"x"}
        pack(folder / "f.zip", parts | junk | {"readme.txt": "outlines of 2026", "photo.jpg": b"\xff\xd8"})
    elif form == "shp_zip_in_capitals":
        pack(folder / "f.zip", {n.upper(): p for n, p in parts.items()})
    elif form == "shp_zip_windows":
        pack(folder / "f.zip", {f"out\\{n}": p for n, p in parts.items()})
    elif form == "gpkg_zip":
        frame.to_file(folder / "inner.gpkg")
        pack(folder / "f.zip", {"inner.gpkg": folder / "inner.gpkg"})
    elif form == "geojson_zip":
        frame.to_crs(4326).to_file(folder / "inner.geojson", driver="GeoJSON")
        pack(folder / "f.zip", {"a/inner.json": folder / "inner.geojson"})
    elif form in ("gdb", "gdb_zip"):
        geodatabase(frame, folder / "f.gdb")
        if form == "gdb_zip":
            pack(folder / "f.zip", folder_members(folder / "f.gdb", "delivered/"))
    elif form == "kml":
        kml(frame, folder / "f.kml")
    elif form in ("kmz", "kmz_by_another_name"):
        inner = kml(frame, folder / "inner.kml")
        name = "doc.kml" if form == "kmz" else "files/farm.kml"
        pack(folder / "f.kmz", {name: inner, "images/icon.png": b"\x89PNG"})
    elif form == "gpx":
        as_gpx(frame, folder / "f.gpx")
    elif form in ("osm", "pbf"):
        osm(frame, folder / ("f.osm" if form == "osm" else "f.osm.pbf"), landuse="farmland")
    else:
        ending, write = PLAIN[form]
        write(frame, folder / f"f.{ending}")
    found = [p.name for p in folder.iterdir() if p.name.split(".")[0] == "f"]
    return "f.shp" if "f.shp" in found else found[0]


PLAIN = {
    "geojson": ("geojson", lambda f, p: f.to_crs(4326).to_file(p, driver="GeoJSON")),
    "fgb": ("fgb", lambda f, p: f.to_file(p, driver="FlatGeobuf")),
    "geoparquet": ("parquet", lambda f, p: f.to_parquet(p)),
    "shp": ("shp", lambda f, p: f.to_file(p)),
}
FORMS = (
    "shp_zip", "shp_zip_in_folders", "shp_zip_of_a_mac", "shp_zip_in_capitals", "shp_zip_windows", "gpkg_zip",
    "geojson_zip", "gdb", "gdb_zip", "kml", "kmz", "kmz_by_another_name", "gpx", "osm", "pbf", *PLAIN,
)  # fmt: skip
