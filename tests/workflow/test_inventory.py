"""A plan without a need is an inventory of what could leave; it decides nothing, and says so everywhere."""

from __future__ import annotations

import json
import math
from pathlib import Path

import geopandas as gpd
import pytest
from as_user import write_plan
from least_farm import boundary, least, planned
from small_farm import command

from stovergeo.core.printing import render

CORN = {"rotation": "continuous corn", "tillage": ["planter_no_till"], "harvest_years": "1 of 2"}
YIELD = {"everywhere": "200 bu/ac"}
HERD = {"herd": [{"name": "cows", "head": 20}]}


def test_every_allowed_method_of_every_zone_is_listed_with_mass_bales_cost_and_chance(tmp_path: Path) -> None:
    boundary(tmp_path)
    result, _ = planned(tmp_path, least(crop={**CORN, "manure_c_mg_ha": 0.8}, yields=YIELD))
    table, offers = result.supply.inventory, result.residue.zone_methods
    allowed = offers[offers["allowed"]].set_index(["zone_id", "method"])
    assert set(map(tuple, table[["zone_id", "method"]].to_numpy())) == set(allowed.index)
    assert len(table) > len(result.zones), "two methods fit one of the zones"
    area = result.zones.set_index("zone_id")["area_ha"]
    for row in table.itertuples():
        offer = allowed.loc[(row.zone_id, row.method)]
        assert row.dry_mg == pytest.approx(offer["removal_mg_ha"] * area[row.zone_id])
        assert row.compliance_probability == offer["compliance_probability"]
        assert row.edge_cost_per_mg > 0
    # what the zones show is the method that takes most, and its bales are those of the inventory
    most = table[table["takes_most"]].set_index("zone_id")
    shown = result.zones[result.zones["removal_mg"] > 0].set_index("zone_id")
    assert dict(most["method"]) == dict(shown["method"])
    made = result.bales.made.set_index("zone_id")
    assert dict(most["bales"]) == dict(made["bales"])
    for zone, row in most.iterrows():
        assert row["bales"] == math.floor(row["dry_mg"] * 1000 / made.at[zone, "bale_dry_kg"])


def test_it_is_called_an_inventory_and_no_decision(tmp_path: Path) -> None:
    boundary(tmp_path)
    path = write_plan(least(crop=CORN, yields=YIELD), tmp_path)
    done = command("plan", path, "--out", tmp_path / "out")
    said = " ".join(done.stdout.split())
    record = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    bales = sum(row["bales"] for row in record["inventory"] if row["takes_most"])
    assert f"Up to {bales} bales, " in said
    assert "What could leave, by zone and method" in said
    assert "No need is given, so nothing is decided" in said
    assert "nothing is gathered" not in said
    assert "bales planned" not in said
    assert "Leaves, dry" not in said
    assert "so nothing is decided" in (tmp_path / "out" / "map.html").read_text("utf-8")
    assert "no order to bale" in (tmp_path / "out" / "crew.html").read_text("utf-8")
    # a landowner reads none of the costs
    cost = f"{record['inventory'][0]['edge_cost_per_mg']:.4f}"
    assert cost not in (tmp_path / "out" / "map.html").read_text("utf-8")


def test_a_plan_with_a_need_decides_and_keeps_the_inventory_as_a_table(tmp_path: Path) -> None:
    boundary(tmp_path)
    path = write_plan(least(crop=CORN, yields=YIELD, need=HERD), tmp_path)
    done = command("plan", path, "--out", tmp_path / "out")
    assert "bales planned" in done.stdout
    assert "What could leave, by zone" not in done.stdout
    assert len(json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))["inventory"]) > 0


def test_a_field_that_is_refused_is_in_no_inventory(tmp_path: Path) -> None:
    boundary(tmp_path)
    fields = gpd.read_file(tmp_path / "fields.geojson")
    fields[fields["name"] == "River"].to_file(tmp_path / "no.geojson")
    result, _ = planned(tmp_path, least(crop=CORN, yields=YIELD, landowner={"no_go": "no.geojson"}))
    assert set(result.supply.inventory["field_id"]) == set(
        result.fields.loc[result.fields["name"] == "Home", "field_id"]
    )


def test_nothing_that_could_leave_is_an_empty_inventory_and_no_promise(tmp_path: Path) -> None:
    boundary(tmp_path)
    result, _ = planned(tmp_path, least(yields=YIELD, limits={"harvest_from_bu_ac": 300}))
    assert result.supply.inventory.empty
    assert next(render(m, "us") for m in result.words["choice"]).startswith("No need is given, so nothing is decided")
