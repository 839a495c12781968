"""Wrong inputs through the command: exit code 2, one clear message with the cure, nothing written."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import geopandas as gpd
import pytest
import rasterio
from small_farm import PLAN, command, write_small_farm


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A small farm with its plan file; each test spoils one thing."""
    write_small_farm(tmp_path)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    return tmp_path


def refused(farm: Path, code: str, *words: str) -> subprocess.CompletedProcess:
    before = sorted(p.name for p in farm.rglob("*"))
    said = command("plan", farm / "plan.toml", "--out", farm / "out")
    assert said.returncode == 2, said.stdout + said.stderr
    text = " ".join(said.stderr.split())
    assert code in text
    for word in words:
        assert word in text, text
    assert "Traceback" not in text
    assert sorted(p.name for p in farm.rglob("*")) == before, "something was written"
    return said


def test_the_farm_is_good_before_it_is_spoiled(farm: Path) -> None:
    said = command("plan", farm / "plan.toml", "--out", farm / "out")
    assert said.returncode == 0, said.stderr
    assert (farm / "out" / "map.html").is_file()


def test_missing_crs(farm: Path) -> None:
    fields = gpd.read_file(farm / "fields.gpkg")
    (farm / "fields.gpkg").unlink()
    fields.to_file(farm / "fields.shp")
    (farm / "fields.prj").unlink()
    (farm / "plan.toml").write_text(PLAN.replace("fields.gpkg", "fields.shp"), encoding="utf-8")
    refused(farm, "crs.missing", "crs =")


def test_swapped_coordinates(farm: Path) -> None:
    fields = gpd.read_file(farm / "fields.gpkg").to_crs(4326)
    (farm / "fields.gpkg").unlink()
    fields.geometry = fields.geometry.map(lambda g: type(g)([(y, x) for x, y in g.exterior.coords]))
    fields.to_file(farm / "fields.gpkg")
    refused(farm, "crs.")


@pytest.mark.row(54)
def test_unknown_plan_key(farm: Path) -> None:
    (farm / "plan.toml").write_text(PLAN.replace("[odds]", "[ods]"), encoding="utf-8")
    refused(farm, "plan.unknown_key", "Did you mean 'odds'?")


def test_unknown_handbook_key(farm: Path) -> None:
    (farm / "plan.toml").write_text(PLAN + '[handbook]\n"residue.slop" = 1.0\n', encoding="utf-8")
    refused(farm, "plan.unknown_key", "residue.slope")


def test_elevation_unit_undeclared(farm: Path) -> None:
    with rasterio.open(farm / "ground.tif") as old:
        feet, profile = old.read(1) / 0.3048, old.profile
    (farm / "ground.tif").unlink()
    with rasterio.open(farm / "ground.tif", "w", **profile) as new:
        new.write(feet, 1)
    refused(farm, "dem.z_unit", "vertical_unit")


def test_empty_layer(farm: Path) -> None:
    gpd.read_file(farm / "fields.gpkg").iloc[:0].to_file(farm / "fields.gpkg")
    refused(farm, "layer.empty")


@pytest.mark.row(45)
def test_output_exists(farm: Path) -> None:
    (farm / "out").mkdir()
    (farm / "out" / "map.html").write_text("mine", encoding="utf-8")
    refused(farm, "out.exists", "--overwrite")
    assert (farm / "out" / "map.html").read_text(encoding="utf-8") == "mine"


def test_no_plan_file(farm: Path) -> None:
    (farm / "plan.toml").unlink()
    refused(farm, "plan.unreadable", "stovergeo new")


def test_check_lists_every_problem_at_once_and_writes_nothing(farm: Path) -> None:
    gpd.read_file(farm / "fields.gpkg").iloc[:0].to_file(farm / "fields.gpkg")
    with rasterio.open(farm / "ground.tif", "r+") as ground:
        ground.set_band_unit(1, "")
    before = sorted(p.name for p in farm.rglob("*"))
    said = command("check", farm / "plan.toml")
    assert said.returncode == 2
    assert "layer.empty" in said.stdout
    assert "dem.z_unit" in said.stdout
    assert sorted(p.name for p in farm.rglob("*")) == before


def test_new_writes_a_plan_once(tmp_path: Path) -> None:
    assert command("new", tmp_path / "farm").returncode == 0
    written = (tmp_path / "farm" / "plan.toml").read_text(encoding="utf-8")
    again = command("new", tmp_path / "farm")
    assert again.returncode == 2
    assert "out.exists" in again.stderr
    assert (tmp_path / "farm" / "plan.toml").read_text(encoding="utf-8") == written
    shutil.rmtree(tmp_path / "farm")
