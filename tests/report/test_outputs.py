"""All results are written, each reads back, and nothing that stood there is ever half-lost."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import made_up
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from rich.console import Console
from shapely.geometry import LineString, Point

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Message
from stovergeo.report import NAMES, grower_table, refuse_existing, write_outputs
from stovergeo.report.crew import crew_sheet
from stovergeo.report.geo_files import write_gpkg
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.tables import zones_table


def codes(report: Report) -> list[str]:
    return [p.code for p in report]


@pytest.fixture(scope="module")
def written(result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "plan"
    return write_outputs(result, folder)


def test_every_promised_file_is_there_and_nothing_else(written):
    folder = written["map.html"].parent
    assert sorted(p.name for p in folder.iterdir()) == sorted(NAMES)
    assert all(p.stat().st_size > 100 for p in written.values())


def test_gpkg_holds_a_layer_a_result_with_every_row(written, result):
    layers = dict(pyogrio.list_layers(written["plan.gpkg"]))
    assert {"fields", "zones", "yards", "stacks", "hauls", "soils", "yield_points", "surroundings_trees"} <= set(layers)
    zones = pyogrio.read_dataframe(written["plan.gpkg"], layer="zones")
    assert len(zones) == 4
    assert zones.crs == result.crs
    assert zones["removal_mg"].sum() == pytest.approx(result.zones["removal_mg"].sum())
    assert zones.area.sum() == pytest.approx(result.zones.area.sum())


def test_gpkg_takes_columns_and_shapes_whatever_their_names(result, tmp_path):
    trees = result.surroundings["trees"]
    odd = trees.assign(fid=7, FID="x", Name="again", select=[["a", 1]], nothing=None, half=np.nan)
    bow_tie = shapely.from_wkt("POLYGON ((0 0, 1 1, 1 0, 0 1, 0 0))")
    mixed = gpd.GeoDataFrame(
        {"name": ["p", "l", "t"]}, geometry=[Point(0, 0), LineString([(0, 0), (1, 1)]), bow_tie], crs=32615
    )
    strange = dataclasses.replace(result, surroundings={"trees": odd, "water": mixed, "roads": trees.iloc[:0]})
    write_gpkg(strange, tmp_path / "plan.gpkg")
    back = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="surroundings_trees")
    assert {"name", "Name_2", "fid_given", "select", "half"} <= set(back.columns)
    assert len(pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="surroundings_water")) == 3
    assert "surroundings_roads" not in {name for name, _ in pyogrio.list_layers(tmp_path / "plan.gpkg")}


def test_metric_plans_print_metric(result, tmp_path):
    farm = result.plan.farm.model_copy(update={"units": "metric"})
    metric = dataclasses.replace(result, plan=result.plan.model_copy(update={"farm": farm}))
    assert not [c for c in zones_table(metric, ledger_of(metric)).columns if c.endswith(("_ac", "_ton", "_lb", "_ft"))]
    console = Console(file=io.StringIO(), width=120)
    for part in grower_table(metric):
        console.print(part)
    assert "430 bales planned, 302 t dry." in console.file.getvalue()
    assert "56.4 ha" in crew_sheet(metric, ledger_of(metric))


@pytest.mark.parametrize(("name", "first"), [("removable.tif", "removable_mg_ha"), ("siting.tif", "yard_score")])
def test_rasters_are_cloud_optimized_and_hold_the_stack(written, result, name, first):
    with rasterio.open(written[name]) as raster:
        assert raster.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert raster.descriptions[0] == first
        assert raster.crs == result.crs
        np.testing.assert_array_equal(raster.read(1), result.stack[first].to_numpy())
        assert np.isnan(raster.nodata)


def test_reasons_behind_numbers_stand_in_the_raster(written):
    with rasterio.open(written["siting.tif"]) as raster:
        band = raster.descriptions.index("yard_reason") + 1
        assert raster.tags(band)["reasons_2"] == "closer than 20 m to the road"


def test_tables_have_a_row_each_and_us_units_beside_si(written, result):
    with written["zones.csv"].open(encoding="utf-8-sig", newline="") as file:
        zones = list(csv.DictReader(file))
    assert [z["zone_id"] for z in zones] == ["F1-a", "F1-b", "F2-a", "F2-b"]
    # 1 acre = 0.40468564224 ha exactly, from the international foot of 0.3048 m
    assert float(zones[0]["area_ac"]) == pytest.approx(30 / 0.40468564224, abs=0.1)
    # 1 short ton = 0.90718474 Mg exactly (2,000 lb of 0.45359237 kg)
    assert float(zones[0]["removal_ton"]) == pytest.approx(132 / 0.90718474, abs=1)
    # they are printed as on the map, and add up to what is printed of the whole farm
    ledger = ledger_of(result)
    for column, what in (("area_ac", "area"), ("removal_ton", "removal")):
        total = sum(float(z[column]) for z in zones)
        assert round(total, 1) == float(ledger.text("farm", what, "us").replace(",", ""))
    assert sum(float(z["bales"]) for z in zones) == 430


def test_what_each_rule_costs_the_farm_stands_in_both_records(written, result):
    table = gpd.read_file(written["plan.gpkg"], layer="limit_totals")
    rows = json.loads(written["plan.json"].read_text("utf-8"))["limit_totals"]
    assert table.to_dict("records") == rows
    assert rows == result.residue.limit_totals.assign(message="Carbon sets the limit.").to_dict("records")
    assert rows[0]["gain_mg"] == 90


def test_record_lists_checksums_of_the_files_beside_it(written):
    record = json.loads(written["plan.json"].read_text("utf-8"))
    assert set(record["files_sha256"]) == set(NAMES) - {"plan.json"}
    for name, digest in record["files_sha256"].items():
        assert hashlib.sha256(written[name].read_bytes()).hexdigest() == digest
    corner = record["zones"]["features"][0]["geometry"]["coordinates"][0][0]
    assert -94 < corner[0] < -93
    assert 42 < corner[1] < 43


def test_the_same_result_gives_the_same_bytes(written, result, tmp_path):
    again = write_outputs(result, tmp_path / "again")
    for name in NAMES:
        assert again[name].read_bytes() == written[name].read_bytes(), name


def test_existing_results_are_refused_before_any_work(tmp_path, result):
    (tmp_path / "zones.csv").write_text("mine")
    with pytest.raises(InputError) as refused:
        refuse_existing(tmp_path, False, Report())
    assert refused.value.problems[0].code == "out.exists"
    assert "zones.csv" in str(refused.value)
    with pytest.raises(InputError):
        write_outputs(result, tmp_path)  # refuses at once
    assert sorted(p.name for p in tmp_path.iterdir()) == ["zones.csv"]
    assert (tmp_path / "zones.csv").read_text() == "mine"
    write_outputs(result, tmp_path, overwrite=True)
    assert (tmp_path / "zones.csv").read_text("utf-8-sig").startswith("zone_id")


@pytest.fixture
def standing(written, tmp_path):
    """A folder of its own with results in it."""
    return Path(shutil.copytree(written["map.html"].parent, tmp_path / "standing"))


def test_a_failed_write_leaves_the_old_results_whole(standing, result, monkeypatch):
    before = {p.name: p.read_bytes() for p in standing.iterdir()}

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("stovergeo.report.outputs.write_gpkg", full)
    with pytest.raises(InputError) as refused:
        write_outputs(result, standing, overwrite=True)
    assert refused.value.problems[0].code == "out.disk_full"
    assert {p.name: p.read_bytes() for p in standing.iterdir()} == before


FULL_DISK = """
import json, pathlib, shutil, subprocess, sys
sys.path.insert(0, str(pathlib.Path(sys.argv[1]).parent))
import made_up
from stovergeo.core.errors import InputError
from stovergeo.report import write_outputs
disk = pathlib.Path(sys.argv[2])
subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(disk)], check=True)
out = disk / "out"
result = made_up.made_result(disk)
write_outputs(result, out)
before = {p.name: p.read_bytes() for p in out.iterdir()}
said = []
for left_kb in (1200, 900, 700, 500, 300, 100, 4):
    (disk / "ballast").write_bytes(b"x" * (shutil.disk_usage(disk).free - 1024 * left_kb))
    try:
        write_outputs(result, out, overwrite=True)
        said.append("written")
    except InputError as refused:
        said.append(refused.problems[0].code)
    # where there was room after all, the same plan has given the same bytes
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before, left_kb
    (disk / "ballast").unlink()
