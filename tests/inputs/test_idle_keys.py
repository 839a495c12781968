"""Every key of a layer counts or is told: for each kind of file it changes what is read, or a problem names it."""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import xarray as xr
from made_tasks import MadeData, MadeTask, log_of
from pydantic import BaseModel

from stovergeo.core.printing import render
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.idle_keys import RULES, idle_keys
from stovergeo.inputs.plan import layers as models

COLUMNS = {"x": "Longitude", "y": "Latitude"}
LOGGED = {
    "Flow": ("0057", "DET-2", 1e6 * 0.45359237),
    "Moisture": ("0063", "DET-2", 1e4),
    "Distance_m": ("018D", "DET-1", 1000 / 6.0),
    "Width": ("0043", "DET-2", 25.4),
}
#: a value of each key that would change what is read, were it heeded; those left out only allow something
VALUES: dict[str, Any] = {
    "layer": "no such layer",
    "crs": "EPSG:26915",
    "swap_xy": True,
    "tags": {"name": "North forty"},
    "name_column": "kind",
    "standing_column": "standing",
    "height_column": "high",
    "height_unit": "ft",
    "height": "20 m",
    "bare_light_pct": 50,
    "sheet": "no such sheet",
    "swath": "9 m",
    "seconds": "7 s",
    "moisture_pct": 14,
    "header_down": "down",
    "corn": "Maize",
    "tables": "nothing",
    "band": 2,
    "vertical_unit": "ft",
    "columns.erodibility": "k",
    "columns.tolerance": "t",
    "columns.wind_erodibility": "w",
    "columns.carbon": "c",
    "units.erodibility": "US",
    "units.tolerance": "t/ha/yr",
    "units.wind_erodibility": "t/ha/yr",
    "units.carbon": "t/ha",
    **{f"columns.{role}": "Other" for role in ("x", "y", "flow", "mass", "yield", "moisture", "swath", "distance")},
    **{f"columns.{role}": "Other" for role in ("speed", "seconds", "time", "height", "machine", "load", "header")},
    "columns.crop": "Crop",
    "units.flow": "kg/s",
    "units.mass": "kg",
    "units.yield": "t/ha dry",
    "units.moisture": "fraction",
    "units.swath": "ft",
    "units.distance": "ft",
    "units.speed": "m/s",
    "units.height": "m",
    "units.seconds": "ms",
    "units.time": "s",
}
#: keys that say where a layer is or of when, or allow what would be refused
NO_CHOICE = {"path", "year", "unit", "allow_outside", "allow_partial"}
KINDS = ("text", "task data", "spreadsheet", "vector", "parquet")
#: as `columns` and `units` of the sound farm
DECLARED = {
    "columns": COLUMNS | {"flow": "Flow", "seconds": "Cycles", "distance": "Distance", "swath": "Swath"},
    "units": {"flow": "lb/s", "seconds": "s", "distance": "in", "swath": "in", "moisture": "%"},
}


def keys_of(model: type[BaseModel], head: str = "") -> Iterator[str]:
    for name, field in model.model_fields.items():
        key = head + (field.alias or name)
        if key in ("columns", "units"):
            yield from keys_of(type(field.get_default(call_default_factory=True)), f"{key}.")
        elif key.rpartition(".")[2] not in NO_CHOICE:
            yield key


def put(layer: dict, key: str, value: Any) -> None:
    head, _, tail = key.rpartition(".")
    (layer.setdefault(head, {}) if head else layer)[tail] = value


def digest(farm: FarmLayers | None) -> str:
    """Return a digest of all that was read."""
    parts: list[str] = []
    tables = () if farm is None else (farm.fields, farm.points, farm.soils, *farm.surroundings.values())
    for table in tables:
        if table is not None:
            flat = pd.DataFrame(table.drop(columns="geometry")).to_csv()
            parts += [flat, *table.geometry.to_wkb(hex=True), str(table.crs)]
    for raster in () if farm is None else (farm.elevation, farm.surface, farm.yield_raster):
        if isinstance(raster, xr.DataArray):
            parts.append(hashlib.sha256(raster.to_numpy().tobytes()).hexdigest())
    return hashlib.sha256("".join(parts).encode()).hexdigest()


