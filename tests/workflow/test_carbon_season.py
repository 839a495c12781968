"""Soil carbon through a whole season: soil tests, columns, manure by field, what binds, and what is not known."""

from __future__ import annotations

import csv

import geopandas as gpd
import pytest
from shapely.geometry import box
from small_farm import CRS, SOUTH, WEST, season_of, write_small_farm

from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.core.units import MG_HA_PER_TON_ACRE
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.report.ledger import Ledger
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.tables import write_csv, zones_table
from stovergeo.workflow import run_season

SIDE = 200.0


@pytest.fixture
def plan(tmp_path):
    data = write_small_farm(tmp_path, SIDE, relief=False)
    data["odds"] = {"samples": 40}
    data["limits"] = {"rules": ["soil_carbon"]}
    data["crop"] = {"rotation": "continuous corn", "tillage": ["planter_no_till"]}
    return data


def two_fields(folder):
    halves = [box(WEST, SOUTH, WEST + SIDE / 2, SOUTH + SIDE), box(WEST + SIDE / 2, SOUTH, WEST + SIDE, SOUTH + SIDE)]
    gpd.GeoDataFrame({"name": ["West", "East"]}, geometry=halves, crs=CRS).to_file(folder / "fields.gpkg")


def carbon(result):
    table = result.tables()["zone_carbon"]
    return table.merge(result.zones[["zone_id", "field_id"]], on="zone_id").groupby("field_id").first()


def test_soil_that_is_not_known_counts_low_and_is_listed(tmp_path, plan):
    result = season_of(tmp_path, plan)
    table = carbon(result)
    assert table["carbon_mg_ha"].tolist() == pytest.approx([60.0])
    assert table["carbon_from"].tolist() == ["unknown"]
    said = render(result.not_checked["Soil carbon"], "metric")
    assert "60.0 t/ha (40.0 t/ha to 90.0 t/ha)" in said
    assert "Soil carbon" not in season_of(tmp_path, plan | {"soil_test": {"carbon": "80 t/ha"}}).not_checked


def test_soil_tests_by_field_move_the_goal_alone(tmp_path, plan):
    two_fields(tmp_path)
    test = {"carbon": "60 ton/ac", "by_field": {"East": "20 ton/ac"}}
    result = season_of(tmp_path, plan | {"soil_test": test})
    table = carbon(result)
    assert table["carbon_mg_ha"].tolist() == pytest.approx([60 * MG_HA_PER_TON_ACRE, 20 * MG_HA_PER_TON_ACRE])
    assert table["carbon_from"].tolist() == ["test", "test"]
    assert table["carbon_limit"].tolist() == ["table", "goal"]
    assert table["table_mg_ha"].tolist() == pytest.approx([5.25, 5.25])
    west, east = (table.loc[f, "goal_mg_ha"] for f in ("F1", "F2"))
    assert east > west
    zones = result.zones.set_index("zone_id")
    rule = result.residue.zone_limits.set_index("zone_id")
    for zone in zones.index:
        both = table.loc[zones.at[zone, "field_id"], ["table_mg_ha", "goal_mg_ha"]].max()
        assert rule.at[zone, "retention_mg_ha"] == pytest.approx(both, abs=0.05)


def test_manure_by_field(tmp_path, plan):
    two_fields(tmp_path)
    plan["crop"] |= {"manure_c_mg_ha": 0.3, "manure_c_by_field": {"East": 1.0}}
    table = carbon(season_of(tmp_path, plan | {"soil_test": {"carbon": "80 t/ha"}}))
    assert table["table_mg_ha"].tolist() == pytest.approx([5.25 - 1.13 * 0.3 / 0.445, 5.25 - 1.13 / 0.445], abs=1e-5)
    assert table.loc["F2", "goal_mg_ha"] < table.loc["F1", "goal_mg_ha"]


