"""The main job on a real field: raw points and soil polygons, no boundary, no elevation."""

from __future__ import annotations

from pathlib import Path

import pytest

from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.core.units import HA_PER_ACRE, MG_HA_DRY_PER_BU_ACRE
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

pytestmark = pytest.mark.open_data


@pytest.fixture(scope="module")
def result(real_field: Path) -> SeasonResult:
    return run_season(Path(__file__).parents[1] / "real_field.toml", Report())


def test_the_raw_field_is_what_its_own_description_says(result: SeasonResult) -> None:
    """9,027.2 bu on 67.45 ac, 133.8 bu/ac, as the field's description works out from the records."""
    report = result.yields.report
    assert report["raw_bushels"] == pytest.approx(9027.2, abs=0.1)
    assert report["raw_area_ha"] / HA_PER_ACRE == pytest.approx(67.45, abs=0.005)
    assert report["raw_bu_ac"] == pytest.approx(133.8, abs=0.05)


def test_the_first_record_is_128_bushels(result: SeasonResult) -> None:
    """16.54 lb/s for 3 s at 18.5 % on 116 in by 360 in: 128.37 bu/ac, worked by hand in the description."""
    first = result.yields.points.sort_index().iloc[0]
    # cleaning may take overlap off the area, never the raw yield of the record itself
    assert first["grain_kg"] / (116 * 360 * 0.0254**2) * 10 / MG_HA_DRY_PER_BU_ACRE == pytest.approx(128.37, abs=0.005)


def test_cleaning_leaves_a_likely_yield_and_counts_each_filter(result: SeasonResult) -> None:
    assert 134 <= result.yields.report["cleaned_bu_ac"] <= 138
    counted = result.yields.cleaning.set_index("reason")["points"]
    assert counted.sum() == 4949
    assert counted["kept"] > 4400


def test_the_boundary_drawn_from_points_is_the_harvested_ground(result: SeasonResult) -> None:
    assert result.fields["area_ha"].sum() == pytest.approx(67.45 * HA_PER_ACRE, rel=0.03)


def test_it_says_heavy_clay_and_offers_no_yard_on_it(result: SeasonResult) -> None:
    assert [m.values["share"] for m in result.words["soil"] if m.key == "soil.heavy"] == [pytest.approx(1, abs=0.005)]
    assert result.yards.empty
    assert "No ground on this farm is allowed" in render(result.words["yards"], "us")


def test_what_gps_heights_cannot_show_is_not_checked(result: SeasonResult) -> None:
    assert "Ponding and flow paths" in result.not_checked
    assert "ponding_m" not in result.stack
    assert "concentrated_flow" not in result.stack


def test_all_of_it_is_known_but_the_level_of_its_yields(result: SeasonResult) -> None:
    """One field, one machine, nothing weighed: nothing here could show a calibration that is off."""
    assert [m.key for m in result.words["unknown"]] == ["compare.nothing"]
    assert not {p.code for p in result.problems} & {"points.no_time", "yield.left_out", "yield.unknown"}
