"""Whatever bytes a file holds, reading ends in layers or in named problems, never in anything else.

A few examples here; `--fuzz-minutes 30` runs each harness for half an hour.
"""

from __future__ import annotations

import copy
import json
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judge_reading import ODD, read_and_judge
from long_run import harness
from made_files import as_gpx, geodatabase, osm, pack, shapefile


@harness(
    12,
    given(
        data=st.binary(max_size=400), ending=st.sampled_from(["csv", "gpkg", "tif", "geojson", "xlsx", "shp", "kml"])
    ),
)
def test_any_bytes_under_any_name(farm, data, ending):
    path = farm.folder / f"any.{ending}"
    path.write_bytes(data)
    plan = copy.deepcopy(farm.data)
    for key in ("fields", "yield_points", "elevation"):
        farm.layers[key]["path"] = path.name
    read_and_judge(farm)
    path.unlink()
    farm.data = plan


@harness(
    12,
    given(
        column=st.sampled_from(["Longitude", "Latitude", "Flow", "Cycles", "Distance", "Swath", "Moisture"]),
        values=st.lists(ODD, min_size=1, max_size=8),
        share=st.sampled_from([0.01, 0.5, 1.0]),
    ),
)
def test_any_values_in_a_column_of_points(farm, table, column, values, share):
    spoil_column_and_read(farm, table, column, values, share)


#: what long runs found, kept: (column, values, share)
FOUND_IN_POINTS = [
    ("Swath", [None], 1.0),  # a column that is there and blank: a warning of the array library reached the user
    ("Cycles", [None], 1.0),
    ("Flow", ["1e400"], 0.5),
    ("Distance", [2.2e-309], 0.01),  # grain over next to no ground: more than any number holds
    ("Distance", [2.5e307], 0.01),
]


@pytest.mark.surprise("A column that is there and blank, or numbers without end, let warnings of a library through.")
@pytest.mark.parametrize(("column", "values", "share"), FOUND_IN_POINTS)
def test_values_that_once_broke_the_reader(farm, table, column, values, share):
    spoil_column_and_read(farm, table, column, values, share)


def spoil_column_and_read(farm, table, column, values, share):
    spoiled = table.astype({column: object})
    count = max(1, int(share * len(table)))
    spoiled[column] = [values[i % len(values)] if i < count else v for i, v in enumerate(spoiled[column])]
    spoiled.to_csv(farm.folder / "points.csv", index=False, errors="surrogatepass")
    read_and_judge(farm)


COORDINATE = st.one_of(st.floats(-200, 200), st.floats(allow_nan=False), st.just(1e308))
RING = st.lists(st.lists(COORDINATE, min_size=0, max_size=3), max_size=6)
GEOMETRY = st.one_of(
    st.none(),
    st.builds(lambda r: {"type": "Polygon", "coordinates": r}, st.lists(RING, max_size=2)),
    st.builds(lambda r: {"type": "MultiPolygon", "coordinates": r}, st.lists(st.lists(RING, max_size=2), max_size=2)),
    st.builds(lambda c: {"type": "Point", "coordinates": c}, st.lists(COORDINATE, max_size=3)),
    st.builds(lambda c: {"type": "GeometryCollection", "geometries": c}, st.lists(st.none(), max_size=2)),
    st.dictionaries(st.sampled_from(["type", "coordinates"]), st.one_of(st.text(max_size=8), st.integers())),
)


@harness(
    20,
    given(
        shapes=st.lists(GEOMETRY, max_size=3),
        name=st.one_of(st.none(), st.text(max_size=20), st.integers(), st.lists(st.integers(), max_size=2)),
    ),
)
def test_any_geojson(farm, shapes, name):
    features = [{"type": "Feature", "properties": {"name": name}, "geometry": s} for s in shapes]
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (farm.folder / "any.geojson").write_text(text, encoding="utf-8", errors="surrogatepass")
    farm.layers["fields"] = {"path": "any.geojson"}
    read_and_judge(farm)


