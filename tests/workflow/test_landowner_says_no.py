"""Ground that a landowner refuses, in the plan file or in an answer: nothing is baled, stacked or hauled on it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from as_user import ask, write_plan
from page_money import money_in, printed_money
from shapely.geometry import Polygon, box, mapping
from small_farm import CRS, SOUTH, WEST, season_of, write_small_farm

from stovergeo.core.units import parse_quantity
from stovergeo.report.crew import crew_sheet
from stovergeo.report.page_data import page_data
from stovergeo.report.plan_numbers import ledger_of

BY_HAND = [(2, 1), (395, 4), (398, 397), (200, 396), (5, 390)]  # a square field of 400 m, drawn in a hurry


def at(shape: Polygon) -> Polygon:
    return shapely.affinity.translate(shape, WEST, SOUTH)


def first_screen_of(result, section: str) -> list[str]:
    lines = next((s["lines"] for s in page_data(result, ledger_of(result))["first"] if s["id"] == section), [])
    return ["".join(part if isinstance(part, str) else part["us"] for part in line) for line in lines]


def farm_of(folder: Path) -> dict:
    plan = write_small_farm(folder, cell_m=10.0)
    plan["landowner"] = {"price": "14 $/ton"}
    contract = {"name": "mill", "dry_mass": "8 ton", "months": ["Jan"], "price": "93 $/ton", "distance_km": 12}
    plan["need"] = {"herd": [{"name": "herd", "head": 60}], "contract": [contract]}
    return plan


def refusing(folder: Path, *shapes: Polygon, **columns: list[str]) -> dict:
    plan = farm_of(folder)
    gpd.GeoDataFrame({"name": ["theirs"] * len(shapes), **columns}, geometry=list(shapes), crs=CRS).to_file(
        folder / "theirs.gpkg"
    )
    plan["landowner"]["no_go"] = "theirs.gpkg"
    return plan


def test_a_part_refused_in_the_plan_file_is_left_out_of_everything(tmp_path: Path) -> None:
    refused = at(box(120, 150, 260, 260))
    result = season_of(tmp_path, refusing(tmp_path, refused))
    gathered = result.zones[result.zones["removal_mg"] > 0]
    assert len(gathered)
    for ground in (gathered, result.yards, result.siting.stacks, result.siting.lanes, result.siting.apron):
        assert ground.intersection(refused).area.sum() < 1e-6
    assert result.supply.hauls.intersection(refused).length.sum() < 1e-6
    assert result.totals["kept_free_ha"] == pytest.approx(1.54, rel=0.002)
    assert result.fields["area_ha"].sum() == pytest.approx(16, rel=0.002)  # the field stays what it is
    assert result.zones["area_ha"].sum() == pytest.approx(16, rel=0.002)
    counted = set(result.bales.made.loc[result.bales.made["bales"] > 0, "zone_id"])
    assert not counted & set(result.zones.loc[result.zones["kept_free"], "zone_id"])
    assert set(result.siting.routes["zone_id"]).isdisjoint(result.zones.loc[result.zones["kept_free"], "zone_id"])
    square = f"square: {result.totals['bales']:.0f} bales. You said to keep 3.8 ac of it free."
    assert square in first_screen_of(result, "bales")
    assert "Kept free because the landowner said so" in crew_sheet(result, ledger_of(result))


@pytest.mark.parametrize("shape", [box(-60, -60, 500, 500), Polygon(BY_HAND)], ids=["all of it", "by hand"])
def test_a_farm_refused_whole_reads_as_refused(tmp_path: Path, shape: Polygon) -> None:
    plan = refusing(tmp_path, at(shape))
    path = write_plan(plan, tmp_path)
    code, out, err = ask("plan", path, "--out", tmp_path / "out")
    assert code == 3, err  # what is needed cannot be had
    assert "kept free" in out
    assert "Kept free because the landowner said so: 39.6 ac of square." in out
    assert "places the landowner refuses" in out
    record = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert record["totals"]["bales"] == record["totals"]["removal_mg"] == 0
    (zone,) = (f["properties"] for f in record["zones"]["features"])
    assert zone["binding_rule"] == "landowner"
    assert "landowner said so" in zone["reason"]
    page = (tmp_path / "out" / "map.html").read_text("utf-8")
    assert "no stover should leave: you keep all of this ground free" in page
    assert "must stay" not in zone["reason"]
    assert "known" not in zone["reason"]


@pytest.mark.long
def test_a_shape_that_only_touches_the_field_changes_no_bale(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    free = season_of(tmp_path / "a", farm_of(tmp_path / "a"))
    touched = season_of(tmp_path / "b", refusing(tmp_path / "b", at(box(-60, -60, 0.05, 500))))
    assert touched.totals["kept_free_ha"] == 0
    assert touched.totals["bales"] == free.totals["bales"]
    assert list(touched.zones["zone_id"]) == list(free.zones["zone_id"])
    assert first_screen_of(touched, "bales") == first_screen_of(free, "bales")


@pytest.mark.long
def test_ground_refused_to_stacks_alone_is_still_baled(tmp_path: Path) -> None:
    refused = at(box(120, 150, 260, 260))
    result = season_of(tmp_path, refusing(tmp_path, refused, keep_clear_of=["stacks"]))
    assert result.totals["kept_free_ha"] == 0
    assert result.zones[result.zones["removal_mg"] > 0].intersection(refused).area.sum() > 1e4 / 2
    assert result.siting.stacks.intersection(refused).area.sum() == 0


def test_an_answer_is_taken_in_without_showing_the_landowner_what_the_season_costs(tmp_path: Path) -> None:
    plan = write_plan(farm_of(tmp_path), tmp_path)
    assert ask("plan", plan, "--out", tmp_path / "first")[0] in (0, 3)
    yards = gpd.read_file(tmp_path / "first" / "plan.gpkg", layer="yards").set_index("yard_id")
    used = gpd.read_file(tmp_path / "first" / "plan.gpkg", layer="hauls")["yard_id"].iloc[0]
    area = at(box(0, 0, 400, 180))
    lonlat = gpd.GeoSeries([yards.geometry[used], area], crs=CRS).to_crs(4326)
    marks = [
        ({"kind": "yard", "yard_id": used, "answer": "no", "note": ""}, lonlat[0]),
        ({"kind": "no_go", "note": "Not on this field, it is organic trial ground"}, lonlat[1]),
    ]
    features = [{"type": "Feature", "properties": p, "geometry": mapping(g)} for p, g in marks]
    answer = {"type": "FeatureCollection", "stovergeo_answer": 1, "plan_key": "", "season": 2026, "said_by": "Robin"}
    (tmp_path / "answer.geojson").write_text(json.dumps({**answer, "features": features}), "utf-8")

    code, out, err = ask("answer", plan, tmp_path / "answer.geojson", "--out", tmp_path / "second")
    assert code in (0, 3), err
    zones = gpd.read_file(tmp_path / "second" / "plan.gpkg", layer="zones")
    kept = shapely.union_all(zones.geometry[zones["kept_free"].astype(bool)])
    # what was drawn, and no more of it for the refused yard's sake than what lies in it
    assert kept.symmetric_difference(area).area < 0.02 * area.area
    assert zones[zones["removal_mg"] > 0].intersection(area.buffer(-0.1)).area.sum() < 1
    for name in ("stacks", "lanes", "apron"):
        drawn = gpd.read_file(tmp_path / "second" / "plan.gpkg", layer=name)
        assert drawn.intersection(shapely.union_all([area, yards.geometry[used]]).buffer(-0.1)).area.sum() < 1

    record = json.loads((tmp_path / "second" / "plan.json").read_text("utf-8"))
    assert any(re.match(r"Ground kept free: 0\.0 ac before, 17\.[5-9] ac now", w) for w in record["words"]["changed"])
    assert record["words"]["grower"][0].startswith("Cost of the season: $")
    assert "Cost of the season: $" in out  # the grower reads it in the terminal
    page = (tmp_path / "second" / "map.html").read_text("utf-8")
    assert "Cost of the season" not in page
    assert "organic trial ground" in page
    food = [row["cost"] for row in record["zone_nutrients"]]
    price = parse_quantity("14 $/ton", "money per mass")
    own = {("per_mass", price), *(("money", m) for m in (sum(food), price * record["totals"]["removal_mg"]))}
    prices = {f"{row['value']:g}" for row in record["sources"] if row["key"].startswith("nutrients.")}
    others = money_in(page) - {*printed_money(own), *prices, "30"}  # the last: lime, in its source
    # those of the zones share the last dollar of the whole
    assert all(min(abs(float(n.replace(",", "")) - m) for m in food) < 1 for n in others)
