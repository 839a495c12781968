"""Two plans side by side: the numbers against the plans' own, untrusted files refused, the page's place."""

from __future__ import annotations

import io
import json
import os
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import made_up
import numpy as np
import pytest
from page_tags import Tags
from rich.console import Console
from typer.testing import CliRunner

from stovergeo.cli import app
from stovergeo.core.errors import InputError, Report
from stovergeo.core.units import HA_PER_ACRE, MG_PER_TON
from stovergeo.report import (
    compare,
    compare_plans,
    compare_record,
    comparison_page,
    comparison_table,
    read_two,
    write_comparison,
)
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.record import write_record

COST = {"cost": 30_000.0, "cost_per_mg": 110.0, "short_bales": 44.0}


def changed(result):
    """Return the same season with zone F2-a left alone and yard Y2 not used."""
    zones = result.zones.copy()
    left = zones["zone_id"] == "F2-a"
    zones.loc[left, ["removal_mg_ha", "removal_mg", "gathered_fraction"]] = 0.0
    zones.loc[left, "method"] = "leave"
    bales = result.bales.made.copy()
    bales.loc[bales["zone_id"] == "F2-a", "bales"] = 0
    totals = made_up.totals_of(zones) | {"cost": 18_000.0, "short_bales": 214.0, "yards_used": 1.0}
    return replace(
        result.with_tables(bale_plan=bales, hauls=result.supply.hauls[result.supply.hauls["yard_id"] == "Y1"]),
        zones=zones,
        totals=totals,
    )


def written(result, folder: Path) -> Path:
    folder.mkdir()
    write_record(result, folder / "plan.json", [], ledger_of(result))
    return folder


@pytest.fixture(scope="module")
def two(result, tmp_path_factory):
    root = tmp_path_factory.mktemp("compare")
    return written(replace(result, totals=result.totals | COST), root / "before"), written(
        changed(result), root / "after"
    )


@pytest.fixture(scope="module")
def records(two):
    return read_two(*two, Report())


def by_name(records) -> dict[tuple[str, str], compare.Compared]:
    return {(line.place, line.what): line for line in compare_plans(*records)}


def test_fields_and_farm_stand_side_by_side(result, records):
    lines = by_name(records)
    zones = result.zones.set_index("zone_id")
    east = lines["East eighty", "Dry stover removed"]
    assert east.one == pytest.approx(zones.loc["F2-a", "removal_mg"])
    assert east.two == 0
    assert lines["East eighty", "Ground baled"].one == pytest.approx(zones.loc["F2-a", "area_ha"])
    assert lines["East eighty", "Yards"].cells("us") == ("Y2", "–", "differs")
    assert lines["East eighty", "Baling method"].two == "all stover stays"
    assert lines["Home quarter", "Bales"].cells("us") == ("260", "260", "same")
    assert lines["Whole farm", "Bales short"].cells("us") == ("44", "214", "+170")
    assert lines["Whole farm", "Cost"].cells("us") == ("$30,000", "$18,000", "−$12,000")
    assert lines["Whole farm", "Yards used"].cells("us") == ("2", "1", "−1")
    grown = (zones["stover_mg_ha"] * zones["area_ha"]).sum()
    assert lines["Whole farm", "Stays on the ground"].one == pytest.approx(1 - zones["removal_mg"].sum() / grown)


def test_printed_change_is_the_difference_of_the_printed_numbers():
    line = compare.Compared("F", "mass", "mass", 10.49 * MG_PER_TON, 11.51 * MG_PER_TON)
    assert line.cells("us") == ("10 tons", "12 tons", "+2 tons")
    line = compare.Compared("F", "area", "area", 10.0 * HA_PER_ACRE, 10.04 * HA_PER_ACRE)
    assert line.cells("us") == ("10.0 ac", "10.0 ac", "same")


def test_a_field_of_one_plan_only_and_twins_of_one_name_are_kept(two, tmp_path):
    data = json.loads((two[0] / "plan.json").read_text("utf-8"))
    data["fields"]["features"][1]["properties"]["name"] = "Home quarter"
    data["ledger"] = [entry for entry in data["ledger"] if entry["of"] != "farm"]
    other = tmp_path / "twins.json"
    other.write_text(json.dumps(data), "utf-8")
    lines = by_name(read_two(two[0], other, Report()))
    assert lines["East eighty", "Bales"].cells("us") == ("170", "not known", "not known")
    assert lines["East eighty", "Baling method"].two == "no such field"
    assert lines["Home quarter (2)", "Bales"].two == 170
    assert lines["Whole farm", "Cost"].cells("us")[1:] == ("not known", "not known")
    assert lines["Whole farm", "Cost"].as_dict()["two"] is None


