"""Layers in the wrong place, or in none: each is named, with place, reason and cure."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

from stovergeo.inputs.crs import geodesic_ha


@pytest.mark.row(1)
def test_no_crs(farm, given, hear):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer warns of what is done here on purpose
        farm.write_fields(given["fields"].set_crs(None, allow_override=True))
    hear("crs.missing", "refuse")


@pytest.mark.row(1)
def test_points_without_crs(farm, given, hear):
    del farm.layers["yield_points"]["crs"]
    hear("crs.missing", "refuse")


@pytest.mark.row(1)
def test_raster_without_crs(farm, given, hear):
    farm.write_raster(given["ground"], crs=None)
    hear("crs.missing", "refuse")


@pytest.mark.row(2)
def test_latitude_for_longitude(farm, given, hear):
    columns = farm.layers["yield_points"]["columns"]
    columns["x"], columns["y"] = columns["y"], columns["x"]
    hear("crs.swapped", "refuse")


def test_swapped_where_both_could_be_degrees(farm, given, hear):
    # western Ohio: 84 degrees west and 40 north read turned round are a valid place in Antarctica
    place = shapely.box(40.0, -84.01, 40.01, -84.0)
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[place], crs=4326).to_file(farm.folder / "turned.geojson")
    farm.layers["fields"] = {"path": "turned.geojson"}
    hear("crs.swapped", "refuse")


def test_northing_for_easting(farm, given, hear):
    turned = shapely.transform(given["fields"].geometry.to_numpy(), lambda xy: xy[:, ::-1])
    farm.write_fields(given["fields"].set_geometry(turned, crs=32615))
    hear("crs.swapped", "refuse")


@pytest.mark.row(3)
def test_meters_labeled_degrees(farm, given, hear):
    farm.write_fields(given["fields"].set_crs(4326, allow_override=True))
    hear("crs.mislabeled", "refuse")


def test_degrees_labeled_meters(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(4326).set_crs(32615, allow_override=True))
    hear("crs.mislabeled", "refuse")


@pytest.mark.row(4)
def test_true_place_in_the_neighboring_zone(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(32614))
    hear("crs.outside_area_of_use", "warn")


@pytest.mark.row(4)
def test_zone_of_another_continent(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(4326).to_crs(2154))
    hear("crs.wrong_place", "refuse")


@pytest.mark.row(5)
def test_plane_of_web_maps(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(3857))
    hear("crs.web_mercator", "fix")


@pytest.mark.row(6)
def test_survey_feet(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(3417))
    hear("crs.feet", "fix")


@pytest.mark.row(8)
def test_datum_of_1927(farm, given, hear):
    farm.write_fields(given["fields"].to_crs(26715))
    hear("crs.ballpark", "warn")


def test_crs_nobody_knows(farm, given, hear):
    farm.layers["fields"]["crs"] = "EPSG:99999999"
    hear("crs.unknown", "refuse")


def test_plan_and_file_differ(farm, given, hear):
    farm.layers["fields"]["crs"] = "EPSG:32616"
    hear("crs.overridden", "warn", also="overlay.empty")


def test_earth_centered_axes(farm, given, hear):
    farm.layers["fields"]["crs"] = "EPSG:4978"
    hear("crs.unsupported", "refuse")


def test_working_crs_in_degrees(farm, given, hear):
    farm.data["farm"]["crs"] = "EPSG:4326"
    hear("crs.not_meters", "refuse")


def test_working_crs_in_feet(farm, given, hear):
    farm.data["farm"]["crs"] = "EPSG:3417"
    hear("crs.not_meters", "refuse")


def test_working_crs_of_nonsense(farm, given, hear):
    farm.data["farm"]["crs"] = "the usual one"
    hear("crs.unknown", "refuse")


@pytest.mark.row(24)
def test_coordinates_of_a_billion(farm, given, hear):
    farm.write_fields(given["fields"].translate(1e7, 1e9).to_frame("geometry"))
    hear("geom.out_of_range", "refuse")


def test_plausible_after_a_wrong_transform(farm, given, hear):
    # GDAL would return a place in the south Atlantic for this (catalog, 5.2)
    farm.write_fields(given["fields"].translate(5e7, 0).to_frame("geometry"))
    hear("geom.out_of_range", "refuse")


@pytest.mark.row(25)
def test_across_the_date_line(farm, given, hear):
    boxes = [shapely.box(-179.9, 40, -179.8, 40.1), shapely.box(179.8, 40, 179.9, 40.1)]
    farm.write_fields(gpd.GeoDataFrame(geometry=boxes, crs=4326))
    hear("geom.antimeridian", "refuse")


@pytest.mark.row(7)
def test_points_of_another_farm(farm, given, hear):
    farm.write_points(given["table"].assign(Longitude=given["table"]["Longitude"] + 0.2))
    hear("overlay.empty", "refuse")


def test_heights_of_another_county(farm, given, hear):
    farm.write_raster(given["ground"], transform=Affine(5, 0, 500_000, 0, -5, 4_900_000))
    hear("overlay.empty", "refuse")


def test_wells_of_another_county(farm, given, hear):
    wells = gpd.GeoDataFrame(geometry=[shapely.Point(440_000, 4_864_000)], crs=32615)
    wells.to_file(farm.folder / "wells.gpkg")
    farm.layers["wells"] = {"path": "wells.gpkg"}
    hear("overlay.far", "warn")


@pytest.mark.parametrize("code", [32615, 32614, 26915, 5070, 3857, 3417, 4326, 4269, 6344])
def test_a_field_has_one_area_in_whatever_plane_it_comes(farm, fields, code):
    farm.write_fields(fields.to_crs(code))
    read = farm.read()
    assert farm.report.refused == []
    assert read.fields["area_ha"].to_numpy() == pytest.approx(geodesic_ha(fields), rel=2e-6)
    assert read.crs.to_epsg() == 32615


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 38.0, 42.0, 48.0])
def test_true_area_against_the_closed_form_of_the_ellipsoid(latitude):
    """Area between parallels and meridians: Snyder 1987, USGS Prof. Paper 1395, eq. 3-12 for q (from memory)."""
    a, f = 6_378_137.0, 1 / 298.257223563
    e = np.sqrt(f * (2 - f))

    def q(phi: float) -> float:
        s = np.sin(np.radians(phi))
        return (1 - e**2) * (s / (1 - e**2 * s**2) - np.log((1 - e * s) / (1 + e * s)) / (2 * e))

    step = 0.01
    exact_ha = a**2 * np.radians(step) * (q(latitude + step) - q(latitude)) / 2 / 10_000
    # geodesic sides leave the parallels by a hair; points along them keep the figure on them
    lon = np.linspace(-93, -93 + step, 50)
    ring = [(x, latitude) for x in lon] + [(x, latitude + step) for x in lon[::-1]]
    frame = gpd.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs=4326)
    assert geodesic_ha(frame)[0] == pytest.approx(exact_ha, rel=1e-7)
