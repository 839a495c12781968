"""The commands that compute nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_farm import command, process


def test_help_names_every_command() -> None:
    said = process("--help")
    assert said.returncode == 0
    for name in ("plan", "check", "window", "new", "handbook", "rules", "answer", "compare", "versions"):
        assert name in said.stdout


def test_the_handbook_prints_values_with_source_and_standing() -> None:
    rows = json.loads(command("handbook", "tillage", "--json").stdout)
    assert len(rows) >= 10
    assert all(row["key"].startswith("tillage") and row["unit"] and row["standing"] for row in rows)
    lines = command("handbook", "tillage").stdout.splitlines()
    assert {row["key"] for row in rows} <= set(lines)  # whole, so that a plan file can take them over


def test_rules_lists_both_kinds_of_plug_in() -> None:
    rows = json.loads(command("rules", "--json").stdout)
    assert {"stovergeo.retention_rules", "stovergeo.site_criteria"} == {row["group"] for row in rows}
    assert all(row["source"] and not row["broken"] for row in rows)


def test_check_proposes_roles_as_data(sample_farm: Path) -> None:
    found = json.loads(command("check", sample_farm / "plan.toml", "--json").stdout)
    assert {p["column"]: p["role"] for p in found["proposals"]}["grain_lb_s"] == "flow"


def test_versions_names_the_libraries_a_bug_report_needs() -> None:
    said = command("versions").stdout
    assert all(name in said for name in ("python", "stovergeo", "rasterio", "geopandas"))


@pytest.mark.parametrize("words", [["plant"], ["plan", "--outt", "x"], ["answer"]])
def test_a_mistyped_command_ends_with_2_and_a_hint(words: list[str]) -> None:
    said = process(*words)
    assert said.returncode == 2
    assert "Traceback" not in said.stderr
    assert "--help" in said.stderr or "Usage" in said.stderr