def test_a_plan_with_no_ground_is_drawn_empty(two, tmp_path):
    data = json.loads((two[0] / "plan.json").read_text("utf-8"))
    for layer in ("fields", "zones", "yards", "hauls"):
        data[layer]["features"] = []
    path = tmp_path / "bare.json"
    path.write_text(json.dumps(data), "utf-8")
    both = read_two(two[0], path, Report())
    page = comparison_page(compare_plans(*both), both)
    empty, full = sorted(re.findall(r"(?s)<svg.*?</svg>", page), key=len)
    assert "d-take" in full
    assert "d-take" not in empty
    assert "nan" not in page


def moved_east(coordinates, by_deg: float):
    if isinstance(coordinates[0], float):
        return [coordinates[0] + by_deg, *coordinates[1:]]
    return [moved_east(part, by_deg) for part in coordinates]


def test_farms_far_apart_are_each_drawn_in_their_own_frame(two, tmp_path):
    data = json.loads((two[0] / "plan.json").read_text("utf-8"))
    for feature in (f for layer in ("fields", "zones", "yards") for f in data[layer]["features"]):
        feature["geometry"]["coordinates"] = moved_east(feature["geometry"]["coordinates"], 2.0)
    path = tmp_path / "moved.json"
    path.write_text(json.dumps(data), "utf-8")
    both = read_two(two[0], path, Report())
    first, second = re.findall(r"(?s)<svg.*?</svg>", comparison_page(compare_plans(*both), both))
    assert second.replace("plan2-", "plan1-") == first


def test_the_page_draws_both_plans_to_one_scale_and_loads_nothing(result, records):
    page = comparison_page(compare_plans(*records), records)
    assert "default-src 'none'" in page
    assert not re.search(r"<script|src=|href=|url\((?!#)|@import|https?:", page)
    drawings = [ET.fromstring(d) for d in re.findall(r"(?s)<svg.*?</svg>", page)]
    assert len(drawings) == 2
    assert drawings[0].get("viewBox") == drawings[1].get("viewBox")
    kinds = [[e.get("class") for e in d.iter()] for d in drawings]
    assert [k.count("d-yard") for k in kinds] == [2, 1]
    assert [k.count("d-leave") for k in kinds] == [1, 2]
    assert [sum(str(c).startswith("d-take") for c in k) for k in kinds] == [3, 2]
    # Home quarter is 600 m wide and 940 m high in the working CRS; drawn it must have that form
    outline = next(e for e in drawings[0].iter() if e.get("class") == "d-field").get("d")
    wide, high = np.ptp(np.array(re.findall(r"([\d.]+) ([\d.]+)", outline), dtype=float), axis=0)
    assert wide / high == pytest.approx(600 / 940, rel=0.02)


def test_hostile_strings_stay_text(farm, hostile_strings, tmp_path, records):
    markup = next(s for s in hostile_strings if s.startswith("[bold red]"))
    for number, text in enumerate([*hostile_strings[::9], markup, " ".join(hostile_strings)]):
        wild = farm.made_result(tmp_path, lambda plain, t=text: f"{plain} {t}")
        folder = written(wild, tmp_path / f"wild{number}")
        data = json.loads((folder / "plan.json").read_text("utf-8"))
        for row in (f["properties"] for f in data["yards"]["features"] + data["hauls"]["features"]):
            row["yard_id"] += text
        for row in data["zone_methods"]:
            row["title"] += text
        (folder / "plan.json").write_text(json.dumps(data), "utf-8")
        both = read_two(folder, folder, Report())
        lines = compare_plans(*both)
        seen, plain = (Tags(comparison_page(compare_plans(*r), r)) for r in (both, (records[0], records[0])))
        assert seen.seen == plain.seen  # not one tag or attribute more
        console = Console(width=4000, file=io.StringIO(), record=True)
        console.print(comparison_table(lines, both))
        printed = console.export_text()
        assert "\u202e" not in printed
        if text == markup:
            assert f"Home quarter {markup}" in printed
        assert "East eighty" in seen.text


