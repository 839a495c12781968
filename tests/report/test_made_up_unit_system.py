"""A unit system is one table: a made-up one is a farm's, and is printed by every output."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from rich.console import Console

from stovergeo.core.errors import Report
from stovergeo.core.printing import UNIT_SYSTEMS, read_unit_system
from stovergeo.inputs.plan.farm import Farm
from stovergeo.report import grower_table, write_outputs


def test_a_made_up_unit_system_is_seen_on_every_output(result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    shipped = tomllib.loads(files("stovergeo.core").joinpath("unit_systems.toml").read_text("utf-8"))
    table = {"title": "Made up", "kinds": {**shipped["metric"]["kinds"]}}
    table["kinds"]["mass"] = {"unit": "lb", "label": "pounds", "decimals": 0, "column": "_pounds"}
    table["kinds"]["area"] = {"unit": "m2", "label": "square meters", "decimals": 0, "column": "_m2"}
    table["kinds"]["length"] = {"unit": "mi", "label": "miles", "decimals": 4, "column": "_miles"}
    monkeypatch.setitem(UNIT_SYSTEMS, "made_up", read_unit_system(table))
    farm = Farm.model_validate(
        {**result.plan.farm.model_dump(by_alias=True, exclude_defaults=True), "units": "made_up"}
    )
    own = replace(result, plan=result.plan.model_copy(update={"farm": farm}))
    write_outputs(own, tmp_path / "plan", False, Report())
    console = Console(record=True, width=300)
    for part in grower_table(own):
        console.print(part)
    assert "dry pounds" in console.export_text()
    crew, page = ((tmp_path / "plan" / name).read_text("utf-8") for name in ("crew.html", "map.html"))
    assert re.search(r"\d square meters", crew)
    assert re.search(r"\d\.\d{4} miles", crew)
    assert re.search(r'"made_up":\s*"[\d,]+ pounds"', page)
    assert "Made up" in page
    zones, yards = ((tmp_path / "plan" / name).read_text("utf-8-sig") for name in ("zones.csv", "yards.csv"))
    assert "area_m2" in zones.splitlines()[0].split(",")
    assert "road_miles" in yards.splitlines()[0].split(",")
    assert "made_up" in json.dumps(json.loads((tmp_path / "plan" / "plan.json").read_text("utf-8"))["ledger"])


def test_a_unit_system_nobody_wrote_is_an_error() -> None:
    with pytest.raises(ValueError, match="Input should be 'us' or 'metric'"):
        Farm.model_validate({"name": "x", "season": 2026, "units": "furlongs"})
