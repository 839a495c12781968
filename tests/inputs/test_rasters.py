"""Heights in no unit, with gaps, turned round or of another place: each is named, with place, reason and cure."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine


@pytest.mark.row(9)
def test_unit_of_heights_not_given(farm, given, hear):
    del farm.layers["elevation"]["vertical_unit"]
    hear("dem.z_unit", "refuse")


@pytest.mark.row(10)
def test_heights_in_degrees(farm, given, hear):
    farm.write_raster(given["ground"], crs=4326, transform=Affine(6.3e-5, 0, -94.0, 0, -4.5e-5, 43.9325))
    hear("dem.geographic", "fix")


@pytest.mark.row(11)
def test_heights_of_most_of_the_fields(farm, given, hear):
    farm.write_raster(given["ground"][:, :180])
    hear("dem.partial", "warn")


@pytest.mark.row(11)
def test_heights_of_a_corner(farm, given, hear):
    farm.write_raster(given["ground"][:, :80])
    hear("dem.partial_max", "refuse")


@pytest.mark.row(12)
def test_heights_every_two_hundred_meters(farm, given, hear):
    coarse = np.full((12, 12), 300, dtype="float32")
    farm.write_raster(coarse, transform=Affine(200, 0, 419_000, 0, -200, 4_865_400))
    hear("dem.coarse", "warn")


@pytest.mark.row(13)
def test_gaps_written_as_heights(farm, given, hear):
    values = given["ground"].copy()
    values[100:103, 100:103] = -9999
    farm.write_raster(values)
    hear("raster.nodata_suspect", "warn")


def test_gaps_written_as_sea_level(farm, given, hear):
    values = given["ground"].copy()
    values[100:103, 100:103] = 0
    farm.write_raster(values)
    hear("raster.nodata_suspect", "warn")


@pytest.mark.row(14)
def test_south_up(farm, given, hear):
    farm.write_raster(given["ground"][::-1], transform=Affine(5, 0, 419_800, 0, 5, 4_863_700))
    hear("raster.turned", "fix")


@pytest.mark.row(14)
def test_rotated(farm, given, hear):
    turned = Affine.translation(419_700, 4_864_500) @ Affine.rotation(10) @ Affine.scale(5, -5)
    farm.write_raster(given["ground"], transform=turned)
    hear("raster.turned", "fix")


@pytest.mark.row(14)
def test_three_bands(farm, given, hear):
    farm.write_raster(np.stack([given["ground"]] * 3))
    hear("raster.band", "refuse")


def test_a_band_that_is_not_there(farm, given, hear):
    farm.layers["elevation"]["band"] = 4
    hear("raster.band", "refuse")


def test_complex_numbers(farm, given, hear):
    farm.write_raster(given["ground"].astype("complex64"))
    hear("raster.layout", "refuse")


def test_vector_for_raster(farm, given, hear):
    farm.layers["elevation"]["path"] = "fields.gpkg"
    hear("file.signature", "refuse")


def test_file_says_feet_and_plan_says_meters(farm, given, hear):
    farm.write_raster(given["ground"], crs="EPSG:32615+6360")
    hear("dem.z_unit_differs", "warn")


def test_receiver_in_feet_and_raster_called_meters(farm, given, hear):
    farm.layers["yield_points"]["columns"]["height"] = "Altitude"
    farm.layers["yield_points"]["units"]["height"] = "ft"
    farm.write_raster(given["ground"] * np.float32(3.28084))
    hear("dem.disagree", "warn")


def test_raster_three_times_as_hilly(farm, given, hear):
    table = given["table"]
    at = (table["Latitude"] - table["Latitude"].min()) * 111_195
    farm.write_points(table.assign(Altitude=(318 - 0.02 * at) / 0.3048))
    farm.layers["yield_points"]["columns"]["height"] = "Altitude"
    farm.layers["yield_points"]["units"]["height"] = "ft"
    farm.write_raster(300 + (given["ground"] - 300) * np.float32(3.28))
    hear("dem.disagree", "warn")


def test_heights_in_whole_meters(farm, given, hear):
    farm.write_raster(given["ground"].round().astype("int16"))
    hear("dem.steps", "warn")


@pytest.mark.surprise("An elevation turned over or mirrored passed for the farm.")
@pytest.mark.parametrize("turn", ["upside down", "mirrored"])
def test_ground_turned_over(farm, given, hear, turn):
    """The receiver's own heights tell; noise of a meter does not hide it."""
    ground, table = given["ground"], given["table"]
    there = gpd.GeoSeries(gpd.points_from_xy(table["Longitude"], table["Latitude"]), crs=4326).to_crs(32615)
    rows = ((4_864_600 - there.y) / 5).astype(int).to_numpy()
    cols = ((there.x - 419_800) / 5).astype(int).to_numpy()
    noise = np.random.default_rng(3).normal(0, 1, len(table))
    farm.write_points(table.assign(Altitude=ground[rows, cols] + noise))
    farm.layers["yield_points"]["columns"]["height"] = "Altitude"
    farm.layers["yield_points"]["units"]["height"] = "m"
    farm.read()
    assert "dem.disagree" not in farm.codes()
    farm.write_raster(np.ascontiguousarray(ground[::-1] if turn == "upside down" else ground[:, ::-1]))
    hear("dem.disagree", "warn")


def test_points_alone_are_ground_enough_to_judge_the_other_layers(farm, ground):
    del farm.layers["fields"]
    farm.write_raster(ground[:, :80])
    farm.read()
    assert farm.problem("dem.partial_max").severity == "refuse"


@pytest.mark.parametrize(("level", "code"), [(180.0, None), (80.0, "yield.unusual"), (8.0, "yield.implausible")])
def test_a_yield_map_of_another_level_is_told_as_points_are(farm, level: float, code: str | None) -> None:
    values = np.full((180, 240), level, np.float32)
    values[90, 100] = 2000.0  # within the first field
    farm.write_raster(values, "yield.tif")
    farm.layers.pop("yield_points")
    farm.layers["yield_raster"] = {"path": "yield.tif", "unit": "bu/ac at 15.5 %"}
    farm.read()
    told = {p.code: p for p in farm.report if p.code.startswith("yield.")}
    assert set(told) == {code, "yield.raster_outlier"} - {None} if code != "yield.implausible" else {code}
    for problem in told.values():
        assert "at 15.5%" in problem.what_in("us")
        assert " dry" in problem.what_in("metric")
