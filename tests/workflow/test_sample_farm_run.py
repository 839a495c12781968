"""The main job on the sample farm, through the command."""

from __future__ import annotations

import csv
import re
import subprocess
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import rasterio
from declared import outside_range
from page_money import money_in

from stovergeo.core.stack import variable

Run = tuple[Path, subprocess.CompletedProcess]
NAMES = {
    "map.html",
    "plan.gpkg",
    "removable.tif",
    "siting.tif",
    "zones.csv",
    "yards.csv",
    "crew.html",
    "plan.json",
    "sources.csv",
}


def test_the_command_writes_every_result_and_ends_with_a_table(sample_run: Run) -> None:
    out, said = sample_run
    assert said.returncode == 0, said.stderr
    assert {p.name for p in out.iterdir()} == NAMES
    for word in ("Home Field", "Clay Flat", "bales", "turns", "Need", "map.html"):
        assert word in said.stdout
    assert "Traceback" not in said.stderr
    assert (out / "map.html").stat().st_size < 3_000_000


def test_the_landowners_page_holds_the_offer_and_none_of_the_growers_money(
    sample_run: Run, sample_record: dict
) -> None:
    page = (sample_run[0] / "map.html").read_text("utf-8")
    totals, plan = sample_record["totals"], sample_record["plan"]
    lime = next(row["value"] for row in sample_record["sources"] if row["key"] == "nutrients.lime.price")
    # what is offered, and what replacing the nutrients costs, are the landowner's to know
    shared = ("pay", "price", "nutrient_cost")
    printed = [e["printed"] for e in sample_record["ledger"] if e["what"].startswith(shared)]
    own = {text for both in printed for text in both.values()}
    as_given = "15"  # $/ton, in the plan file
    shown = money_in(page)
    lime_in_us = f"{lime * 0.45359237:.2g}"  # $/lb
    assert shown - own == {f"{lime:g}", lime_in_us, "30", as_given}  # 30: $/ton, in its source
    farm = {e["what"]: e["printed"] for e in sample_record["ledger"] if e["of"] == "farm"}
    assert {farm[what]["us"] for what in ("pay", "nutrient_cost")} < shown

    # and as bare digits: nothing that the plan costs, in total, by step, by ton, and what the buyer pays
    costs = {k: v for k, v in totals.items() if k.startswith("cost") and k not in ("cost_nutrients", "cost_land")}
    assert len(costs) > 8
    per_mg = [totals["cost_per_mg"], *(v / totals["withdrawn_mg"] for k, v in totals.items() if k.startswith("cost_"))]
    rates = [*per_mg, *(c["price_per_mg"] for c in plan["need"]["contract"])]
    forms = {f"${value:,.0f}" for value in costs.values() if value > 0}
    for value in (v for v in [*costs.values(), *rates] if v > 0):
        forms |= {f"${value:,.2f}", f"${value * 0.90718474:,.2f}", f"{value:.4f}", f"{value:.2f} $"}
    for form in forms:
        assert not re.search(rf"(?<![\d.,]){re.escape(form)}(?!\d)", page), form
    said = sample_run[1].stdout
    assert f"${totals['cost']:,.0f}" in said  # the grower still reads them
    assert "would cost $" in said
    assert any("They bring $" in line for line in sample_record["words"]["grower"])
    assert any(zone["properties"]["cost_reason"] for zone in sample_record["zones"]["features"])


def test_vector_results_open_and_carry_their_crs(sample_run: Run) -> None:
    layers = {name for name, _ in pyogrio.list_layers(sample_run[0] / "plan.gpkg")}
    assert {"fields", "zones", "yards", "stacks", "hauls", "yield_points", "cleaning"} <= layers
    assert {"apron", "lanes", "setback_areas"} <= layers
    zones = gpd.read_file(sample_run[0] / "plan.gpkg", layer="zones")
    assert zones.crs.is_projected
    assert zones.geometry.is_valid.all()


def test_the_farm_totals_say_where_each_rule_binds(sample_record: dict) -> None:
    rules = sample_record["limit_totals"]
    bound = [r["binds_ha"] for r in rules]
    assert bound == sorted(bound, reverse=True)
    assert bound[0] > 0
    assert sum(bound) <= sample_record["totals"]["fields_ha"] * 1.01  # one rule a cell, and cells only within fields
    assert {r["rule"] for r in rules} == {r["rule"] for r in sample_record["zone_limits"]}
    # none could free more than all that is kept
    kept = sample_record["totals"]["stover_mg"] - sample_record["totals"]["removable_mg"]
    assert all(0 <= r["gain_mg"] <= kept * 1.01 for r in rules)