def read(farm, layer: str, changed: dict) -> tuple[str, list[tuple[str, str]], set[str]]:
    """Return digest, problems and the keys told as idle of the farm with a layer in place of its own."""
    farm.layers[layer] = changed
    seen = farm.read()
    told = [(p.code, f"{p.where}: {p.what_in('metric')}") for p in farm.report]
    idle = {k for p in farm.report if p.code == "layer.idle_key" for k in p.what.values["keys"]}
    return digest(seen), told, idle


def points_as(kind: str, farm, table: pd.DataFrame) -> dict:
    """Write the sound points as a kind of file and return the layer that names it."""
    table = table.head(600).assign(Other=12.0, Crop=["Corn"] * 590 + ["Soybeans"] * 10)
    columns, units = (copy.deepcopy(DECLARED[name]) for name in ("columns", "units"))
    columns["moisture"] = "Moisture"
    layer = {"path": "points.csv", "crs": "EPSG:4326", "columns": columns, "units": units, "allow_outside": True}
    if kind == "text":
        farm.write_points(table)
    elif kind == "spreadsheet":
        table.to_excel(farm.folder / "points.xlsx", index=False)
        layer["path"] = "points.xlsx"
    elif kind == "task data":
        logged = table.assign(Distance_m=table["Distance"] * 0.0254, Width=table["Swath"])
        logged["Time"] += 1_758_000_000
        MadeData([MadeTask([log_of(logged, LOGGED)])]).write(farm.folder / "TASKDATA")
        layer = {"path": "TASKDATA", "allow_outside": True}
    else:
        places = gpd.points_from_xy(table["Longitude"], table["Latitude"], crs=4326)
        placed = gpd.GeoDataFrame(table.drop(columns=["Longitude", "Latitude"]), geometry=places)
        layer = {k: v for k, v in layer.items() if k != "crs"} | {
            "path": "points.gpkg" if kind == "vector" else "points.parquet"
        }
        layer["columns"] = {k: v for k, v in columns.items() if k not in "xy"}
        if kind == "vector":
            placed.to_file(farm.folder / "points.gpkg")
        else:
            placed.to_parquet(farm.folder / "points.parquet")
    return layer


def around(farm, kind: str, table: gpd.GeoDataFrame, name: str) -> dict:
    path = f"{name}.{'gpkg' if kind == 'vector' else 'parquet'}"
    (table.to_file if kind == "vector" else table.to_parquet)(farm.folder / path)
    return {"path": path}


def judge(farm, layer: str, sound: dict, model: type[BaseModel], elsewhere: tuple[str, ...] = ()) -> None:
    """Hold each key of a layer, but those that count `elsewhere`, against what is read without it."""
    farm.layers.pop("elevation", None)
    before, told_before, idle_before = read(farm, layer, copy.deepcopy(sound))
    assert idle_before == set()
    silent, wronged = [], []
    for key in set(keys_of(model)) - set(elsewhere):
        changed = copy.deepcopy(sound)
        put(changed, key, VALUES[key])
        after, told, idle = read(farm, layer, changed)
        if after == before and sorted(told) == sorted(told_before):
            silent.append(key)
        if key in idle and after != before and not farm.report.refused:
            wronged.append(key)
    assert (silent, wronged) == ([], [])


@pytest.mark.parametrize("kind", [*KINDS[:2], *(pytest.param(kind, marks=pytest.mark.long) for kind in KINDS[2:])])
def test_no_key_of_yield_points_is_without_effect_in_silence(farm, table, kind: str) -> None:
    farm.layers.pop("elevation")
    judge(farm, "yield_points", points_as(kind, farm, table), models.PointsLayer)


@pytest.mark.parametrize("kind", ["vector", "parquet"])
def test_no_key_of_fields_is_without_effect_in_silence(farm, fields, kind: str) -> None:
    farm.layers.pop("yield_points")
    farm.data["yields"] = {"everywhere": "180 bu/ac"}
    more = fields.assign(kind=["a", "b"], standing=["yes", "no"])
    judge(farm, "fields", around(farm, kind, more, "f"), models.FieldsLayer)


