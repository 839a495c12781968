"""Outlines that are none, or only nearly: each is named, with place, reason and cure."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely


@pytest.mark.row(15)
def test_small_crossing_at_a_corner(farm, given, hear):
    ring = [(0, 0), (400, 0), (400, 400), (3, 400), (-3, 399), (-3, 401), (0, 396)]
    shape = shapely.Polygon([(420_000 + x, 4_864_000 + y) for x, y in ring])
    assert not shape.is_valid
    farm.write_fields(gpd.GeoDataFrame({"name": ["a"]}, geometry=[shape], crs=32615))
    hear("geom.invalid", "fix", also="points.outside_max")


@pytest.mark.row(15)
def test_figure_of_eight(farm, given, hear):
    ring = [(0, 0), (400, 400), (400, 0), (0, 400)]
    shape = shapely.Polygon([(420_000 + x, 4_864_000 + y) for x, y in ring])
    farm.write_fields(gpd.GeoDataFrame(geometry=[shape], crs=32615))
    hear("geom.invalid_much", "refuse")


@pytest.mark.row(16)
def test_sliver_beside_a_field(farm, given, hear):
    sliver = shapely.box(419_990, 4_864_000, 419_990.1, 4_864_400)
    shapes = [given["fields"].geometry[0].union(sliver), given["fields"].geometry[1]]
    farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))
    hear("geom.sliver", "fix")


@pytest.mark.row(19)
def test_same_field_twice(farm, given, hear):
    farm.write_fields(pd.concat([given["fields"], given["fields"].head(1)], ignore_index=True))
    hear("geom.overlap", "warn")


@pytest.mark.row(20)
def test_no_rows(farm, given, hear):
    farm.write_fields(given["fields"].head(0))
    hear("layer.empty", "refuse")


@pytest.mark.row(20)
def test_all_shapes_missing(farm, given, hear):
    farm.write_fields(given["fields"].set_geometry([None, None], crs=32615))
    hear("layer.empty", "refuse")


def test_only_crumbs(farm, given, hear):
    farm.write_fields(gpd.GeoDataFrame(geometry=[shapely.box(420_000, 4_864_000, 420_005, 4_864_005)], crs=32615))
    hear("layer.empty", "refuse")


def test_one_shape_missing(farm, given, hear):
    farm.write_fields(given["fields"].set_geometry([given["fields"].geometry[0], None], crs=32615))
    hear("geom.null", "fix", also="points.outside_max")


@pytest.mark.row(21)
def test_lines_for_fields(farm, given, hear):
    farm.write_fields(given["fields"].set_geometry(given["fields"].boundary))
    hear("geom.type", "refuse")


def test_a_point_among_the_fields(farm, given, hear):
    shapes = [*given["fields"].geometry, shapely.Point(420_000, 4_864_000)]
    farm.write_fields(gpd.GeoDataFrame({"name": list("abc")}, geometry=shapes, crs=32615))
    hear("geom.mixed", "fix")


@pytest.mark.row(23)
def test_a_vertex_that_is_no_number(farm, given, hear):
    def spoil(xy):
        xy[2, 1] = np.nan
        return xy

    with np.errstate(invalid="ignore"):
        shapes = shapely.transform(given["fields"].geometry.to_numpy(), spoil)
        farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))
    hear("geom.nonfinite", "refuse")


@pytest.mark.row(26)
def test_a_garden(farm, given, hear):
    shapes = [given["fields"].geometry[0], shapely.box(420_500, 4_864_000, 420_520, 4_864_020)]
    farm.write_fields(given["fields"].set_geometry(shapes, crs=32615))
    hear("geom.size", "warn", also="points.outside_max")


@pytest.mark.row(26)
def test_a_township(farm, given, hear):
    farm.write_fields(gpd.GeoDataFrame(geometry=[shapely.box(415_000, 4_860_000, 424_600, 4_869_600)], crs=32615))
    hear("geom.size", "warn", also="dem.partial_max")


def test_a_tree_as_a_point(farm, given, hear):
    trees = gpd.GeoDataFrame(geometry=[shapely.Point(420_100, 4_864_420)], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height": "40 ft"}
    hear("geom.widened", "fix")


def test_field_beyond_the_property(farm, given, hear):
    land = gpd.GeoDataFrame(geometry=[shapely.box(419_900, 4_863_900, 420_700, 4_864_500)], crs=32615)
    land.to_file(farm.folder / "land.gpkg")
    farm.layers["property"] = {"path": "land.gpkg"}
    hear("property.field_outside", "warn")


@pytest.mark.surprise("A corner that touches a line lay across it once the layer was in the farm's CRS.")
def test_an_outline_that_touches_itself_stays_valid_in_the_working_crs(farm):
    ring = [(-93.637, 42.053), (-93.64, 42.05), (-93.64, 42.050999999999995), (-93.638, 42.052), (-93.637, 42.053)]
    outline = gpd.GeoDataFrame({"name": ["needle"]}, geometry=[shapely.Polygon(ring)], crs=4326)
    assert outline.is_valid.all()
    assert not outline.to_crs(32615).is_valid.all()
    farm.write_fields(outline, "fields.geojson")
    farm.data["farm"]["crs"] = "EPSG:32615"
    fields = farm.read().fields
    assert fields.geometry.is_valid.all()
    assert fields["area_ha"].sum() == pytest.approx(outline.to_crs(5070).area.sum() / 1e4, rel=1e-3)
