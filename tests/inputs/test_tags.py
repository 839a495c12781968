"""One extract that mixes everything, named for every layer: each takes its own, and a house is never a road."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from made_osm import Extract
from pyproj import Transformer

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers

WEST, SOUTH, CRS = 420_000, 4_664_000, 32615
TO_DEGREES = Transformer.from_crs(CRS, 4326, always_xy=True)
LAYERS = ("trees", "buildings", "dwellings", "roads", "gates", "wells", "water", "culverts", "overhead_lines")


def at(x: float, y: float) -> tuple[float, float]:
    return TO_DEGREES.transform(WEST + x, SOUTH + y)


def square(x: float, y: float, side: float = 30) -> list[tuple[float, float]]:
    corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)]
    return [at(*c) for c in corners]


def mixed() -> tuple[Extract, dict[str, set[str]]]:
    """An extract around one field, and the names that each layer must hold."""
    extract = Extract()
    names: dict[str, set[str]] = {key: set() for key in LAYERS}
    ways = [
        (square(-60, 0), {"building": "house"}, ("buildings", "dwellings")),
        (square(-60, 60), {"building": "barn"}, ("buildings",)),
        (square(-60, 120), {"building": "yes"}, ("buildings",)),
        (square(-60, 180), {"building": "no"}, ()),
        (square(-200, 0, 60), {"natural": "wood"}, ("trees",)),
        (square(-200, 100, 60), {"landuse": "forest"}, ("trees",)),
        (square(-200, 200, 40), {"natural": "water"}, ("water",)),
        (square(-200, 300, 40), {"landuse": "residential"}, ()),
        (square(0, 0, 400), {"landuse": "farmland"}, ()),
        ([at(-20, -20), at(450, -20)], {"highway": "unclassified", "surface": "gravel"}, ("roads",)),
        ([at(-20, -20), at(-20, 450)], {"highway": "track"}, ("roads",)),
        ([at(-20, 440), at(450, 440)], {"highway": "footway"}, ()),
        ([at(-20, 450), at(450, 450)], {"highway": "proposed"}, ()),
        ([at(-30, 460), at(450, 460)], {"power": "line", "note": 'a "quoted" => b'}, ("overhead_lines",)),
        ([at(-30, 470), at(450, 470)], {"power": "minor_line"}, ("overhead_lines",)),
        ([at(-30, 480), at(450, 480)], {"power": "cable"}, ()),
        ([at(-30, 490), at(450, 490)], {"waterway": "ditch"}, ("water",)),
        ([at(-25, 491), at(-15, 491)], {"waterway": "drain", "tunnel": "culvert"}, ("water", "culverts")),
        ([at(-30, 500), at(450, 500)], {"natural": "tree_row"}, ("trees",)),
        ([at(-30, 510), at(450, 510)], {"barrier": "fence"}, ()),
        ([at(-30, 520), at(450, 520)], {"railway": "rail"}, ()),
    ]
    for number, (places, tags, layers) in enumerate(ways):
        extract.way(places, name=f"way {number}", **tags)
        for key in layers:
            names[key].add(f"way {number}")
    points = [
        ((-10, 200), {"barrier": "gate"}, ("gates",)),
        ((-70, 10), {"man_made": "water_well"}, ("wells",)),
        ((-70, 300), {"natural": "tree"}, ("trees",)),
        ((-70, 320), {"building": "shed"}, ("buildings",)),
        ((-20, -20), {"highway": "crossing"}, ()),
        ((-70, 340), {"power": "pole"}, ()),
    ]
    for number, (place, tags, layers) in enumerate(points):
        extract.node(*at(*place), name=f"node {number}", **tags)
        for key in layers:
            names[key].add(f"node {number}")
    return extract, names


def read(folder: Path, layers: dict) -> tuple:
    field = gpd.GeoDataFrame({"name": ["Home"]}, geometry=[shapely.box(WEST, SOUTH, WEST + 400, SOUTH + 400)], crs=CRS)
    if not (folder / "fields.gpkg").exists():
        field.to_file(folder / "fields.gpkg")
    data = {
        "farm": {"name": "t", "season": 2026, "cell": "10 m"},
        "layers": {"fields": {"path": "fields.gpkg"}} | layers,
        "yields": {"everywhere": "9 t/ha"},
        "soil": {
            "drainage_class": "well drained",
            "clay_pct": 24,
            "erodibility": "0.32 US",
            "tolerance": "5 ton/ac/yr",
        },
    }
    report = Report()
    try:
        return read_layers(plan_from(data, folder, report), report), report
    except InputError:
        return None, report


def named(path: str, **more: object) -> dict:
    heights = {key: {"height": "9 m"} for key in ("trees", "buildings")}
    return {key: {"path": path} | heights.get(key, {}) | more for key in LAYERS}


@pytest.mark.parametrize("ending", ["osm", "osm.pbf"])
def test_one_extract_for_every_layer(tmp_path, ending):
    extract, names = mixed()
    extract.write(tmp_path / f"county.{ending}")
    farm, report = read(tmp_path, named(f"county.{ending}"))
    assert report.refused == []
    assert {key: set(farm.surroundings[key]["name"]) for key in LAYERS} == names
    told = {p.where: p.what for p in report if p.code == "tags.default"}
    assert set(told) == set(LAYERS)
    assert "building=*" in told["buildings"]
    assert told["roads"].startswith("Objects taken from OpenStreetMap data: 2, with highway=motorway or ")


def test_an_extract_that_was_converted_is_divided_alike(tmp_path):
    extract, names = mixed()
    extract.write(tmp_path / "county.osm")
    for kind in ("points", "lines", "multipolygons"):
        gpd.read_file(tmp_path / "county.osm", layer=kind).to_file(tmp_path / "county.gpkg", layer=kind)
    layers = {
        "buildings": {"path": "county.gpkg", "layer": "multipolygons", "height": "9 m"},
        "roads": {"path": "county.gpkg", "layer": "lines"},
        "overhead_lines": {"path": "county.gpkg", "layer": "lines"},
        "wells": {"path": "county.gpkg", "layer": "points"},
    }
    farm, report = read(tmp_path, layers)
    assert report.refused == []
    for key in layers:
        of_its_kind = {n for n in names[key] if n != "node 3"}  # a building that is a point, in another layer
        assert set(farm.surroundings[key]["name"]) == of_its_kind


def test_the_plans_tags_count_before_the_layers_own(tmp_path):
    extract, _ = mixed()
    extract.write(tmp_path / "county.osm")
    asked = {
        "roads": {"path": "county.osm", "tags": {"highway": ["footway", "Track"]}},
        "buildings": {"path": "county.osm", "tags": {"building": "barn"}, "height": "9 m"},
        "water": {"path": "county.osm", "tags": {"waterway": True}},
        "property": {"path": "county.osm", "tags": {"landuse": "farmland"}},
    }
    farm, report = read(tmp_path, asked)
    assert report.refused == []
    assert "tags.default" not in {p.code for p in report}
    found = {key: set(frame["name"]) for key, frame in farm.surroundings.items() if "name" in frame}
    assert found["roads"] == {"way 10", "way 11"}
    assert found["buildings"] == {"way 1"}
    assert found["water"] == {"way 16", "way 17"}


def test_plain_columns_are_chosen_by_their_values(tmp_path):
    kinds = ["Residential", "track", None, "no", "private lane"]
    lines = [shapely.LineString([(WEST, SOUTH - 10 * i), (WEST + 300, SOUTH - 10 * i)]) for i in range(1, 6)]
    frame = gpd.GeoDataFrame(
        {"NAME": list("abcde"), "Class": kinds, "lanes": [1, 2, 2, 0, np.nan]}, geometry=lines, crs=CRS
    )
    frame.to_file(tmp_path / "lines.gpkg")

    def taken(tags: dict) -> set[str]:
        farm, report = read(tmp_path, {"roads": {"path": "lines.gpkg", "tags": tags}})
        assert report.refused == []
        return set(farm.surroundings["roads"]["name"])

    assert taken({"class": ["residential", "TRACK"]}) == {"a", "b"}
    assert taken({"Class": True}) == {"a", "b", "e"}  # a blank and a plain no are none
    assert taken({"Class": "private lane", "lanes": 1}) == {"a", "e"}  # any of them
    assert taken({"lanes": 2}) == {"b", "c"}


@pytest.mark.parametrize(
    ("tags", "code", "said"),
    [
        ({"klass": True}, "column.missing", "'klass'"),
        ({"class": "motorway"}, "layer.empty", "class=motorway"),
        ({}, "plan", "at least one tag"),
        ({"class": False}, "plan", "needs true"),
        ({"class": []}, "plan", "needs true"),
    ],
)
def test_tags_that_choose_nothing(tmp_path, tags, code, said):
    line = shapely.LineString([(WEST, SOUTH - 10), (WEST + 300, SOUTH - 10)])
    gpd.GeoDataFrame({"class": ["track"]}, geometry=[line], crs=CRS).to_file(tmp_path / "lines.gpkg")
    _, report = read(tmp_path, {"roads": {"path": "lines.gpkg", "tags": tags}})
    problem = next(p for p in report.refused if p.code.startswith(code))
    assert said in problem.what_in("us")
    assert problem.cure


def test_one_plain_file_for_two_layers_is_told(tmp_path):
    house = gpd.GeoDataFrame({"name": ["h"]}, geometry=[shapely.box(WEST - 50, SOUTH, WEST - 30, SOUTH + 20)], crs=CRS)
    house.to_file(tmp_path / "all.gpkg")
    layers = {"buildings": {"path": "all.gpkg", "height": "6 m"}, "roads": {"path": "all.gpkg"}}
    _, report = read(tmp_path, layers)
    told = [p for p in report if p.code == "tags.shared"]
    assert [p.where for p in told] == ["roads"]
    assert "buildings" in told[0].what
    _, report = read(tmp_path, {"buildings": layers["buildings"], "dwellings": {"path": "all.gpkg"}})
    assert "tags.shared" not in {p.code for p in report}  # a house is both


@pytest.mark.parametrize("key", ["property", "yards"])
def test_an_extract_for_a_layer_that_is_in_none(tmp_path, key):
    mixed()[0].write(tmp_path / "county.osm")
    _, report = read(tmp_path, {key: {"path": "county.osm"}})
    assert [p.code for p in report.refused] == ["tags.needed"]


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12)


@settings(max_examples=examples(12, 40), deadline=None)
@given(st.dictionaries(WORDS, WORDS, min_size=1, max_size=4), WORDS)
def test_any_tag_is_found_by_its_own_words(tmp_path_factory, tags, other):
    """Whatever letters a tag is made of: a road with it is taken, and a road without it is not."""
    folder = tmp_path_factory.mktemp("any")
    tags = {k: v for k, v in tags.items() if k.strip() == k and v.strip() == v and k.casefold() not in TAKEN}
    if not tags:
        return
    key, value = next(iter(tags.items()))
    extract = Extract()
    extract.way([at(-20, -20), at(450, -20)], **{"name": "with"} | tags)
    rest = {k: v for k, v in tags.items() if k != key}
    extract.way([at(-20, -30), at(450, -30)], **{"name": "without", "highway": "track"} | rest)
    extract.write(folder / "c.osm")
    farm, report = read(folder, {"roads": {"path": "c.osm", "tags": {key: value}}})
    assert report.refused == []
    assert list(farm.surroundings["roads"]["name"]) == ["with"]


#: what the library keeps for itself, and keys whose ways it takes for areas or leaves out
TAKEN = {
    "name", "label", "title", "description", "highway", "geometry", "osm_id", "z_order", "other_tags", "area", "type",
    "created_by", "converted_by", "source", "time", "ele", "note", "todo", "fixme",
}  # fmt: skip
