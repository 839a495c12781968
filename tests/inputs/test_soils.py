"""Soils, surroundings and layers that say too little: each is named, with place, reason and cure."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from as_user import ask, write_plan

from stovergeo.core.units import K_SI_PER_US


def write_soils(farm, **columns):
    halves = [shapely.box(419_500, 4_863_500, 420_200, 4_865_000), shapely.box(420_200, 4_863_500, 421_500, 4_865_000)]
    sound = {
        "MUSYM": ["L1", "L2"],
        "drainagecl": ["Well drained", "Poorly drained"],
        "kwfact": [".32", ".28"],
        "tfact": [5, 5],
        "claytotal_r": [22.0, 30.0],
        "flodfreqcl": ["None", "None"],
        "pondfreqcl": ["None", "Frequent"],
        "wtdepannmin": [np.nan, 15.0],
        "hydricrating": ["No", "Yes"],
        "hydgrp": ["B", "C/D"],
        "wei": [48, 86],
    }
    table = {k: v for k, v in (sound | columns).items() if v is not None}
    gpd.GeoDataFrame(table, geometry=halves, crs=32615).to_file(farm.folder / "soils.gpkg")
    farm.layers["soils"] = {"path": "soils.gpkg"}
    farm.data.pop("soil", None)


def test_no_soil_anywhere(farm, given, hear):
    del farm.data["soil"]
    hear("soil.none", "warn")


@pytest.mark.row(52)
def test_soils_without_erodibility(farm, given, hear):
    write_soils(farm, kwfact=None)
    hear("soil.missing", "warn")


def test_erodibility_from_the_texture_of_plain_polygons(farm, given, hear):
    """AH-537's own example, 65 % silt and very fine sand, 30 % clay, 2.8 % organic matter, but structure 3 for 2."""
    write_soils(
        farm, kwfact=[None, ".28"], silttotal_r=[55, 40], sandvf_r=[10, 5], claytotal_r=[30, 30], om_r=[2.8, 3],
        ksat_r=[2.0, 9.0],
    )  # fmt: skip
    hear("soil.k_from_nomograph", "warn")
    soils = farm.read().soils.set_index("soil_id")
    assert soils["soil_erodibility"].to_list() == pytest.approx(
        [(0.3109 + 0.0325) * K_SI_PER_US, 0.28 * K_SI_PER_US], rel=2e-4
    )
    assert soils["k_from_nomograph"].to_list() == [1, 0]
    assert "soil.missing" not in farm.codes()


def test_texture_that_is_more_than_the_whole_is_no_texture(farm, given, hear):
    write_soils(farm, kwfact=None, silttotal_r=[70, 70], sandvf_r=[10, 10], claytotal_r=[30, 30], om_r=[3, 3])
    hear("soil.missing", "warn")
    assert "soil.k_from_nomograph" not in farm.codes()


@pytest.mark.row(53)
def test_half_the_fields_without_soil(farm, given, hear):
    write_soils(farm)
    soils = gpd.read_file(farm.folder / "soils.gpkg").head(1)
    soils.to_file(farm.folder / "half.gpkg")
    farm.layers["soils"]["path"] = "half.gpkg"
    hear("soil.missing", "warn")


def test_a_drainage_word_of_our_own(farm, given, hear):
    write_soils(farm, drainagecl=["Quite dry", "Poorly drained"])
    hear("soil.code", "warn")


def test_erodibility_of_three(farm, given, hear):
    write_soils(farm, kwfact=["3.2", "2.8"])
    hear("soil.range", "warn")


def test_perhaps_highly_erodible(farm, given, hear):
    write_soils(farm, muhelcl=["Potentially highly erodible land", "Not highly erodible land"])
    hear("soil.potentially_erodible", "warn")


def test_soils_of_another_county(farm, given, hear):
    write_soils(farm)
    soils = gpd.read_file(farm.folder / "soils.gpkg")
    soils.set_geometry(soils.translate(80_000, 0)).to_file(farm.folder / "far.gpkg")
    farm.layers["soils"]["path"] = "far.gpkg"
    hear("overlay.empty", "refuse")


def test_erodibility_a_tenth_of_what_it_is(farm, given, hear):
    write_soils(farm, kwfact=[".032", ".028"])
    hear("soil.steps", "warn")


def test_trees_without_height(farm, given, hear):
    trees = gpd.GeoDataFrame(geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg"}
    hear("height.missing", "refuse")


def test_heights_of_trees_without_unit(farm, given, hear):
    trees = gpd.GeoDataFrame({"h": [40.0]}, geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h"}
    hear("height.unit", "refuse")


def test_one_tree_of_unknown_height(farm, given, hear):
    places = [shapely.Point(420_100, 4_864_420), shapely.Point(420_150, 4_864_420)]
    gpd.GeoDataFrame({"h": [40.0, np.nan]}, geometry=places, crs=32615).to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h", "height_unit": "ft"}
    hear("height.filled", "fix")


@pytest.mark.row(50)
def test_a_name_turned_right_to_left(farm, given, hear):
    farm.write_fields(given["fields"].assign(name=["abc\u202edef", "x\u0000y"]))
    hear("text.control", "fix")


@pytest.mark.row(50)
def test_a_name_read_in_the_wrong_encoding(farm, given, hear):
    farm.write_fields(given["fields"].assign(name=["M\u00c3\u00bcller", "b"]))
    hear("text.mojibake", "warn")


def test_neither_fields_nor_points(farm, given, hear):
    farm.layers.clear()
    hear("layer.needed", "refuse", also="yield.needed")


@pytest.mark.parametrize("named", ["fields and soils", "fields alone", "a property and houses"])
def test_no_yields_at_all(farm, given, hear, named):
    keep = farm.layers["fields"]
    farm.layers.clear()
    farm.layers["fields"] = keep
    if named == "fields alone":
        del farm.data["soil"]
    if named == "a property and houses":
        farm.layers["property"] = farm.layers["dwellings"] = {"path": keep["path"]}
    hear("yield.needed", "refuse")
    code, _, err = ask("plan", write_plan(farm.data, farm.folder), "--out", farm.folder / "out")
    assert code == 2
    assert "yield.needed" in err
    assert "layers.yield_points" in err
    assert not (farm.folder / "out").exists()


def test_a_layer_that_is_not_there(farm, given, hear):
    farm.layers["fields"]["layer"] = "Fields 2024"
    hear("layer.unknown", "refuse")


def test_two_layers_in_one_file(farm, given, hear):
    given["fields"].to_file(farm.folder / "fields.gpkg", layer="again")
    hear("layer.choose", "refuse")


@pytest.mark.long
def test_a_field_across_a_state(farm, given, hear):
    """Fields far apart are worked in clusters; one field that reaches so far is not one field."""
    first, second = given["fields"].geometry
    far = shapely.transform(second, lambda xy: xy + np.array([60_000.0, 60_000.0]))
    farm.write_fields(given["fields"].set_geometry([shapely.union(first, far), second], crs=32615))
    hear("grid.too_big", "refuse")


def test_feet_of_a_tree_called_meters(farm, given, hear):
    trees = gpd.GeoDataFrame({"h": [60.0]}, geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h", "height_unit": "m"}
    hear("height.unusual", "warn")
