"""One spoiled input a case: each is named by its code, with place, reason and cure, and nothing else is refused.

The cases follow the project's catalogue of bad inputs, and add those of each reader.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine

CASES: list[tuple[str, str, set[str], Callable]] = []


def case(code: str, severity: str, also: str | None = None) -> Callable:
    """Register a way to spoil the farm; `also` is a refusal that truly follows from it."""

    def register(spoil: Callable) -> Callable:
        refused = ({code} if severity == "refuse" else set()) | ({also} if also else set())
        CASES.append((code, severity, refused, spoil))
        return spoil

    return register


@pytest.mark.parametrize(("code", "severity", "refused", "spoil"), CASES, ids=[c[3].__name__ for c in CASES])
def test_it_is_said(farm, fields, table, ground, code, severity, refused, spoil):
    spoil(farm, {"fields": fields, "table": table, "ground": ground})
    farm.read()
    problem = farm.problem(code)
    assert problem.severity == severity
    assert problem.where
    assert problem.what.endswith((".", "?"))
    assert problem.why.endswith(".")
    assert problem.cure.endswith(".")
    assert {p.code for p in farm.report.refused} == refused


# --- where on Earth -----------------------------------------------------------------------------


@case("crs.missing", "refuse")
def no_crs(farm, given):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer warns of what is done here on purpose
        farm.write_fields(given["fields"].set_crs(None, allow_override=True))


@case("crs.missing", "refuse")
def points_without_crs(farm, given):
    del farm.layers["yield_points"]["crs"]


@case("crs.missing", "refuse")
def raster_without_crs(farm, given):
    farm.write_raster(given["ground"], crs=None)


@case("crs.swapped", "refuse")
def latitude_for_longitude(farm, given):
    columns = farm.layers["yield_points"]["columns"]
    columns["x"], columns["y"] = columns["y"], columns["x"]


@case("crs.swapped", "refuse")
def swapped_where_both_could_be_degrees(farm, given):
    # western Ohio: 84 degrees west and 40 north read turned round are a valid place in Antarctica
    place = shapely.box(40.0, -84.01, 40.01, -84.0)
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[place], crs=4326).to_file(farm.folder / "turned.geojson")
    farm.layers["fields"] = {"path": "turned.geojson"}


@case("crs.swapped", "refuse")
def northing_for_easting(farm, given):
    turned = shapely.transform(given["fields"].geometry.to_numpy(), lambda xy: xy[:, ::-1])
    farm.write_fields(given["fields"].set_geometry(turned, crs=32615))


@case("crs.mislabelled", "refuse")
def metres_labelled_degrees(farm, given):
    farm.write_fields(given["fields"].set_crs(4326, allow_override=True))


@case("crs.mislabelled", "refuse")
def degrees_labelled_metres(farm, given):
    farm.write_fields(given["fields"].to_crs(4326).set_crs(32615, allow_override=True))


@case("crs.outside_area_of_use", "warn")
def true_place_in_the_neighbouring_zone(farm, given):
    farm.write_fields(given["fields"].to_crs(32614))


@case("crs.wrong_place", "refuse")
def zone_of_another_continent(farm, given):
    farm.write_fields(given["fields"].to_crs(4326).to_crs(2154))


@case("crs.web_mercator", "fix")
def plane_of_web_maps(farm, given):
    farm.write_fields(given["fields"].to_crs(3857))


@case("crs.feet", "fix")
def survey_feet(farm, given):
    farm.write_fields(given["fields"].to_crs(3417))


@case("crs.ballpark", "warn")
def datum_of_1927(farm, given):
    farm.write_fields(given["fields"].to_crs(26715))


@case("crs.unknown", "refuse")
def crs_nobody_knows(farm, given):
    farm.layers["fields"]["crs"] = "EPSG:99999999"


@case("crs.overridden", "warn", also="overlay.empty")
def plan_and_file_differ(farm, given):
    farm.layers["fields"]["crs"] = "EPSG:32616"


@case("crs.unsupported", "refuse")
def earth_centred_axes(farm, given):
    farm.layers["fields"]["crs"] = "EPSG:4978"


@case("crs.not_metres", "refuse")
def working_crs_in_degrees(farm, given):
    farm.data["farm"]["crs"] = "EPSG:4326"


@case("crs.not_metres", "refuse")
def working_crs_in_feet(farm, given):
    farm.data["farm"]["crs"] = "EPSG:3417"


@case("crs.unknown", "refuse")
def working_crs_of_nonsense(farm, given):
    farm.data["farm"]["crs"] = "the usual one"


@case("geom.out_of_range", "refuse")
def coordinates_of_a_billion(farm, given):
    farm.write_fields(given["fields"].translate(1e7, 1e9).to_frame("geometry"))


@case("geom.out_of_range", "refuse")
def plausible_after_a_wrong_transform(farm, given):
    # GDAL would return a place in the south Atlantic for this (catalogue, 5.2)
    farm.write_fields(given["fields"].translate(5e7, 0).to_frame("geometry"))


@case("geom.antimeridian", "refuse")
def across_the_date_line(farm, given):
    boxes = [shapely.box(-179.9, 40, -179.8, 40.1), shapely.box(179.8, 40, 179.9, 40.1)]
    farm.write_fields(gpd.GeoDataFrame(geometry=boxes, crs=4326))


@case("overlay.empty", "refuse")
def points_of_another_farm(farm, given):
    farm.write_points(given["table"].assign(Longitude=given["table"]["Longitude"] + 0.2))


@case("overlay.empty", "refuse")
def heights_of_another_county(farm, given):
    farm.write_raster(given["ground"], transform=Affine(5, 0, 500_000, 0, -5, 4_900_000))


@case("overlay.far", "warn")
def wells_of_another_county(farm, given):
    wells = gpd.GeoDataFrame(geometry=[shapely.Point(440_000, 4_864_000)], crs=32615)
    wells.to_file(farm.folder / "wells.gpkg")
    farm.layers["wells"] = {"path": "wells.gpkg"}


# --- shapes -------------------------------------------------------------------------------------


@case("geom.invalid", "fix", also="points.outside_most")
def small_crossing_at_a_corner(farm, given):
    ring = [(0, 0), (400, 0), (400, 400), (3, 400), (-3, 399), (-3, 401), (0, 396)]
    shape = shapely.Polygon([(420_000 + x, 4_864_000 + y) for x, y in ring])
    assert not shape.is_valid
    farm.write_fields(gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=32615))


@case("geom.invalid_much", "refuse")
def figure_of_eight(farm, given):
    ring = [(0, 0), (400, 400), (400, 0), (0, 400)]
    shape = shapely.Polygon([(420_000 + x, 4_864_000 + y) for x, y in ring])
    farm.write_fields(gpd.GeoDataFrame(geometry=[shape], crs=32615))


@case("geom.sliver", "fix")
def sliver_beside_a_field(farm, given):
    sliver = shapely.box(419_990, 4_864_000, 419_990.1, 4_864_400)
    shapes = [given["fields"].geometry[0].union(sliver), given["fields"].geometry[1]]
    farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))


@case("geom.overlap", "warn")
def same_field_twice(farm, given):
    farm.write_fields(pd.concat([given["fields"], given["fields"].head(1)], ignore_index=True))


@case("layer.empty", "refuse")
def no_rows(farm, given):
    farm.write_fields(given["fields"].head(0))


@case("layer.empty", "refuse")
def all_shapes_missing(farm, given):
    farm.write_fields(given["fields"].set_geometry([None, None], crs=32615))


@case("layer.empty", "refuse")
def only_crumbs(farm, given):
    farm.write_fields(gpd.GeoDataFrame(geometry=[shapely.box(420_000, 4_864_000, 420_005, 4_864_005)], crs=32615))


@case("geom.null", "fix", also="points.outside_most")
def one_shape_missing(farm, given):
    farm.write_fields(given["fields"].set_geometry([given["fields"].geometry[0], None], crs=32615))


@case("geom.type", "refuse")
def lines_for_fields(farm, given):
    farm.write_fields(given["fields"].set_geometry(given["fields"].boundary))


@case("geom.mixed", "fix")
def a_point_among_the_fields(farm, given):
    shapes = [*given["fields"].geometry, shapely.Point(420_000, 4_864_000)]
    farm.write_fields(gpd.GeoDataFrame({"name": list("abc")}, geometry=shapes, crs=32615))


@case("geom.nonfinite", "refuse")
def a_vertex_that_is_no_number(farm, given):
    def spoil(xy):
        xy[2, 1] = np.nan
        return xy

    with np.errstate(invalid="ignore"):
        shapes = shapely.transform(given["fields"].geometry.to_numpy(), spoil)
        farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))


@case("geom.size", "warn", also="points.outside_most")
def a_garden(farm, given):
    shapes = [given["fields"].geometry[0], shapely.box(420_500, 4_864_000, 420_520, 4_864_020)]
    farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))


@case("geom.size", "warn", also="dem.partial_most")
def a_township(farm, given):
    farm.write_fields(gpd.GeoDataFrame(geometry=[shapely.box(415_000, 4_860_000, 424_600, 4_869_600)], crs=32615))


@case("geom.widened", "fix")
def a_tree_as_a_point(farm, given):
    trees = gpd.GeoDataFrame(geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height": "40 ft"}


@case("property.field_outside", "warn")
def field_beyond_the_property(farm, given):
    land = gpd.GeoDataFrame(geometry=[shapely.box(419_900, 4_863_900, 420_700, 4_864_500)], crs=32615)
    land.to_file(farm.folder / "land.gpkg")
    farm.layers["property"] = {"path": "land.gpkg"}


# --- heights ------------------------------------------------------------------------------------


@case("dem.z_unit", "refuse")
def unit_of_heights_not_said(farm, given):
    del farm.layers["elevation"]["vertical_unit"]


@case("dem.geographic", "fix")
def heights_in_degrees(farm, given):
    farm.write_raster(given["ground"], crs=4326, transform=Affine(6.3e-5, 0, -94.0, 0, -4.5e-5, 43.9325))


@case("dem.partial", "warn")
def heights_of_most_of_the_fields(farm, given):
    farm.write_raster(given["ground"][:, :180])


@case("dem.partial_most", "refuse")
def heights_of_a_corner(farm, given):
    farm.write_raster(given["ground"][:, :80])


@case("dem.coarse", "warn")
def heights_every_two_hundred_metres(farm, given):
    coarse = np.full((12, 12), 300, dtype="float32")
    farm.write_raster(coarse, transform=Affine(200, 0, 419_000, 0, -200, 4_865_400))


@case("raster.nodata_suspect", "warn")
def gaps_written_as_heights(farm, given):
    values = given["ground"].copy()
    values[100:103, 100:103] = -9999
    farm.write_raster(values)


@case("raster.nodata_suspect", "warn")
def gaps_written_as_sea_level(farm, given):
    values = given["ground"].copy()
    values[100:103, 100:103] = 0
    farm.write_raster(values)


@case("raster.turned", "fix")
def south_up(farm, given):
    farm.write_raster(given["ground"][::-1], transform=Affine(5, 0, 419_800, 0, 5, 4_863_700))


@case("raster.turned", "fix")
def rotated(farm, given):
    turned = Affine.translation(419_700, 4_864_500) @ Affine.rotation(10) @ Affine.scale(5, -5)
    farm.write_raster(given["ground"], transform=turned)


@case("raster.band", "refuse")
def three_bands(farm, given):
    farm.write_raster(np.stack([given["ground"]] * 3))


@case("raster.band", "refuse")
def a_band_that_is_not_there(farm, given):
    farm.layers["elevation"]["band"] = 4


@case("raster.layout", "refuse")
def complex_numbers(farm, given):
    farm.write_raster(given["ground"].astype("complex64"))


@case("file.signature", "refuse")
def vector_for_raster(farm, given):
    farm.layers["elevation"]["path"] = "fields.gpkg"


@case("dem.z_unit_differs", "warn")
def file_says_feet_and_plan_says_metres(farm, given):
    farm.write_raster(given["ground"], crs="EPSG:32615+6360")


# --- combine points -----------------------------------------------------------------------------


@case("yield.unit", "refuse")
def flow_without_unit(farm, given):
    del farm.layers["yield_points"]["units"]["flow"]


@case("points.unit", "refuse")
def distance_without_unit(farm, given):
    del farm.layers["yield_points"]["units"]["distance"]


@case("yield.moisture_unit", "refuse")
def moisture_without_unit(farm, given):
    del farm.layers["yield_points"]["units"]["moisture"]


@case("yield.moisture", "refuse")
def moisture_as_a_fraction_called_percent(farm, given):
    farm.write_points(given["table"].assign(Moisture=given["table"]["Moisture"] / 100))


@case("yield.moisture", "refuse")
def moisture_in_percent_called_fraction(farm, given):
    farm.layers["yield_points"]["units"]["moisture"] = "fraction"


@case("yield.moisture", "refuse")
def moisture_not_given(farm, given):
    del farm.layers["yield_points"]["columns"]["moisture"]


@case("yield.moisture_gaps", "warn")
def moisture_missing_here_and_there(farm, given):
    moisture = given["table"]["Moisture"]
    farm.write_points(given["table"].assign(Moisture=moisture.where(np.arange(len(moisture)) % 10 > 0)))


@case("yield.implausible", "refuse")
def bushels_called_tons(farm, given):
    farm.write_points(given["table"].assign(Yield=150.0))
    del farm.layers["yield_points"]["columns"]["flow"]
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "t/ha at 15.5 %"


@case("yield.implausible", "refuse")
def swath_in_feet_called_metres(farm, given):
    farm.write_points(given["table"].assign(Swath=30 * 12))
    farm.layers["yield_points"]["units"]["swath"] = "ft"


@case("yield.disagree", "warn")
def flow_and_yield_disagree(farm, given):
    farm.write_points(given["table"].assign(Yield=150.0))
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "bu/ac at 15.5 %"


@case("yield.dry_bushel", "warn")
def which_dry_bushel(farm, given):
    farm.write_points(given["table"].assign(Yield=150.0))
    del farm.layers["yield_points"]["columns"]["flow"]
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "bu/ac dry"


@case("yield.column", "refuse")
def no_grain_column(farm, given):
    del farm.layers["yield_points"]["columns"]["flow"]


@case("yield.none", "refuse")
def no_grain_at_all(farm, given):
    farm.write_points(given["table"].assign(Flow=0))


@case("points.disagree", "warn")
def distance_half_as_long_again(farm, given):
    farm.write_points(given["table"].assign(Distance=425.2 * 1.5))


@case("points.disagree", "warn")
def seconds_that_the_clock_denies(farm, given):
    farm.layers["yield_points"]["columns"]["time"] = "Time"
    farm.layers["yield_points"]["units"]["time"] = "s"
    farm.write_points(given["table"].assign(Cycles=2, Flow=93))


@case("points.time_unit", "warn")
def epoch_not_said(farm, given):
    farm.layers["yield_points"]["columns"]["time"] = "Time"


@case("points.area", "refuse")
def no_width(farm, given):
    del farm.layers["yield_points"]["columns"]["swath"]


@case("points.seconds", "refuse")
def no_duration(farm, given):
    del farm.layers["yield_points"]["columns"]["seconds"]


@case("points.seconds_from_time", "fix")
def duration_from_the_clock(farm, given):
    del farm.layers["yield_points"]["columns"]["seconds"]
    farm.layers["yield_points"]["columns"]["time"] = "Time"
    farm.layers["yield_points"]["units"]["time"] = "unix s"


@case("points.distance_from_places", "fix")
def way_from_the_positions(farm, given):
    del farm.layers["yield_points"]["columns"]["distance"]


@case("points.no_xy", "refuse")
def position_not_declared(farm, given):
    del farm.layers["yield_points"]["columns"]["y"]


@case("points.no_place", "fix")
def receiver_without_a_fix(farm, given):
    table = given["table"]
    table.loc[[3, 4], ["Longitude", "Latitude"]] = 0.0
    table.loc[9, "Longitude"] = np.nan
    farm.write_points(table)


@case("geom.nonfinite", "refuse")
def most_positions_missing(farm, given):
    table = given["table"]
    table.loc[::3, "Longitude"] = np.nan
    farm.write_points(table)


@case("points.other_crop", "fix")
def some_soybeans(farm, given):
    table = given["table"]
    table.loc[:200, "Crop"] = "Soybeans"
    farm.write_points(table)
    farm.layers["yield_points"]["columns"]["crop"] = "Crop"


@case("points.no_corn", "refuse")
def nothing_but_soybeans(farm, given):
    farm.write_points(given["table"].assign(Crop="Soybeans"))
    farm.layers["yield_points"]["columns"]["crop"] = "Crop"


@case("points.header", "warn")
def header_without_a_word_for_cutting(farm, given):
    farm.write_points(given["table"].assign(Head="Down"))
    farm.layers["yield_points"]["columns"]["header"] = "Head"


@case("points.outside", "warn")
def a_strip_of_the_neighbour(farm, given):
    extra = given["table"].head(200).assign(Longitude=lambda t: t["Longitude"] - 0.005)
    farm.write_points(pd.concat([given["table"], extra]))


@case("points.outside_most", "refuse")
def half_on_another_field(farm, given):
    farm.write_fields(given["fields"].head(1))


@case("points.sparse", "warn")
def a_field_hardly_harvested(farm, given):
    table = given["table"]
    farm.write_points(table[table["Longitude"] < table["Longitude"].median() - 0.0006])


@case("column.missing", "refuse")
def misspelt_column(farm, given):
    farm.layers["yield_points"]["columns"]["flow"] = "Flwo"


@case("column.twice", "warn")
def two_columns_of_one_name(farm, given):
    table = given["table"].assign(Extra=1).rename(columns={"Extra": "Fl\u200bow"})
    table.to_csv(farm.folder / "points.csv", index=False)


@case("table.not_numbers", "warn")
def words_among_numbers(farm, given):
    table = given["table"].astype({"Moisture": object})
    table.loc[5, "Moisture"] = "n/k"
    farm.write_points(table)


@case("table.decimal_comma", "fix")
def decimal_commas(farm, given):
    given["table"].to_csv(farm.folder / "points.csv", index=False, sep=";", decimal=",")


@case("table.ragged", "warn")
def a_line_too_long(farm, given):
    text = (farm.folder / "points.csv").read_text().splitlines()
    text[7] += ",1,2,3"
    (farm.folder / "points.csv").write_text("\n".join(text))


@case("layer.empty", "refuse")
def a_table_of_names_only(farm, given):
    farm.write_points(given["table"].head(0))


@case("layer.empty", "refuse")
def a_folder_without_points(farm, given):
    (farm.folder / "loads").mkdir()
    farm.layers["yield_points"]["path"] = "loads"


@case("layer.choose", "refuse")
def two_sheets(farm, given):
    with pd.ExcelWriter(farm.folder / "book.xlsx") as book:
        given["table"].head(9).to_excel(book, sheet_name="a", index=False)
        given["table"].head(9).to_excel(book, sheet_name="b", index=False)
    farm.layers["yield_points"]["path"] = "book.xlsx"


# --- soils and surroundings ---------------------------------------------------------------------


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


@case("soil.none", "refuse")
def no_soil_anywhere(farm, given):
    del farm.data["soil"]


@case("soil.missing", "warn")
def soils_without_erodibility(farm, given):
    write_soils(farm, kwfact=None)


@case("soil.missing", "warn")
def half_the_fields_without_soil(farm, given):
    write_soils(farm)
    soils = gpd.read_file(farm.folder / "soils.gpkg").head(1)
    soils.to_file(farm.folder / "half.gpkg")
    farm.layers["soils"]["path"] = "half.gpkg"


@case("soil.code", "warn")
def a_drainage_word_of_our_own(farm, given):
    write_soils(farm, drainagecl=["Quite dry", "Poorly drained"])


@case("soil.range", "warn")
def erodibility_of_three(farm, given):
    write_soils(farm, kwfact=["3.2", "2.8"])


@case("soil.potentially_erodible", "warn")
def perhaps_highly_erodible(farm, given):
    write_soils(farm, muhelcl=["Potentially highly erodible land", "Not highly erodible land"])


@case("overlay.empty", "refuse")
def soils_of_another_county(farm, given):
    write_soils(farm)
    soils = gpd.read_file(farm.folder / "soils.gpkg")
    soils.set_geometry(soils.translate(80_000, 0)).to_file(farm.folder / "far.gpkg")
    farm.layers["soils"]["path"] = "far.gpkg"


@case("soil.steps", "warn")
def erodibility_a_tenth_of_what_it_is(farm, given):
    write_soils(farm, kwfact=[".032", ".028"])


@case("height.missing", "refuse")
def trees_without_height(farm, given):
    a_tree_as_a_point(farm, given)
    del farm.layers["trees"]["height"]


@case("height.unit", "refuse")
def heights_of_trees_without_unit(farm, given):
    trees = gpd.GeoDataFrame({"h": [40.0]}, geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h"}


@case("height.filled", "fix")
def one_tree_of_unknown_height(farm, given):
    places = [shapely.Point(420_100, 4_864_420), shapely.Point(420_150, 4_864_420)]
    gpd.GeoDataFrame({"h": [40.0, np.nan]}, geometry=places, crs=32615).to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h", "height_unit": "ft"}


@case("text.control", "fix")
def a_name_turned_right_to_left(farm, given):
    farm.write_fields(given["fields"].assign(name=["abc\u202edef", "x\u0000y"]))


@case("text.mojibake", "warn")
def a_name_read_in_the_wrong_encoding(farm, given):
    farm.write_fields(given["fields"].assign(name=["M\u00c3\u00bcller", "b"]))


@case("layer.needed", "refuse")
def neither_fields_nor_points(farm, given):
    farm.layers.clear()


@case("layer.unknown", "refuse")
def a_layer_that_is_not_there(farm, given):
    farm.layers["fields"]["layer"] = "Fields 2024"


@case("layer.choose", "refuse")
def two_layers_in_one_file(farm, given):
    given["fields"].to_file(farm.folder / "fields.gpkg", layer="again")


@case("grid.too_big", "refuse", also="points.outside_most")
def fields_across_a_state(farm, given):
    shapes = [given["fields"].geometry[0], given["fields"].geometry[1].buffer(0)]
    shapes[1] = shapely.transform(shapes[1], lambda xy: xy + np.array([60_000.0, 60_000.0]))
    farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))


@case("points.disagree", "warn")
def a_width_that_the_passes_deny(farm, given):
    farm.write_points(given["table"].assign(Swath=240))


@case("yield.unusual", "warn")
def pounds_called_kilograms(farm, given):
    farm.layers["yield_points"]["units"]["flow"] = "kg/s"


@case("yield.unusual", "warn")
def kilograms_called_pounds(farm, given):
    farm.write_points(given["table"].assign(Flow=given["table"]["Flow"] / 2.2046))


@case("points.coverage", "warn")
def all_loads_twice(farm, given):
    farm.write_points(pd.concat([given["table"]] * 2))


@case("points.coverage", "warn")
def half_of_the_loads(farm, given):
    farm.write_points(given["table"][lambda t: np.arange(len(t)) % 4 < 2])


@case("yield.moisture", "refuse")
def moisture_of_no_grain(farm, given):
    farm.write_points(given["table"].assign(Moisture=given["table"]["Moisture"] * 3.28))


@case("yield.gaps", "warn")
def flow_missing_here_and_there(farm, given):
    flow = given["table"]["Flow"]
    farm.write_points(given["table"].assign(Flow=flow.where(np.arange(len(flow)) % 50 > 0)))


@case("dem.disagree", "warn")
def receiver_in_feet_and_raster_called_metres(farm, given):
    farm.layers["yield_points"]["columns"]["height"] = "Altitude"
    farm.layers["yield_points"]["units"]["height"] = "ft"
    farm.write_raster(given["ground"] * np.float32(3.28084))


@case("dem.disagree", "warn")
def raster_three_times_as_hilly(farm, given):
    table = given["table"]
    at = (table["Latitude"] - table["Latitude"].min()) * 111_195
    farm.write_points(table.assign(Altitude=(318 - 0.02 * at) / 0.3048))
    farm.layers["yield_points"]["columns"]["height"] = "Altitude"
    farm.layers["yield_points"]["units"]["height"] = "ft"
    farm.write_raster(300 + (given["ground"] - 300) * np.float32(3.28))


@case("height.unusual", "warn")
def feet_of_a_tree_called_metres(farm, given):
    trees = gpd.GeoDataFrame({"h": [60.0]}, geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h", "height_unit": "m"}
