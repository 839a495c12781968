"""The example plug-in and the guide's own, installed as packages, at work; a broken one stops nothing."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from small_farm import PLAN, write_small_farm

BROKEN = {
    "entry_points.txt": "[stovergeo.retention_rules]\nforgotten = no_such_module_here\n"
    "[stovergeo.site_criteria]\nunfinished = json:dumps\n",
    "METADATA": "Metadata-Version: 2.1\nName: forgotten\nVersion: 1.0\n",
}


def guide_blocks(checkout: Path) -> dict[str, str]:
    """The files that the contributor's guide shows, by the name in their first line."""
    text = (checkout / "DEVELOPERS.md").read_text("utf-8")
    return dict(re.findall(r"```(?:python|toml)\n# (\S+)\n(.*?)```", text, re.DOTALL))


def install(package: Path, folder: Path) -> None:
    """Install a package into a folder as pip does, offline."""
    quiet = ["--quiet", "--disable-pip-version-check", "--no-deps", "--no-index", "--no-build-isolation"]
    line = [sys.executable, "-m", "pip", "install", *quiet, "--target", str(folder), str(package)]
    done = subprocess.run(line, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Path:
    """A folder with the example, the guide's package, and a package whose entries do not load."""
    checkout = request.config.rootpath
    folder, shown = tmp_path_factory.mktemp("site"), tmp_path_factory.mktemp("my-rules")
    install(checkout / "tests" / "plugin_example", folder)
    for name, text in guide_blocks(checkout).items():
        (shown / name).parent.mkdir(exist_ok=True)
        (shown / name).write_text(text, encoding="utf-8")
    install(shown, folder)
    broken = folder / "forgotten-1.0.dist-info"
    broken.mkdir()
    for name, text in BROKEN.items():
        (broken / name).write_text(text, encoding="utf-8")
    return folder


def command_with(site: Path, *words: object) -> subprocess.CompletedProcess:
    """Run the command line as a user does who has the packages of a folder installed."""
    path = os.pathsep.join(filter(None, (str(site), os.environ.get("PYTHONPATH", ""))))
    env = {**os.environ, "PYTHONPATH": path, "COLUMNS": "200"}
    line = [sys.executable, "-m", "stovergeo.cli", *map(str, words)]
    return subprocess.run(line, capture_output=True, text=True, env=env, timeout=300, check=False)


@pytest.fixture(scope="module")
def run(site: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess]:
    """The outputs of a small farm planned with the example installed, and what the command printed."""
    farm = tmp_path_factory.mktemp("farm")
    write_small_farm(farm)
    (farm / "plan.toml").write_text(PLAN, encoding="utf-8")
    said = command_with(site, "plan", farm / "plan.toml", "--out", farm / "out")
    assert said.returncode == 0, said.stderr
    return farm / "out", said


@pytest.fixture(scope="module")
def record(run: tuple[Path, subprocess.CompletedProcess]) -> dict:
    return json.loads((run[0] / "plan.json").read_text("utf-8"))


def test_rules_lists_the_example_and_says_what_is_broken(site: Path) -> None:
    said = command_with(site, "rules", "--json")
    assert said.returncode == 0, said.stderr
    found = {(row["group"], row["name"]): row for row in json.loads(said.stdout)}
    rule = found["stovergeo.retention_rules", "bird_cover"]
    assert (rule["package"], rule["title"], rule["broken"]) == ("meadow-rules", "Cover for birds", "")
    criterion = found["stovergeo.site_criteria", "high_ground"]
    assert (criterion["package"], criterion["title"], criterion["broken"]) == ("meadow-rules", "High ground", "")
    guide = found["stovergeo.retention_rules", "quail_cover"]
    assert (guide["package"], guide["broken"]) == ("my-rules", "")
    assert "ModuleNotFoundError" in found["stovergeo.retention_rules", "forgotten"]["broken"]
    assert found["stovergeo.site_criteria", "unfinished"]["broken"].startswith("lacks title")


def test_the_rule_is_asked_in_every_zone(record: dict) -> None:
    zones = {row["properties"]["zone_id"] for row in record["zones"]["features"]}
    asked = {row["zone_id"]: row for row in record["zone_limits"] if row["rule"] == "bird_cover"}
    assert zones
    assert set(asked) == zones
    # the rule leaves 40 % of a stover surface of which the stack's record gives least and most
    stover = record["stack"]["stover_mg_ha"]
    for row in asked.values():
        assert 0.4 * stover["least"] <= row["retention_mg_ha"] <= 0.4 * stover["most"]
        assert row["message"].startswith("For the birds, ")
    keep = record["stack"]["retention_bird_cover_mg_ha"]
    assert keep["most"] == pytest.approx(0.4 * stover["most"], rel=1e-5)


def test_the_guide_is_enough_in_under_40_lines(record: dict, request: pytest.FixtureRequest) -> None:
    """Half of what grew stays: the rule of the guide, from its own three files and nothing else."""
    shown = guide_blocks(request.config.rootpath)
    assert set(shown) == {"my_rules/quail.py", "my_rules/messages.toml", "pyproject.toml"}
    assert sum(len(text.splitlines()) for text in shown.values()) < 40
    most = record["stack"]["stover_mg_ha"]["most"]
    assert record["stack"]["retention_quail_cover_mg_ha"]["most"] == pytest.approx(0.5 * most, rel=1e-5)


def test_the_guide_shows_how_to_try_a_rule(site: Path, request: pytest.FixtureRequest) -> None:
    text = (request.config.rootpath / "DEVELOPERS.md").read_text("utf-8")
    shown = re.search(r"```python\n(import numpy.*?)```", text, re.DOTALL)
    assert shown is not None
    env = {**os.environ, "PYTHONPATH": str(site)}
    line = [sys.executable, "-c", shown[1]]
    said = subprocess.run(line, capture_output=True, text=True, env=env, timeout=300, check=False)
    assert said.returncode == 0, said.stderr
    assert "4.5, 4.5, 4.5" in said.stdout  # half of nine


def test_the_criterion_rates_every_yard(record: dict) -> None:
    yards = {row["properties"]["yard_id"] for row in record["yards"]["features"]}
    rated = {row["yard_id"]: row for row in record["yard_ratings"] if row["criterion"] == "high_ground"}
    assert yards
    assert set(rated) == yards
    assert all(0 < row["score"] <= 1 and "above the lowest ground" in row["message"] for row in rated.values())


def test_the_map_shows_both(run: tuple[Path, subprocess.CompletedProcess]) -> None:
    page = (run[0] / "map.html").read_text("utf-8")
    assert "Cover for birds" in page
    assert "judgment: an example, not advice" in page
    assert "High ground" in page


def test_the_sources_of_both_stand_among_the_sources(run: tuple[Path, subprocess.CompletedProcess]) -> None:
    with (run[0] / "sources.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["key"]: row for row in csv.DictReader(file)}
    rule, criterion = rows["retention_rules.bird_cover"], rows["site_criteria.high_ground"]
    assert (rule["meaning"], rule["source"]) == ("Cover for birds", "judgment: an example, not advice")
    assert (criterion["meaning"], criterion["source"]) == ("High ground", "judgment")
    # and those of our own that had a say, each with its source
    assert {"retention_rules.soil_carbon", "site_criteria.slope"} <= set(rows)
    assert all(row["source"] for key, row in rows.items() if key.startswith(("retention_rules", "site_criteria")))


def test_a_broken_one_is_listed_and_stops_nothing(run: tuple[Path, subprocess.CompletedProcess], record: dict) -> None:
    said = {(row["code"], row["where"]) for row in record["problems"]}
    assert ("residue.rule_broken", "retention rule forgotten of forgotten") in said
    assert ("yards.criterion_broken", "site criterion unfinished of forgotten") in said
    assert "residue.rule_broken" in run[1].stderr


def test_each_module_of_the_example_is_short(request: pytest.FixtureRequest) -> None:
    modules = sorted((request.config.rootpath / "tests" / "plugin_example").rglob("*.py"))
    assert len(modules) == 3
    assert max(len(m.read_text("utf-8").splitlines()) for m in modules) < 40
