"""A grower's cover count, in a season: it frees or holds its own field, through limits, odds and levers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from as_user import write_plan
from least_farm import PLACES, boundary, least, planned

from stovergeo.core.errors import InputError, Report
from stovergeo.workflow.run import check_season

CROP = {
    "rotation": "continuous corn",
    "manure_c_mg_ha": 1.5,
    "harvest_years": "1 of 2",
    "tillage": ["chisel_twisted", "field_cultivator", "planter"],
}


def plan(*counts: dict[str, Any], goal: float = 30) -> dict[str, Any]:
    return least(
        yields={"everywhere": "200 bu/ac"},
        crop={**CROP, "cover_counts": list(counts)},
        limits={"cover_pct": goal},
        gather={"methods": ["single_pass"]},
        bale={"moisture_pct": 18},
    )


def bales_by_field(folder: Path, *counts: dict[str, Any], place: str = "Illinois") -> dict[str, int]:
    boundary(folder, place)
    result, _ = planned(folder, plan(*counts))
    names = result.fields.set_index("field_id")["name"]
    zones = result.zones.set_index("zone_id")["field_id"]
    by_field = result.bales.made.set_index("zone_id")["bales"].groupby(zones.map(names)).sum()
    return {name: int(by_field.get(name, 0)) for name in names}


@pytest.mark.parametrize("place", PLACES)
def test_a_count_frees_its_field_and_no_other(tmp_path: Path, place: str) -> None:
    good = {"field": "River", "cover_pct": 55, "marks": 500, "stover_left": "7 t/ha"}
    assert bales_by_field(tmp_path, place=place) == {"Home": 0, "River": 0}
    made = bales_by_field(tmp_path, good, place=place)
    assert made["River"] > 0
    assert made["Home"] == 0


def test_a_poor_count_holds_its_field(tmp_path: Path) -> None:
    counts = [
        {"field": name, "cover_pct": cover, "marks": 500, "stover_left": "7 t/ha"}
        for name, cover in (("Home", 55), ("River", 18))
    ]
    made = bales_by_field(tmp_path, *counts)
    assert made["Home"] > 0
    assert made["River"] == 0


def test_check_and_plan_refuse_a_count_of_no_field(tmp_path: Path) -> None:
    boundary(tmp_path)
    wrong = plan({"field": "Hoem", "cover_pct": 25})
    report = Report()
    check_season(write_plan(wrong, tmp_path), report)
    assert "residue.count_nowhere" in {p.code for p in report.refused}
    with pytest.raises(InputError):
        planned(tmp_path, wrong)