def test_a_stock_column_is_taken_in_its_own_unit(tmp_path, plan):
    ground = box(WEST - 100, SOUTH - 100, WEST + SIDE + 100, SOUTH + SIDE + 100)
    stocks = {"t/ha": 95.0, "kg/m2": 9.5, "g/m2": 9500.0, "ton/ac": 95.0 / MG_HA_PER_TON_ACRE}
    for unit, value in stocks.items():
        gpd.GeoDataFrame({"SOC": [value]}, geometry=[ground], crs=CRS).to_file(tmp_path / "soils.gpkg")
        layer = {"path": "soils.gpkg", "columns": {"carbon": "SOC"}, "units": {"carbon": unit}}
        found = carbon(season_of(tmp_path, plan | {"layers": plan["layers"] | {"soils": layer}}))
        assert found["carbon_mg_ha"].tolist() == pytest.approx([95.0], rel=1e-5)
        assert found["carbon_from"].tolist() == ["survey"]


def test_what_binds_what_it_costs_and_the_odds_stand_in_the_zone_table(tmp_path, plan):
    result = season_of(
        tmp_path, plan | {"soil_test": {"carbon": "150 t/ha"}, "odds": {"samples": 40, "cautious_pct": 50}}
    )
    ledger: Ledger = ledger_of(result)
    write_csv(zones_table(result, ledger), tmp_path / "zones.csv")
    with (tmp_path / "zones.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert {row["carbon_limit"] for row in rows} == {"table"}
    gathered = [row for row in rows if row["method"] != "leave"]
    assert gathered
    for row in gathered:
        low, cost, high = (float(row[name]) for name in ("cost_low_pct", "cost_pct", "cost_high_pct"))
        assert 0 < low < cost < high
        assert 0.5 < float(row["carbon_goal_probability"]) <= 1
    said = " ".join(render(m, "us") for m in result.tables()["zone_carbon"]["message"])
    assert "trials say anywhere from" in said
    assert not any(word in said for word in ("holds carbon", "sustainable", "safe"))


@pytest.mark.parametrize(
    "change", [{"soil_test": {"by_field": {"Weest": "30 ton/ac"}}}, {"crop": {"manure_c_by_field": {"Weest": 1.0}}}]
)
def test_a_field_that_is_not_there_is_told(tmp_path, plan, change):
    report = Report()
    with pytest.raises(InputError):
        run_season(plan_from(plan | change, tmp_path, report), report)
    assert [p.code for p in report.refused] == ["fields.no_such_field"]


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [("limits", "carbon_loss_max_pct", 0.05), ("soil_test", "carbon", "2 ton/ac"), ("soil_test", "carbon", "80"),
     ("limits", "carbon_sure_pct", 0.8)],
)  # fmt: skip
def test_impossible_numbers_are_refused(tmp_path, plan, section, key, value):
    report = Report()
    with pytest.raises(InputError):
        plan_from(plan | {section: {key: value}}, tmp_path, report)
    assert key in report.refused[0].where


def test_models_speak_by_soil_and_move_no_limit(tmp_path, plan):
    west, east = box(WEST - 99, SOUTH - 99, WEST + SIDE / 2, SOUTH + 300), box(WEST + SIDE / 2, SOUTH - 99, 9e5, 5e6)
    soils = {"musym": ["A", "B"], "claytotal_r": [25, 12], "sandtotal_r": [20, 65], "soc0_30": [8000, 3000]}
    gpd.GeoDataFrame(soils, geometry=[west, east], crs=CRS).to_file(tmp_path / "soils.gpkg")
    plan["layers"]["soils"] = {"path": "soils.gpkg"}
    warm = {"rain_mm": [90.0] * 12, "air_c": [6.0, 8, 11, 15, 19, 23, 25, 24, 20, 15, 10, 7]}
    here, elsewhere = (season_of(tmp_path, plan | {"storage": storage}) for storage in ({}, warm))
    one, two = (result.tables()["carbon"].set_index("soil_id") for result in (here, elsewhere))
    assert one.loc[["A", "B"], "carbon_mg_ha"].tolist() == pytest.approx([80.0, 30.0])
    assert one.loc["B", "opinion"] == "less"
    assert (two["highest_mg_ha"] > one["highest_mg_ha"] + 0.5).all()  # warm ground needs more
    columns = ["retention_mg_ha", "removable_mg_ha"]
    assert here.zones[columns].equals(elsewhere.zones[columns])
    assert len(here.words["carbon"]) >= 3


def test_without_carbon_or_texture_no_model_is_asked(tmp_path, plan):
    result = season_of(tmp_path, plan)
    assert set(result.tables()["carbon"]["opinion"]) == {"not known"}
    assert result.words["carbon"] == []