print(json.dumps(said))
"""


@pytest.mark.long
@pytest.mark.row(47)
@pytest.mark.skipif(shutil.which("unshare") is None or os.name == "nt" or os.geteuid() != 0, reason="mounts need root")
def test_a_disk_that_fills_at_any_file_leaves_the_old_results_whole(tmp_path):
    """A small disk of its own, gone with the process, with less and less room left on it."""
    line = [
        "unshare",
        "-m",
        sys.executable,
        "-c",
        FULL_DISK,
        made_up.__file__,
        str(tmp_path),
    ]
    run = subprocess.run(line, capture_output=True, text=True, timeout=300, check=False)
    if "mount" in run.stderr and "stovergeo" not in run.stderr:
        pytest.skip("a small disk cannot be mounted here")
    assert run.returncode == 0, run.stderr
    said = json.loads(run.stdout)
    assert said[0] in ("written", "out.disk_full")
    assert said[1:] == ["out.disk_full"] * 6


def test_results_never_go_through_a_link_or_over_a_folder(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "map.html").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "other" / "map.html").mkdir(parents=True)
    (tmp_path / "file").write_text("")
    for folder in ("link", "plan", "other", "file", "file/below"):
        with pytest.raises(InputError) as refused:
            refuse_existing(tmp_path / folder, True, Report())
        assert refused.value.problems[0].code == "out.not_folder", folder


def test_left_overs_of_dead_runs_are_cleaned_and_reported(tmp_path):
    dead = tmp_path / ".stovergeo-dead.part"
    dead.mkdir()
    (dead / "alive").write_bytes(b"")
    (dead / "map.html").write_text("half")
    report = Report()
    refuse_existing(tmp_path, False, report)
    assert codes(report) == ["out.stale"]
    assert not dead.exists()


def test_a_run_killed_while_renaming_is_finished_by_the_next(standing):
    dead = standing / ".stovergeo-dead.part"
    dead.mkdir()
    (dead / "alive").write_bytes(b"")
    (dead / "whole").write_text("zones.csv\nyards.csv")
    (dead / "yards.csv").write_text("new yards")  # zones.csv had been renamed already
    (standing / "zones.csv").write_text("new zones")
    report = Report()
    refuse_existing(standing, True, report)
    assert codes(report) == ["out.resumed"]
    assert (standing / "zones.csv").read_text() == "new zones"
    assert (standing / "yards.csv").read_text() == "new yards"


KILLED = """
import hashlib, json, os, pathlib, signal, sys, time
sys.path.insert(0, str(pathlib.Path(sys.argv[1]).parent))
import made_up
import dataclasses, random
from stovergeo.core.errors import Report
from stovergeo.report import NAMES, refuse_existing, write_outputs
folder, kills = pathlib.Path(sys.argv[2]), int(sys.argv[3])
one = made_up.made_result(folder)
renamed = one.plan.model_copy(update={"farm": one.plan.farm.model_copy(update={"name": "Another farm"})})
two = dataclasses.replace(one, plan=renamed)
sums = []
for result in (two, one):
    began = time.monotonic()
    write_outputs(result, folder, overwrite=True)
    whole_s = time.monotonic() - began
    sums.append({p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()})
