"""Sound layers come through whole, in every format, in meters and dry Mg/ha."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from stovergeo.core.errors import Report
from stovergeo.core.schemas import TABLES, check_table
from stovergeo.core.stack import new_stack, put, total
from stovergeo.core.units import (
    K_SI_PER_US,
    KG_DRY_PER_BUSHEL_CORN,
    M2_PER_ACRE,
    M_PER_FT,
    MG_HA_DRY_PER_BU_ACRE,
    MG_HA_PER_TON_ACRE,
)
from stovergeo.inputs.grid import farm_grid, put_layers, put_surface
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers


def test_a_sound_farm_brings_no_refusal_and_no_warning(farm):
    layers = farm.read()
    assert {p.code for p in farm.report if p.severity != "fix"} == set()
    assert layers.crs.to_epsg() == 32615
    for name in ("fields", "points", "soils"):
        check_table(getattr(layers, name), name, "test")
        assert set(getattr(layers, name).columns) <= set(TABLES[name])
    assert layers.fields["area_ha"].to_numpy() == pytest.approx([16.0, 15.2], rel=2e-3)
    assert "Elevation" not in layers.not_checked
    assert "Wells" in layers.not_checked


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson", "fgb", "kml", "parquet"])
def test_fields_of_every_format_are_the_same_fields(farm, fields, ending):
    if ending == "parquet":
        fields.to_parquet(farm.folder / "f.parquet")
    elif ending in ("geojson", "kml"):
        driver = {"geojson": "GeoJSON", "kml": "LIBKML"}[ending]
        fields.to_crs(4326).to_file(farm.folder / f"f.{ending}", driver=driver)
    else:
        fields.to_file(farm.folder / f"f.{ending}")
    farm.layers["fields"] = {"path": f"f.{ending}", "name_column": "Name" if ending == "kml" else "name"}
    read = farm.read().fields.set_index("name")
    assert farm.report.refused == []
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        assert read.loc[name, "geometry"].symmetric_difference(shape).area < 1.0


@pytest.mark.parametrize("ending", ["csv", "xlsx", "gpkg", "parquet", "tsv"])
def test_points_of_every_format_are_the_same_points(farm, table, ending):
    first = farm.read().points
    columns = farm.layers["yield_points"]["columns"]
    if ending == "xlsx":
        table.to_excel(farm.folder / "p.xlsx", index=False)
    elif ending == "tsv":
        table.to_csv(farm.folder / "p.tsv", sep="\t", index=False)
    elif ending == "gpkg":
        places = gpd.points_from_xy(table["Longitude"], table["Latitude"])
        gpd.GeoDataFrame(table, geometry=places, crs=4326).to_file(farm.folder / "p.gpkg")
        del columns["x"], columns["y"]
    elif ending == "parquet":
        table.to_parquet(farm.folder / "p.parquet")
    if ending != "csv":
        farm.layers["yield_points"]["path"] = f"p.{ending}"
    second = farm.read().points
    assert farm.report.refused == []
    assert second["grain_mg_ha"].to_numpy() == pytest.approx(first["grain_mg_ha"].to_numpy(), rel=1e-12)
    assert shapely.distance(first.geometry.to_numpy(), second.geometry.to_numpy()).max() < 1e-6


def test_a_folder_of_several_files_is_one_harvest_with_a_load_a_file(farm, table):
    whole = farm.read().points
    (farm.folder / "loads").mkdir()
    half = len(table) // 2
    table[:half].to_csv(farm.folder / "loads" / "1.csv", index=False)
    table[half:].to_excel(farm.folder / "loads" / "2.xlsx", index=False)
    farm.layers["yield_points"]["path"] = "loads"
    parts = farm.read().points
    assert farm.report.refused == []
    assert parts["load"].value_counts().to_dict() == {"1.csv": half, "2.xlsx": len(table) - half}
    assert parts["grain_kg"].sum() == pytest.approx(whole["grain_kg"].sum(), rel=1e-12)


@pytest.mark.open_data
def test_the_real_field_comes_to_its_known_bushels(real_field: Path):
    """Worked row and totals: the read-me of the real field (records of a Minnesota farm)."""
    columns = {
        "x": "Longitude",
        "y": "Latitude",
        "flow": "Flow",
        "seconds": "Cycles",
        "distance": "Distance",
        "swath": "Swath",
        "moisture": "Moisture",
        "height": "Altitude",
    }
    units = {"flow": "lb/s", "seconds": "s", "distance": "in", "swath": "in", "moisture": "%", "height": "ft"}
    points = {"path": "yield_points.csv", "crs": "EPSG:4326", "columns": columns, "units": units}
    soils = {"path": "soil_map_units.shp"}
    soil = {"drainage_class": "poorly drained", "clay_pct": 40, "erodibility": "0.28 US", "tolerance": "5 ton/ac/yr"}
    data = {
        "farm": {"name": "F16", "season": 2011, "crs": "EPSG:26915"},
        "layers": {"yield_points": points, "soils": soils},
        "soil": soil,
    }
    report = Report()
    layers = read_layers(plan_from(data, real_field, report), report)
    assert report.refused == []
    read = layers.points
    assert len(read) == 4949
    assert read["grain_mg_ha"].iloc[0] / MG_HA_DRY_PER_BU_ACRE == pytest.approx(128.37, abs=0.005)
    bushels, acres = read["grain_kg"].sum() / KG_DRY_PER_BUSHEL_CORN, read["area_m2"].sum() / M2_PER_ACRE
    assert bushels == pytest.approx(9027.2, abs=0.05)
    assert acres == pytest.approx(67.45, abs=0.005)
    assert bushels / acres == pytest.approx(133.8, abs=0.05)
    assert read["grain_kg"].sum() / 1000 == pytest.approx(193.76, abs=0.005)
    west, south, east, north = read.total_bounds
    assert (east - west, north - south) == pytest.approx((398.9, 698.9), abs=0.05)
    # soil polygons without attributes take those of the plan, and keep their own symbols
    assert set(layers.soils["soil_id"]) >= {"110", "230", "211", "319", "105C"}
    assert layers.soils["clay_pct"].eq(40).all()


def test_the_grid_is_north_up_and_snapped_to_whole_cells(farm):
    layers = farm.read()
    grid = farm_grid(layers.fields, None, layers.crs, 5.0, 80.0)
    assert (grid.transform.a, grid.transform.e) == (5.0, -5.0)
    assert grid.transform.c % 5 == 0
    assert grid.transform.f % 5 == 0
    west, south, east, north = grid.boundingbox.bbox
    assert west <= 420_000 - 80 < west + 5
    assert north >= 4_864_400 + 80 > north - 5
    assert east > 420_880 - 5
    assert south < 4_863_920 + 5


def test_the_stack_gains_fields_heights_soils(farm):
    layers = farm.read()
    stack = put_layers(new_stack(farm_grid(layers.fields, None, layers.crs, 5.0, 80.0)), layers, layers.fields)
    field_ha = float(stack["cell_area_ha"].where(stack["field_number"] == 0).sum())
    assert field_ha == pytest.approx(layers.fields["area_ha"].iloc[0], rel=2e-3)
    # without property lines only the fields are known to be the grower's
    assert bool((np.isfinite(stack["field_number"]) == (stack["inside_property"] == 1)).all())
    # plane ground: 0.1 m down a row northward is 5 m; heights at cell centers are exact
    column = stack["elevation_m"].isel(x=50)
    assert np.diff(column.to_numpy()) == pytest.approx(np.full(len(column) - 1, 0.1), abs=1e-4)
    assert (stack["surface_m"] == stack["elevation_m"]).all()
    assert float(stack["clay_pct"].min()) == float(stack["clay_pct"].max()) == 24
    assert float(stack["soil_erodibility"].max()) == pytest.approx(0.32 * K_SI_PER_US, rel=1e-6)
    assert float(stack["soil_loss_tolerance"].max()) == pytest.approx(5 * MG_HA_PER_TON_ACRE, rel=1e-6)
    ones = put(stack, grain_mg_ha=np.ones(stack["clay_pct"].shape))
    assert total(ones, "grain_mg_ha", stack["field_number"] == 1) == pytest.approx(15.2, rel=5e-3)


def test_trees_raise_the_surface_and_not_the_ground(farm):
    row = shapely.box(420_100, 4_864_420, 420_300, 4_864_440)
    trees = gpd.GeoDataFrame({"h": [40.0]}, geometry=[row], crs=32615)
    trees.to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height_column": "h", "height_unit": "ft"}
    layers = farm.read()
    stack = put_layers(new_stack(farm_grid(layers.fields, None, layers.crs, 5.0, 80.0)), layers, layers.fields)
    raised = (stack["surface_m"] - stack["elevation_m"]).to_numpy()
    assert raised.max() == pytest.approx(40 * M_PER_FT, abs=1e-4)
    assert 0 < (raised > 0).sum() <= (200 / 5 + 2) * (20 / 5 + 2)


def test_heights_put_later_can_still_be_raised(farm):
    del farm.layers["elevation"]
    layers = farm.read()
    stack = put_layers(new_stack(farm_grid(layers.fields, None, layers.crs, 5.0, 80.0)), layers, layers.fields)
    assert "elevation_m" not in stack
    flat = put(stack, elevation_m=np.full(stack["clay_pct"].shape, 310.0))
    assert float(put_surface(flat, layers)["surface_m"].max()) == 310.0


def test_finer_heights_are_averaged_onto_the_grid(farm, ground):
    fine = np.kron(ground, np.ones((5, 5), dtype="float32"))
    fine[::2] += 1
    fine[1::2] -= 1
    farm.write_raster(fine, "fine.tif", transform=Affine(1, 0, 419_800, 0, -1, 4_864_600))
    farm.layers["elevation"]["path"] = "fine.tif"
    layers = farm.read()
    assert layers.elevation.rio.resolution() == (1.0, -1.0)
    stack = put_layers(new_stack(farm_grid(layers.fields, None, layers.crs, 5.0, 80.0)), layers, layers.fields)
    steps = np.diff(stack["elevation_m"].isel(x=50).to_numpy())
    assert abs(steps).max() < 0.1 + 2 * 0.2 + 1e-3  # five rows: three up, two down, or the other way


def test_cells_that_a_mask_hides_are_unknown(farm, ground):
    spoiled = ground.copy()
    spoiled[80:90, 100:120] = 250.0  # heights one could believe, but for the mask
    farm.write_raster(spoiled)
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(farm.folder / "ground.tif", "r+") as file:
        file.write_mask(spoiled != 250.0)
    layers = farm.read()
    assert int(np.isnan(layers.elevation).sum()) == 200
    assert float(layers.elevation.min()) >= 299


def test_a_hole_and_a_second_part_of_a_field_are_kept(farm, fields):
    pond = shapely.box(420_100, 4_864_100, 420_200, 4_864_200)
    other = shapely.box(420_000, 4_864_500, 420_100, 4_864_600)
    shapes = [fields.geometry[0].difference(pond).union(other), fields.geometry[1]]
    farm.write_fields(fields.set_geometry(shapes, crs=32615))
    assert farm.read().fields["area_ha"].iloc[0] == pytest.approx(16.0 - 1.0 + 1.0, rel=2e-3)
    assert farm.report.refused == []