@pytest.mark.parametrize("layer", ["trees", "buildings", "wells", "property"])
@pytest.mark.parametrize("kind", ["vector", pytest.param("parquet", marks=pytest.mark.long)])
def test_no_key_of_surroundings_is_without_effect_in_silence(farm, fields, kind: str, layer: str) -> None:
    farm.layers.pop("yield_points")
    farm.data["yields"] = {"everywhere": "180 bu/ac"}
    things = fields.assign(kind=["a", "b"], high=[30.0, 40.0])
    sound = around(farm, kind, things, layer)
    if layer in ("trees", "buildings"):
        sound["height"] = "10 m"
    model = type(getattr(models.Layers.model_validate({layer: sound}), layer))
    # what light passes bare trees counts for the sun, and is not read here
    judge(farm, layer, sound, model, ("bare_light_pct",) if layer == "trees" else ())


@pytest.mark.parametrize("kind", ["vector", "raster"])
def test_no_key_of_soils_is_without_effect_in_silence(farm, fields, kind: str) -> None:
    farm.layers.pop("yield_points")
    farm.data["yields"] = {"everywhere": "180 bu/ac"}
    if kind == "raster":
        farm.write_raster(np.full((180, 240), 7, np.int32), "soils.tif")
        sound = {"path": "soils.tif"}
    else:
        own = fields.assign(musym=["1", "2"], k=[0.04, 0.03], t=5.0, w=48.0, c=70.0, kwfact=0.3, tfact=4.0, wei=86.0)
        sound = around(farm, kind, own.assign(geometry=shapely.buffer(own.geometry, 500)), "s")
    judge(farm, "soils", sound, models.SoilsLayer)


def test_task_data_tell_of_columns_and_units_once(farm, table) -> None:
    layer = points_as("task data", farm, table)
    _, _, idle = read(farm, "yield_points", {**layer, **DECLARED})
    assert idle == {f"{head}.{role}" for head in ("columns", "units") for role in DECLARED[head]}
    (problem,) = [p for p in farm.report if p.code == "layer.idle_key"]
    assert (problem.where, str(problem.severity)) == ("yield_points", "warn")
    assert "columns.flow" in render(problem.what, "us")


def test_what_an_earlier_harvest_takes_over_is_not_told(farm, table) -> None:
    """Columns of a table go over to earlier task data, where they change nothing; only keys of its own are told."""
    tasks = points_as("task data", farm, table)
    farm.layers["yield_points"] = points_as("text", farm, table)
    farm.layers["earlier_points"] = [{"year": 2024, "path": "TASKDATA", "allow_outside": True}]
    farm.read()
    assert "layer.idle_key" not in farm.codes()
    farm.layers["earlier_points"] = [{"year": 2024, **tasks, "units": {"moisture": "%"}}]
    farm.read()
    assert farm.problem("layer.idle_key").where == "earlier_points 1"


def test_layers_that_another_layer_puts_out_of_use_are_told(farm) -> None:
    farm.write_raster(np.full((180, 240), 180.0, np.float32), "yield.tif")
    farm.layers["yield_raster"] = {"path": "yield.tif", "unit": "bu/ac at 15.5 %"}
    farm.read()
    problem = farm.problem("layer.idle_key")
    assert (problem.where, problem.what.values["keys"]) == ("layers", ("yield_raster",))


def test_a_name_column_of_trees_is_used(farm, fields) -> None:
    fields.assign(sort=["Oak row", "Grove"]).to_file(farm.folder / "trees.gpkg")
    farm.layers["trees"] = {"path": "trees.gpkg", "height": "10 m", "name_column": "sort"}
    assert list(farm.read().surroundings["trees"]["name"]) == ["Oak row", "Grove"]


def test_each_rule_is_met_by_some_keys() -> None:
    """No rule names a key that no layer has."""
    every = {key for model in vars(models).values() if _is_layer(model) for key in [*keys_of(model), "year"]}
    every |= set(models.Layers.model_fields)
    for rule in RULES:
        layer = next((name for name in rule.layers if name != "*"), "yield_points")
        for key in rule.keys:
            stem = key.replace("*", "x").replace("units.x", "units.flow")
            assert stem in every or key in every, key
            found = idle_keys(layer, [stem], [stem, *rule.beside], None if layer == "layers" else min(rule.files))
            assert found, (key, layer)


def _is_layer(model: object) -> bool:
    return isinstance(model, type) and issubclass(model, models.Section) and hasattr(model, "model_fields")
