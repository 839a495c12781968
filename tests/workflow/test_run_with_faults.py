"""What a whole run says of faulty records, and what becomes of hostile names, through the command."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pytest
from as_user import ask
from hostile import HOSTILE
from shapely.geometry import box
from small_farm import CRS, PLAN, write_small_farm

from stovergeo.report import NAMES


@pytest.mark.parametrize(
    ("code", "severity", "word"),
    [
        pytest.param("yield.not_positive", "fix", "records", marks=[pytest.mark.row(27), pytest.mark.row(28)]),
        pytest.param("yield.outlier", "fix", "records", marks=pytest.mark.row(29)),
        pytest.param("points.duplicate", "fix", "records", marks=pytest.mark.row(32)),
        pytest.param("time.order", "warn", "clock", marks=pytest.mark.row(33)),
    ],
)
def test_faulty_records_are_counted_in_the_run(sample_record: dict, code: str, severity: str, word: str) -> None:
    """The sample farm's raw points carry these faults on purpose."""
    said = [p for p in sample_record["problems"] if p["code"] == code]
    assert [p["severity"] for p in said] == [severity]
    assert any(c.isdigit() for c in said[0]["what"])
    assert word in said[0]["what"]


@pytest.fixture(scope="module")
def hostile_names(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small farm whose fields carry hostile names, planned by the command."""
    folder = tmp_path_factory.mktemp("hostile") / "farm"
    folder.mkdir()
    write_small_farm(folder, side_m=300.0, cell_m=10.0)
    names = ["<script>window.hit=1</script>", "{{7*7}} {% bad", "=1+1", "../../out of here"]
    whole = gpd.read_file(folder / "fields.gpkg")
    west, south, east, north = whole.total_bounds

    across, up = (east - west) / 2, (north - south) / 2
    parts = [
        box(west + i * across, south + j * up, west + (i + 1) * across, south + (j + 1) * up)
        for i in (0, 1)
        for j in (0, 1)
    ]
    (folder / "fields.gpkg").unlink()
    gpd.GeoDataFrame({"name": names}, geometry=parts, crs=CRS).to_file(folder / "fields.gpkg")
    text = PLAN.replace("season = 2026", 'season = 2026\ncell = "10 m"').replace(
        "[layers.property]", '[layers.wells]\npath = "wells.gpkg"\n[layers.property]'
    )
    points = gpd.GeoSeries(whole.geometry.centroid.to_list() * len(HOSTILE), crs=CRS).translate(400, 0)
    gpd.GeoDataFrame({"name": HOSTILE}, geometry=points.to_numpy(), crs=CRS).to_file(folder / "wells.gpkg")
    (folder / "plan.toml").write_text(text, "utf-8")
    code, _, err = ask("plan", folder / "plan.toml", "--out", folder / "out")
    assert code == 0, err
    return folder


@pytest.mark.row(36)
def test_markup_in_names_is_text_in_the_page(hostile_names: Path) -> None:
    page = (hostile_names / "out" / "map.html").read_text("utf-8")
    assert "<script>window.hit" not in page.lower()
    record = json.loads((hostile_names / "out" / "plan.json").read_text("utf-8"))
    assert "<script>window.hit=1</script>" in str(record)


@pytest.mark.row(37)
def test_template_marks_in_names_stay_as_written(hostile_names: Path) -> None:
    for name in ("map.html", "crew.html"):
        text = (hostile_names / "out" / name).read_text("utf-8")
        assert "49 {" not in text
        assert "7*7" in text


@pytest.mark.row(38)
def test_a_name_that_is_a_formula_is_text_in_the_tables(hostile_names: Path) -> None:
    cells = []
    for name in ("zones.csv", "yards.csv"):
        with (hostile_names / "out" / name).open(encoding="utf-8-sig", newline="") as file:
            cells += [cell for row in csv.reader(file) for cell in row]
    assert "'=1+1" in cells
    for cell in cells:
        if cell[:1] in "=+-@\t\r" and cell:
            float(cell)  # a number may begin with its sign; anything else may not


@pytest.mark.row(39)
def test_a_name_that_is_a_path_makes_no_file(hostile_names: Path) -> None:
    assert sorted(p.name for p in (hostile_names / "out").iterdir()) == sorted(NAMES)
    assert [p.name for p in hostile_names.parent.iterdir()] == ["farm"]


@pytest.mark.row(55)
def test_a_plug_in_that_cannot_be_imported_is_named_and_the_rest_works(tmp_path: Path) -> None:
    told = tmp_path / "broken_rules-1.0.dist-info"
    told.mkdir()
    (told / "METADATA").write_text("Metadata-Version: 2.1\nName: broken-rules\nVersion: 1.0\n", "utf-8")
    (told / "entry_points.txt").write_text("[stovergeo.retention_rules]\nbroken = broken_rules:RULE\n", "utf-8")
    (tmp_path / "broken_rules.py").write_text("import no_such_module\n", "utf-8")
    write_small_farm(tmp_path, side_m=250.0, cell_m=10.0)
    (tmp_path / "plan.toml").write_text(PLAN.replace("season = 2026", 'season = 2026\ncell = "10 m"'), "utf-8")
    env = {**os.environ, "PYTHONPATH": str(tmp_path), "COLUMNS": "200"}
    line = [sys.executable, "-m", "stovergeo.cli"]
    listed = subprocess.run(
        [*line, "rules", "--json"], capture_output=True, text=True, env=env, timeout=120, check=True
    )
    rules = {r["name"]: r["broken"] for r in json.loads(listed.stdout)}
    assert "no_such_module" in rules["broken"]
    assert rules["ground_cover"] is None or not rules["ground_cover"]
    line += ["plan", str(tmp_path / "plan.toml"), "--out", str(tmp_path / "out")]
    run = subprocess.run(line, capture_output=True, text=True, env=env, timeout=300, check=False)
    assert run.returncode == 0, run.stderr
    assert "residue.rule_broken" in run.stderr
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(NAMES)
