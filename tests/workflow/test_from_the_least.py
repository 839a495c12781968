"""A boundary and a yield are a plan: what is not measured is stated, with its spread, and said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from as_user import ask, write_plan
from least_farm import PLACES, boundary, least, planned
from rasterio.transform import from_origin

from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season


def mean_grain(result: SeasonResult, row: int) -> float:
    stack = result.stack
    return float(stack["grain_mg_ha"].where(stack["field_number"] == row).mean())


def old_map(folder: Path, low: float = 6.0, high: float = 10.0) -> None:
    """A yield map in t/ha dry: low in the west half of Home, high in its east half; River is not on it."""
    crs, west, south = PLACES["Illinois"]
    grain = np.full((50, 40), low, np.float32)
    grain[:, 20:] = high
    with rasterio.open(
        folder / "old.tif", "w", driver="GTiff", width=40, height=50, count=1, dtype="float32", crs=crs,
        transform=from_origin(west, south + 500, 10, 10), nodata=np.nan,
    ) as file:  # fmt: skip
        file.write(grain, 1)


@pytest.mark.parametrize(
    ("place", "units", "stated", "moisture", "dry"),
    [
        # 56 lb a bushel at 15.5 % (US grain standards): 200 bu/ac are 10.61 Mg/ha dry, by hand
        ("Illinois", "us", "200 bu/ac", 15.5, 200 * 56 * 0.45359237 / 1000 / 0.40468564224 * 0.845),
        ("Vojvodina", "metric", "9.5 t/ha", 14.0, 9.5 * 0.86),
        ("Pampas", "metric", "10 t/ha", 14.5, 10 * 0.855),
    ],
)
def test_a_boundary_and_a_yield_are_a_plan(
    tmp_path: Path, place: str, units: str, stated: str, moisture: float, dry: float
) -> None:
    boundary(tmp_path, place)
    farm = {"units": units, "market_moisture_pct": moisture}
    result, report = planned(tmp_path, least(farm=farm, yields={"everywhere": stated}))
    assert not report.refused
    assert mean_grain(result, 0) == pytest.approx(dry, rel=1e-3)
    assert result.totals["grain_mg"] == pytest.approx(dry * (20 + 14), rel=0.01)  # 20 and 14 ha by the boundary
    said = [render(line, units) for line in result.words["unknown"]]
    (yields,) = [line for line in said if line.startswith("All fields: planned with the stated yield of ")]
    # as given, with the moisture it is given at; beside it, dry where the figure is not of the trade's bushel
    as_given = "stated yield of 200 bu/ac at 15.5% everywhere"
    beside = f"stated yield of {dry:.1f} t/ha dry ({stated} at {moisture:g}%) everywhere"
    assert (as_given if units == "us" else beside) in yields
    # the weather of these places was not given either
    assert sum(line.startswith("Not known here: rain and air temperature") for line in said) == 1


def test_a_field_of_its_own_yield_and_one_without_any(tmp_path: Path) -> None:
    boundary(tmp_path)
    result, report = planned(tmp_path, least(yields={"by_field": {"Home": "180 bu/ac"}}))
    assert mean_grain(result, 0) == pytest.approx(180 * MG_HA_DRY_PER_BU_ACRE, rel=1e-3)
    assert np.isnan(mean_grain(result, 1))
    assert result.zones.loc[result.zones["field_id"] == result.fields["field_id"][1], "method"].eq("unknown").all()
    assert [p.code for p in report].count("yield.unknown") == 1


def test_an_old_map_gives_its_pattern_and_a_stated_yield_its_level(tmp_path: Path) -> None:
    boundary(tmp_path)
    old_map(tmp_path)
    layers = {
        "fields": {"path": "fields.geojson", "name_column": "name"},
        "earlier_maps": [{"year": 2025, "path": "old.tif", "unit": "t/ha dry"}],
    }
    alone, _ = planned(tmp_path, least(layers=layers))
    wet = {"market_moisture_pct": 20}
    both, _ = planned(tmp_path, least(layers=layers, yields={"everywhere": "12 t/ha"}, farm=wet))
    assert mean_grain(alone, 0) == pytest.approx(8.0, rel=0.01)
    assert np.isnan(mean_grain(alone, 1))
    assert mean_grain(both, 0) == pytest.approx(9.6, rel=0.01)
    assert mean_grain(both, 1) == pytest.approx(9.6, rel=0.01)
    for result in (alone, both):
        grain = result.stack["grain_mg_ha"].where(result.stack["field_number"] == 0).to_numpy()
        assert np.nanmax(grain) / np.nanmin(grain) == pytest.approx(10 / 6, rel=0.01)


def test_odds_are_wider_than_with_a_map(tmp_path: Path) -> None:
    boundary(tmp_path)
    old_map(tmp_path, 11.4, 11.4)
    layers = {
        "fields": {"path": "fields.geojson", "name_column": "name"},
        "yield_raster": {"path": "old.tif", "unit": "t/ha dry"},
    }
    mapped, _ = planned(tmp_path, least(layers=layers))
    stated, _ = planned(tmp_path, least(yields={"by_field": {"Home": "12 t/ha"}}, farm={"market_moisture_pct": 5}))

    def spread(result: SeasonResult) -> float:
        mine = result.residue.odds[result.residue.odds["zone_id"].str.startswith("F1")]
        return float((mine["p90_mg_ha"] - mine["p10_mg_ha"]).mean())

    assert spread(stated) > 1.2 * spread(mapped)


def test_a_stated_yield_far_from_the_map_is_told_and_not_used(tmp_path: Path) -> None:
    boundary(tmp_path)
    old_map(tmp_path)
    layers = {
        "fields": {"path": "fields.geojson", "name_column": "name"},
        "yield_raster": {"path": "old.tif", "unit": "t/ha dry"},
    }
    result, report = planned(tmp_path, least(layers=layers, yields={"by_field": {"Home": "240 bu/ac"}}))
    assert mean_grain(result, 0) == pytest.approx(8.0, rel=0.01)
    assert [p.code for p in report].count("yield.stated_far") == 1


def test_a_yield_for_a_field_that_is_not_there_is_refused_by_check_too(tmp_path: Path) -> None:
    boundary(tmp_path)
    plan = write_plan(least(yields={"by_field": {"Hme": "180 bu/ac"}}), tmp_path)
    code, out, _ = ask("check", plan)
    assert code == 2
    assert "yield.no_such_field" in out
    assert "Home" in out
    with pytest.raises(InputError, match="no_such_field"):
        run_season(plan, Report())


@pytest.mark.parametrize("stated", ["200", "2000 bu/ac", "0 bu/ac", "200 t/ac", 200])
def test_yields_that_are_none_are_refused_with_their_place(tmp_path: Path, stated: object) -> None:
    boundary(tmp_path)
    code, out, _ = ask("check", write_plan(least(yields={"everywhere": stated}), tmp_path))
    assert code == 2
    assert "yields.everywhere" in out


def test_without_any_yield_the_cure_is_named(tmp_path: Path) -> None:
    boundary(tmp_path)
    code, out, _ = ask("check", write_plan(least(), tmp_path))
    assert code == 2
    assert 'everywhere = "200 bu/ac"' in out