assert sums[0] != sums[1]
draw, seen, cleaned = random.Random(20261126), set(), 0
for kill in range(kills):
    child = os.fork()
    if child == 0:
        while True:
            for result in (two, one) if kill % 2 else (one, two):
                write_outputs(result, folder, overwrite=True)
    time.sleep(draw.uniform(0, 2.5 * whole_s))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    report = Report()
    refuse_existing(folder, True, report)
    codes = {p.code for p in report}
    assert codes <= {"out.stale", "out.resumed"}, codes
    cleaned += bool(codes)
    found = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
    assert found in sums, (kill, sorted(found))
    seen.add(sums.index(found))
print(json.dumps({"kills": kills, "cleaned": cleaned, "seen": sorted(seen)}))
"""


@pytest.mark.long
@pytest.mark.row(48)
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_killed_at_random_moments_one_runs_results_stand_whole(tmp_path):
    """Two plans are written over each other, again and again; what stands after a kill is the one or the other."""
    kills = 16
    line = [sys.executable, "-c", KILLED, made_up.__file__, str(tmp_path / "out"), str(kills)]
    run = subprocess.run(line, capture_output=True, text=True, timeout=900, check=False)
    assert run.returncode == 0, run.stderr
    told = json.loads(run.stdout)
    assert told["kills"] == kills
    assert told["cleaned"] > kills / 3  # most kills fell into the writing
    assert told["seen"]
    assert set(told["seen"]) <= {0, 1}  # on a busy machine all kills may leave the same one


@pytest.mark.row(49)
def test_a_result_that_a_program_holds_open_is_named_and_nothing_is_replaced(standing, result, monkeypatch):
    """As on a system where an open file cannot be replaced: it cannot be opened for writing either."""
    before = {p.name: p.read_bytes() for p in standing.iterdir()}
    opened = Path.open

    def held(path, mode="r", *rest, **more):
        if path == standing / "zones.csv" and "+" in mode:
            raise PermissionError(13, "The process cannot access the file because it is being used")
        return opened(path, mode, *rest, **more)

    monkeypatch.setattr(Path, "open", held)
    with pytest.raises(InputError) as refused:
        write_outputs(result, standing, overwrite=True)
    problem = refused.value.problems[0]
    assert problem.code == "out.failed"
    assert "zones.csv" in problem.where
    assert "Close the program" in problem.cure
    assert {p.name: p.read_bytes() for p in standing.iterdir()} == before


@pytest.mark.row(49)
@pytest.mark.surprise(
    "A renaming that failed half-way left old and new results side by side, and the new ones were lost."
)
def test_a_renaming_that_fails_half_way_is_finished_by_the_next_run(standing, result, monkeypatch):
    farm = result.plan.farm.model_copy(update={"name": "Another farm"})
    other = dataclasses.replace(result, plan=result.plan.model_copy(update={"farm": farm}))
    replace = Path.replace

    def fails(path, target):
        if Path(target).name == "zones.csv":
            raise OSError(5, "Input/output error")
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(InputError) as refused:
        write_outputs(other, standing, overwrite=True)
    assert refused.value.problems[0].code == "out.failed"
    monkeypatch.undo()
    report = Report()
    refuse_existing(standing, True, report)
    assert codes(report) == ["out.resumed"]
    record = json.loads((standing / "plan.json").read_text("utf-8"))
    for name, digest in record["files_sha256"].items():
        assert hashlib.sha256((standing / name).read_bytes()).hexdigest() == digest, name
    assert "Another farm" in (standing / "map.html").read_text("utf-8")
    assert sorted(p.name for p in standing.iterdir()) == sorted(NAMES)


def test_a_live_run_is_left_alone(tmp_path, result):
    from stovergeo.report.folder import part_folder

    with part_folder(tmp_path, Report()) as part:
        (part / "map.html").write_text("being written")
        report = Report()
        refuse_existing(tmp_path, False, report)
        assert codes(report) == []
        assert (part / "map.html").exists()
    assert list(tmp_path.iterdir()) == []


def test_no_output_is_written_by_turning_a_message_into_text_by_itself(result, tmp_path, monkeypatch):
    """The reader's units are known where text is made; a message by itself does not know them."""

    def refuse(self: Message) -> str:
        raise AssertionError(f"printed without a unit system: {self.key}")

    monkeypatch.setattr(Message, "__str__", refuse)
    monkeypatch.setattr(Message, "__format__", lambda self, spec: refuse(self))
    assert len(write_outputs(result, tmp_path / "plan")) == len(NAMES)
    Console(file=io.StringIO()).print(*grower_table(result))
