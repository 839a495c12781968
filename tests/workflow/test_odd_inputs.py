"""Inputs as people bring them, with the mistakes they make: each is told by the command, with its place and cure."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from as_user import ask, write_plan
from least_farm import boundary, least
from shapely.geometry import box

Change = Callable[[dict[str, Any], Path], object]


def put(section: str, **values: Any) -> Change:
    return lambda plan, folder: plan.setdefault(section, {}).update(values)


def standing(*words: object) -> Change:
    """Give the boundary a column of whether a crop stands."""

    def change(plan: dict[str, Any], folder: Path) -> None:
        fields = gpd.read_file(folder / "fields.geojson").assign(crop=list(words))
        fields.to_file(folder / "standing.gpkg")
        plan["layers"]["fields"] = {"path": "standing.gpkg", "name_column": "name", "standing_column": "crop"}

    return change


def strip(plan: dict[str, Any], folder: Path) -> None:
    """Add a strip narrower than a cell to the boundary."""
    fields = gpd.read_file(folder / "fields.geojson").to_crs(32616)
    west, south, _, _ = fields.total_bounds
    narrow = gpd.GeoDataFrame(
        {"name": ["Strip"]}, geometry=[box(west + 22, south - 60, west + 38, south - 50)], crs=32616
    )
    pd.concat([fields[["name", "geometry"]], narrow]).to_file(folder / "strip.gpkg")
    plan["layers"]["fields"] = {"path": "strip.gpkg", "name_column": "name"}
    plan["farm"]["cell"] = "40 m"


def renamed(old: str, new: str) -> Change:
    """Give a field of the boundary another name."""

    def change(plan: dict[str, Any], folder: Path) -> None:
        fields = gpd.read_file(folder / "fields.geojson")
        fields["name"] = fields["name"].replace(old, new)
        fields.to_file(folder / "renamed.gpkg")
        plan["layers"]["fields"] = {"path": "renamed.gpkg", "name_column": "name"}

    return change


def yields_by_field(plan: dict[str, Any], folder: Path) -> None:
    """Name a spreadsheet with one row a field as yield points."""
    pd.DataFrame({"field": ["Home", "River"], "bu/ac": [200, 185]}).to_excel(folder / "yields.xlsx", index=False)
    columns, units = {"yield": "bu/ac"}, {"yield": "bu/ac at 15.5 %"}
    plan["layers"]["yield_points"] = {"path": "yields.xlsx", "columns": columns, "units": units}


def told(folder: Path, change: Change | None = None, place: str = "Illinois", **sections: Any) -> list[dict[str, str]]:
    boundary(folder, place)
    plan = copy.deepcopy(least(yields={"everywhere": "190 bu/ac"}, **sections))
    if change is not None:
        change(plan, folder)
    _, out, _ = ask("check", write_plan(plan, folder), "--json")
    return [p for p in json.loads(out)["problems"] if not p["code"].startswith("climate.")]


@pytest.mark.parametrize(
    ("change", "code", "where", "words"),
    [
        (standing("yes", "ja"), "fields.standing_words", "fields.standing_column", "such as 'ja'"),
        (put("storage", baled="08-10", last_used="11-05"), "plan.unusual", "storage.baled", "changed places"),
        (put("storage", baled="08-10"), "plan.unusual", "storage.baled", "Corn still grows"),
        (put("gather", min_zone="90 ac"), "plan.unusual", "gather.min_zone", "larger than every field"),
        (put("yields", everywhere="20 bu/ac"), "plan.unusual", "yields.everywhere", "20 bu/ac"),
        (put("yields", by_field={"River": "200 t/ha"}), "plan.bad_value", "yields.by_field.River", "at most 40"),
        (put("farm", market_moisture_pct=155), "plan.bad_value", "farm.market_moisture_pct", "at most 30"),
        (put("soil", clay_pct=0.24), "plan.unusual", "soil.clay_pct", "fraction"),
        (put("farm", season=2062), "plan.unusual", "farm.season", "2062 has not begun"),
        (renamed("River", "home "), "fields.same_name", "fields", "2 fields have the name 'Home' and 'home'"),
        (strip, "fields.no_cell", "'Strip'", "smaller `cell`"),
        (yields_by_field, "points.no_xy", "yield_points.columns.x", "by_field"),
    ],
)
def test_a_mistake_is_told_at_its_place(tmp_path: Path, change: Change, code: str, where: str, words: str) -> None:
    found = [p for p in told(tmp_path, change) if p["code"] == code]
    assert any(where in p["where"] and words in f"{p['what']} {p['cure']}" for p in found), found


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (None, "Illinois"),
        (None, "Vojvodina"),
        (None, "Pampas"),
        (standing("yes", None), "Illinois"),
        (standing(1, 0), "Illinois"),
        (put("storage", baled="04-20", last_used="11-10"), "Pampas"),
        (put("storage", baled="09-20"), "Illinois"),
        (put("gather", min_zone="12 ac"), "Illinois"),
    ],
)
def test_what_is_right_is_left_in_peace(tmp_path: Path, change: Change | None, place: str) -> None:
    assert told(tmp_path, change, place) == []


def test_corn_of_the_south_is_baled_in_august(tmp_path: Path) -> None:
    """Texas harvests in July and August."""
    shape = box(630_000, 3_250_000, 630_400, 3_250_400)
    gpd.GeoDataFrame({"name": ["Gulf"]}, geometry=[shape], crs="EPSG:32614").to_file(tmp_path / "gulf.gpkg")

    def change(plan: dict[str, Any], folder: Path) -> None:
        plan["layers"]["fields"] = {"path": "gulf.gpkg", "name_column": "name"}
        plan["storage"] = {"baled": "08-10"}

    assert told(tmp_path, change) == []


def points_with_commas(folder: Path) -> None:
    """Write a table of points as a European spreadsheet does: semicolons, and commas for the decimal point."""
    rng = np.random.default_rng(3)
    fields = gpd.read_file(folder / "fields.geojson").to_crs(32616)
    west, south, east, north = fields.total_bounds
    x, y = np.meshgrid(np.arange(west, east, 8.0), np.arange(south, north, 4.0))
    place = gpd.GeoSeries.from_xy(x.T.ravel(), y.T.ravel(), crs=32616).to_crs(4326)
    table = {"lon": place.x, "lat": place.y, "yield_t_ha": rng.normal(11, 1, len(place)), "moisture": 18.4}
    pd.DataFrame(table | {"width_m": 8.1}).to_csv(folder / "points.csv", sep=";", decimal=",", index=False)


def test_check_proposes_columns_of_a_table_with_decimal_commas(tmp_path: Path) -> None:
    boundary(tmp_path)
    points_with_commas(tmp_path)
    plan = least(layers={"yield_points": {"path": "points.csv"}}, yields={"everywhere": "10 t/ha"})
    _, out, _ = ask("check", write_plan(plan, tmp_path), "--json")
    roles = {p["column"]: (p["role"], p["unit"]) for p in json.loads(out)["proposals"]}
    assert roles["lon"][0] == "x"
    assert roles["lat"][0] == "y"
    assert roles["yield_t_ha"] == ("yield", "t/ha at 15.5 %")
    assert roles["width_m"] == ("swath", "m")


def test_check_shows_the_unit_that_the_plan_declares(tmp_path: Path) -> None:
    """A column in meters that could be feet is shown in meters where the plan says so, whatever its values fit."""
    boundary(tmp_path)
    points_with_commas(tmp_path)
    columns = {"x": "lon", "y": "lat", "yield": "yield_t_ha", "moisture": "moisture", "swath": "width_m"}
    units = {"yield": "t/ha wet", "moisture": "%", "swath": "ft"}
    layer = {"path": "points.csv", "crs": "EPSG:4326", "columns": columns, "units": units}
    _, out, _ = ask("check", write_plan(least(layers={"yield_points": layer}), tmp_path), "--json")
    found = {p["role"]: p["unit"] for p in json.loads(out)["proposals"]}
    assert {role: found[role] for role in units} == units


def test_a_field_that_is_named_by_a_number_is_found_by_it(tmp_path: Path) -> None:
    """A column of numbers with a blank in it is read as numbers with a decimal."""

    def change(plan: dict[str, Any], folder: Path) -> None:
        gpd.read_file(folder / "fields.geojson").assign(name=[80, None]).to_file(folder / "numbered.gpkg")
        plan["layers"]["fields"] = {"path": "numbered.gpkg", "name_column": "name"}
        plan["yields"] = {"by_field": {"80": "200 bu/ac"}}

    assert told(tmp_path, change) == []
