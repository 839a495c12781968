"""Changes of form that carry the same farm: nothing is refused, and no total moves."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine

CHANGES: list[Callable] = []


def change(make: Callable) -> Callable:
    CHANGES.append(make)
    return make


def totals(layers) -> np.ndarray:
    ground = layers.elevation
    rise = np.abs(np.diff(ground.to_numpy(), axis=0)).mean() / abs(ground.rio.resolution()[1])
    return np.array(
        [
            layers.fields["area_ha"].sum(),
            layers.points["grain_kg"].sum(),
            layers.points["area_m2"].sum(),
            layers.points.geometry.x.mean() - 420_000,
            float(np.nanmean(ground)),
            rise,
        ]
    )


@pytest.mark.parametrize("make", CHANGES, ids=lambda f: f.__name__)
def test_the_farm_is_the_same(farm, fields, table, ground, make):
    before = totals(farm.read())
    make(farm, fields, table, ground)
    layers = farm.read()
    assert farm.report.refused == []
    assert totals(layers) == pytest.approx(before, rel=0.005)


@change
def byte_order_mark(farm, fields, table, ground):
    path = farm.folder / "points.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())


@change
def utf_16(farm, fields, table, ground):
    table.to_csv(farm.folder / "points.csv", index=False, encoding="utf-16")


@change
def windows_line_ends(farm, fields, table, ground):
    table.to_csv(farm.folder / "points.csv", index=False, lineterminator="\r\n")


@change
def semicolons_and_decimal_commas(farm, fields, table, ground):
    table.to_csv(farm.folder / "points.csv", index=False, sep=";", decimal=",")


@change
def separator_named_in_the_first_line(farm, fields, table, ground):
    path = farm.folder / "points.csv"
    path.write_text("sep=,\n" + path.read_text())


@change
def every_value_in_quotes(farm, fields, table, ground):
    table.to_csv(farm.folder / "points.csv", index=False, quoting=1)


@change
def columns_in_another_order_and_more_of_them(farm, fields, table, ground):
    table.assign(Note="a, b", Blank=np.nan)[[*table.columns[::-1], "Note", "Blank"]].to_csv(
        farm.folder / "points.csv", index=False
    )


@change
def a_row_of_units_below_the_names(farm, fields, table, ground):
    lines = (farm.folder / "points.csv").read_text().splitlines()
    lines.insert(1, ",".join(["deg", "deg", "lb/s", "s", "in", "in", "%", "ft", "s", "-"]))
    (farm.folder / "points.csv").write_text("\n".join(lines))


@change
def blank_lines_at_the_end(farm, fields, table, ground):
    with (farm.folder / "points.csv").open("a") as file:
        file.write("\n\n\n")


@change
def points_in_meters(farm, fields, table, ground):
    there = gpd.GeoSeries(gpd.points_from_xy(table["Longitude"], table["Latitude"]), crs=4326).to_crs(26915)
    farm.write_points(table.assign(Longitude=there.x, Latitude=there.y))
    farm.layers["yield_points"]["crs"] = "EPSG:26915"


@change
def points_in_other_units(farm, fields, table, ground):
    metric = table.assign(Flow=table["Flow"] * 0.45359237, Swath=9.144, Distance=1080, Cycles=6000)
    farm.write_points(metric.assign(Moisture=metric["Moisture"] / 100))
    farm.layers["yield_points"]["units"] = {
        "flow": "kg/s", "swath": "m", "distance": "cm", "seconds": "ms", "moisture": "fraction",
    }  # fmt: skip


@change
def speed_for_distance(farm, fields, table, ground):
    farm.write_points(table.assign(Speed=425.2 / 6 * 0.0254 * 3.6))
    columns, units = farm.layers["yield_points"]["columns"], farm.layers["yield_points"]["units"]
    del columns["distance"]
    columns["speed"], units["speed"] = "Speed", "km/h"


@change
def one_width_and_one_duration_for_all(farm, fields, table, ground):
    farm.write_points(table.drop(columns=["Swath", "Cycles"]))
    points = farm.layers["yield_points"]
    del points["columns"]["swath"], points["columns"]["seconds"]
    points["swath"], points["seconds"] = "30 ft", "6 s"


@change
def mass_for_flow(farm, fields, table, ground):
    farm.write_points(table.assign(Mass=table["Flow"] * 6))
    columns, units = farm.layers["yield_points"]["columns"], farm.layers["yield_points"]["units"]
    del columns["flow"], columns["seconds"]
    columns["mass"], units["mass"] = "Mass", "lb"


@change
def yield_for_flow(farm, fields, table, ground):
    wet_bushels = table["Flow"] * 6 / 56 / (425.2 * 360 / 6_272_640)
    farm.write_points(table.assign(Yield=wet_bushels))
    columns, units = farm.layers["yield_points"]["columns"], farm.layers["yield_points"]["units"]
    del columns["flow"], columns["seconds"]
    columns["yield"], units["yield"] = "Yield", "bu/ac wet"


@change
def latitude_first_and_said(farm, fields, table, ground):
    farm.write_points(table.rename(columns={"Longitude": "Latitude", "Latitude": "Longitude"}))
    farm.layers["yield_points"]["swap_xy"] = True


@change
def outlines_the_other_way_round(farm, fields, table, ground):
    farm.write_fields(fields.set_geometry(shapely.reverse(fields.geometry.to_numpy()), crs=32615))


@change
def outlines_with_heights_and_very_many_vertices(farm, fields, table, ground):
    dense = shapely.segmentize(fields.geometry.to_numpy(), 1.0)
    farm.write_fields(fields.set_geometry(shapely.force_3d(dense, 300.0), crs=32615))


@change
def outlines_as_parts(farm, fields, table, ground):
    farm.write_fields(fields.set_geometry([shapely.MultiPolygon([g]) for g in fields.geometry], crs=32615))


@change
def outlines_in_a_collection(farm, fields, table, ground):
    farm.write_fields(fields.set_geometry([shapely.GeometryCollection([g]) for g in fields.geometry], crs=32615))


@change
def one_outline_twice(farm, fields, table, ground):
    farm.write_fields(pd.concat([fields, fields.tail(1)], ignore_index=True))


@change
def heights_in_feet_and_said(farm, fields, table, ground):
    farm.write_raster(ground / np.float32(0.3048))
    farm.layers["elevation"]["vertical_unit"] = "ft"


@change
def heights_with_scale_and_offset(farm, fields, table, ground):
    import rasterio

    farm.write_raster(((ground - 300) * 1000).astype("int32"))
    with rasterio.open(farm.folder / "ground.tif", "r+") as file:
        file.scales, file.offsets = (0.001,), (300.0,)


@change
def heights_south_up(farm, fields, table, ground):
    farm.write_raster(ground[::-1], transform=Affine(5, 0, 419_800, 0, 5, 4_863_700))


@change
def heights_in_the_second_band(farm, fields, table, ground):
    farm.write_raster(np.stack([ground * 0, ground]))
    farm.layers["elevation"]["band"] = 2


@change
def heights_as_a_text_grid(farm, fields, table, ground):
    rows = "\n".join(" ".join(f"{v:.2f}" for v in row) for row in ground)
    head = "ncols 240\nnrows 180\nxllcorner 419800\nyllcorner 4863700\ncellsize 5\nNODATA_value -9999\n"
    (farm.folder / "ground.asc").write_text(head + rows)
    farm.layers["elevation"] |= {"path": "ground.asc", "crs": "EPSG:32615"}


@change
def working_crs_of_another_datum(farm, fields, table, ground):
    farm.data["farm"]["crs"] = "EPSG:26915"