GOOD = {"type": "Polygon", "coordinates": [[[0, 0], [0, 1], [1, 1], [0, 0]]]}


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("ledger"),
        lambda d: d.pop("zones"),
        lambda d: d.update(made_by="another program"),
        lambda d: d["plan"]["farm"].update(units="furlongs"),
        lambda d: d["plan"]["farm"].update(season="2026"),
        lambda d: d["ledger"][0].update(value="much"),
        lambda d: d["ledger"][0].update(value=True),
        lambda d: d["ledger"][0].update(value=10**400),
        lambda d: d["ledger"][0]["printed"].update(us="1 <b>ton</b>"),
        lambda d: d["ledger"][0].update(of=["farm"]),
        lambda d: d["zones"].update(features=7),
        lambda d: d["zones"]["features"][0].update(geometry=None),
        lambda d: d["zones"]["features"][0].update(
            geometry={**GOOD, "coordinates": [[[0, 0], [0, 991], [1, 1], [0, 0]]]}
        ),
        lambda d: d["zones"]["features"][0].update(geometry={**GOOD, "coordinates": [[[0, 0], ["x", 1], [1, 1]]]}),
        lambda d: d["zones"]["features"][0].update(geometry={**GOOD, "coordinates": {}}),
        lambda d: d["zones"]["features"][0].update(geometry={"type": "Polygon"}),
        lambda d: d["zones"]["features"][0].update(geometry={**GOOD, "coordinates": 10**400}),
        lambda d: d["yards"]["features"][0].update(geometry={"type": "Point", "coordinates": [0, 0]}),
        lambda d: d["fields"]["features"][0]["properties"].update(name=None),
    ],
)
def test_a_record_that_is_not_one_is_refused(two, tmp_path, spoil):
    data = json.loads((two[0] / "plan.json").read_text("utf-8"))
    spoil(data)
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(data), "utf-8")
    with pytest.raises(InputError, match=r"compare\.unreadable"):
        compare_record.read_record(path, Report())


@pytest.mark.parametrize(
    "content",
    [b"{", b"[]", b"7", b"\xff\xfe{}", b'{"totals": NaN}', b'{"totals": -Infinity}', b"[" * 100_000, b"9" * 5_000],
)
def test_text_that_is_no_record_is_refused(tmp_path, content):
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"compare\.unreadable"):
        compare_record.read_record(path, Report())


def test_a_number_beyond_every_float_is_refused(two, tmp_path):
    text = (two[0] / "plan.json").read_text("utf-8").replace('"value": 30000.0', '"value": 1e999')
    path = tmp_path / "plan.json"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match=r"compare\.unreadable"):
        compare_record.read_record(path, Report())


def test_size_missing_files_pipes_and_addresses(two, tmp_path, monkeypatch):
    for bad, code in ((tmp_path, "file.missing"), (Path("https://example.test/plan.json"), "path.remote")):
        with pytest.raises(InputError, match=code):
            compare_record.read_record(bad, Report())
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(InputError, match=r"file\.not_regular"):
            compare_record.read_record(tmp_path / "pipe", Report())
    monkeypatch.setattr(compare_record, "MAX_BYTES", 1000)
    with pytest.raises(InputError, match=r"compare\.too_big"):
        compare_record.read_record(two[0], Report())


def test_another_farm_is_reported(two, tmp_path):
    data = json.loads((two[0] / "plan.json").read_text("utf-8"))
    data["plan"]["farm"]["season"] = 2027
    path = tmp_path / "next.json"
    path.write_text(json.dumps(data), "utf-8")
    report = Report()
    read_two(two[0], path, report)
    assert [p.code for p in report] == ["compare.other_farm"]


def test_a_page_that_is_there_stays_unless_overwrite_is_given(records, tmp_path):
    path = tmp_path / "new" / "page.html"
    write_comparison("one", path, False, Report())
    with pytest.raises(InputError, match=r"out\.exists"):
        write_comparison("two", path, False, Report())
    assert path.read_text("utf-8") == "one"
    write_comparison("two", path, True, Report())
    assert path.read_text("utf-8") == "two"
    assert [p.name for p in path.parent.iterdir()] == ["page.html"]
    for name in ("plan.json", "a\nb.html"):
        with pytest.raises(InputError, match=r"compare\.out_name"):
            write_comparison("x", tmp_path / name, True, Report())


def test_the_command(two, tmp_path):
    page = tmp_path / "page.html"
    run = CliRunner()
    said = run.invoke(app, ["compare", str(two[0]), str(two[1] / "plan.json"), "--out", str(page)])
    assert said.exit_code == 0, said.output
    assert "East eighty" in said.output
    assert "First: before" in page.read_text("utf-8")
    rows = json.loads(run.invoke(app, ["compare", *map(str, two), "--json"]).stdout)
    assert {"place": "Whole farm", "what": "Bales", "unit": "1", "one": 430.0, "two": 260.0} in rows
    again = run.invoke(app, ["compare", *map(str, two), "--out", str(page)])
    assert isinstance(again.exception, InputError)