def test_every_variable_of_the_stack_lies_in_its_declared_range(sample_record: dict) -> None:
    found = sample_record["stack"]
    wrong = {n: outside_range(n, row["least"], row["most"]) for n, row in found.items() if row["least"] is not None}
    assert len(wrong) > 50
    assert [words for words in wrong.values() if words] == []
    assert {n: row["unit"] for n, row in found.items()} == {n: variable(n).unit for n in found}


@pytest.mark.parametrize("name", ["removable.tif", "siting.tif"])
def test_rasters_are_cloud_optimised_and_named(sample_run: Run, name: str) -> None:
    with rasterio.open(sample_run[0] / name) as raster:
        assert raster.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert raster.crs.is_projected
        assert all(raster.descriptions)


def test_every_coefficient_used_is_listed_with_its_source(sample_run: Run) -> None:
    with (sample_run[0] / "sources.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    asked = [row for row in rows if row["note"] in ("retention rule", "site criterion")]
    numbers = [row for row in rows if row not in asked]
    assert len(numbers) > 60
    assert len(asked) > 20
    assert all(row["source"] for row in asked)
    for row in numbers:
        assert row["standing"] in {
            "published",
            "derived",
            "from memory",
            "common practice",
            "judgment",
            "set in the plan",
        }
        assert row["source"] or row["standing"] in {"common practice", "judgment", "set in the plan"}


def test_zones_sum_to_their_field(sample_record: dict) -> None:
    zones = [f["properties"] for f in sample_record["zones"]["features"]]
    for field in (f["properties"] for f in sample_record["fields"]["features"]):
        own = sum(z["area_ha"] for z in zones if z["field_id"] == field["field_id"])
        assert own == pytest.approx(field["area_ha"], rel=1e-3)


def test_grain_is_conserved_from_points_to_surface(sample_record: dict) -> None:
    """A hectare of the surface holds the grain of a hectare of cleaned points, within 1 %."""
    report, totals = sample_record["surface_report"], sample_record["totals"]
    on_surface = totals["grain_mg"] / (report["known_fraction"] * totals["fields_ha"])
    assert on_surface == pytest.approx(report["cleaned_dry_mg"] / report["cleaned_area_ha"], rel=0.01)


def test_bales_never_hold_more_than_their_zone_gives(sample_record: dict) -> None:
    gives = {f["properties"]["zone_id"]: f["properties"]["removal_mg"] for f in sample_record["zones"]["features"]}
    assert sample_record["bale_plan"]
    for row in sample_record["bale_plan"]:
        assert row["bales"] * row["bale_dry_kg"] / 1000 <= gives[row["zone_id"]] + 1e-6


def test_no_zone_is_asked_for_more_than_its_cautious_limit(sample_record: dict) -> None:
    for feature in sample_record["zones"]["features"]:
        zone = feature["properties"]
        assert zone["removal_mg_ha"] <= zone["removable_mg_ha"] + 1e-6
        assert zone["stover_mg_ha"] - zone["removal_mg_ha"] >= 0


def test_no_yard_is_asked_to_hold_more_than_its_drawn_rows(sample_record: dict) -> None:
    rows: dict[str, int] = {}
    for feature in sample_record["stacks"]["features"]:
        row = feature["properties"]
        rows[row["yard_id"]] = rows.get(row["yard_id"], 0) + row["bales"]
    carried: dict[str, int] = {}
    for feature in sample_record["hauls"]["features"]:
        haul = feature["properties"]
        carried[haul["yard_id"]] = carried.get(haul["yard_id"], 0) + haul["bales"]
    assert carried
    assert all(bales <= rows[yard] for yard, bales in carried.items())


def test_the_made_up_faults_and_hazards_are_found(sample_record: dict) -> None:
    """The farm's script put in records with the header up, repeated ones, surges, and a heavy clay flat."""
    removed = {row["reason"]: row["points"] for row in sample_record["cleaning"]}
    assert removed["header_up"] > 1000
    assert removed["co_located"] >= 30
    assert removed["impossible"] + removed["far_out"] + removed["unlike_neighbors"] > 100
    assert any("clay" in words.lower() for words in sample_record["words"]["soil"])
    fields = gpd.GeoDataFrame.from_features(sample_record["fields"]["features"])
    yards = gpd.GeoDataFrame.from_features(sample_record["yards"]["features"])
    clay_flat = fields.loc[fields["name"] == "Clay Flat"].union_all()
    assert len(yards)
    assert not yards.intersects(clay_flat).any(), "a yard was put on the heavy clay flat"