@pytest.fixture(scope="module")
def many_formats(sound_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("formats")
    fields = gpd.read_file(sound_files / "fields.gpkg")
    for ending in ("gpkg", "shp", "fgb"):
        fields.to_file(folder / f"f.{ending}")
    fields.to_crs(4326).to_file(folder / "f.geojson")
    fields.to_crs(4326).to_file(folder / "f.kml", driver="LIBKML")
    fields.to_parquet(folder / "f.parquet")
    shutil.copy(sound_files / "ground.tif", folder / "f.tif")
    pack(folder / "f.zip", {f"a/{n}": p for n, p in shapefile(fields, folder).items()})
    pack(folder / "f.kmz", {"doc.kml": folder / "f.kml"})
    as_gpx(fields, folder / "f.gpx")
    for ending in ("osm", "pbf"):
        osm(fields, folder / f"f.{ending}", landuse="farmland")
    geodatabase(fields, folder / "f.gdb")
    return folder


ENDINGS = [
    "gpkg", "shp", "dbf", "shx", "prj", "fgb", "geojson", "kml", "parquet", "tif", "zip", "kmz", "gpx", "osm", "pbf",
    "gdb/a00000001.gdbtable", "gdb/a00000004.gdbtable", "gdb/a00000009.gdbtable", "gdb/a00000009.gdbtablx",
]  # fmt: skip


@harness(
    25,
    given(
        ending=st.sampled_from(ENDINGS),
        flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=6),
        cut=st.one_of(st.none(), st.floats(0, 1)),
    ),
)
def test_a_few_wrong_bytes_in_a_sound_file(farm, many_formats, ending, flips, cut):
    spoil_and_read(farm, many_formats, ending, flips, cut)


#: what long runs found, kept: (ending, flips, cut)
FOUND_IN_BYTES = [
    ("gpkg", [(0.61328125, 128)], None),  # a byte that is no UTF-8 in the schema of a database
]


@pytest.mark.surprise("A few wrong bytes in a layer made the libraries raise what nobody caught.")
@pytest.mark.parametrize(("ending", "flips", "cut"), FOUND_IN_BYTES)
def test_bytes_that_once_broke_the_reader(farm, many_formats, ending, flips, cut):
    spoil_and_read(farm, many_formats, ending, flips, cut)


def spoil_and_read(farm, many_formats, ending, flips, cut):
    shutil.copytree(many_formats, farm.folder, dirs_exist_ok=True)
    path = farm.folder / f"f.{ending}"
    data = bytearray(path.read_bytes())
    for place, value in flips:
        data[int(place * (len(data) - 1))] = value
    path.write_bytes(bytes(data[: int(cut * len(data))] if cut is not None else data))
    if ending == "tif":
        farm.layers["elevation"]["path"] = path.name
    else:
        whole = {"dbf": "f.shp", "shx": "f.shp", "prj": "f.shp", "gdb": "f.gdb"}
        farm.layers["fields"] = {"path": whole.get(ending.split("/")[0], path.name)}
    read_and_judge(farm)


@harness(
    10,
    given(
        lines=st.lists(st.text(alphabet='ab|"\n\r\t0123456789.,-é\x00', max_size=60), max_size=5),
        table=st.sampled_from(["comp", "mapunit", "chorizon", "mstab", "mstabcol", "cmonth"]),
        encoding=st.sampled_from(["utf-8", "cp1252", "utf-16"]),
    ),
)
def test_any_text_in_a_soil_survey(farm, lines, table, encoding):
    tabular = farm.folder / "ZZ999" / "tabular"
    tabular.mkdir(parents=True, exist_ok=True)
    (tabular / "comp.txt").write_text('70|"Yes"\n')
    (tabular / f"{table}.txt").write_bytes("\n".join(lines).encode(encoding))
    keyed = gpd.read_file(farm.folder / "fields.gpkg").assign(MUKEY="101")
    (farm.folder / "soils.gpkg").unlink(missing_ok=True)
    keyed.to_file(farm.folder / "soils.gpkg")
    farm.layers["soils"] = {"path": "soils.gpkg", "tables": "ZZ999"}
    read_and_judge(farm)
    assert any(p.where.startswith("soils") for p in farm.report.refused)
