"""A season with a weather station's file: what is refused of it, and what the replay of past autumns says."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from made_weather import made_days, station_file
from placed_farm import PLACES, placed_plan
from rich.text import Text
from shapely.geometry import box

from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.inputs.plan import read_plan
from stovergeo.report import grower_table
from stovergeo.report.blocks import texts
from stovergeo.report.json_values import json_values
from stovergeo.result import SeasonResult
from stovergeo.window import SUNDAY
from stovergeo.workflow import bale_window, check_season, run_season
from stovergeo.workflow.baling_window import judge, work_of
from stovergeo.workflow.checks import get_ready
from stovergeo.workflow.progress import quiet
from stovergeo.workflow.run import worked_out
from stovergeo.workflow.run_size import no_progress
from stovergeo.workflow.steps import Season

GHCN = {"layers": {"weather": {"path": "station.csv", "form": "ghcn"}}}


def with_weather(**window: Any) -> dict[str, Any]:
    return {**GHCN, **({"window": window} if window else {})}


def iowa(folder: Path, changes: dict[str, Any], days: pd.DataFrame | None = None) -> Path:
    """Write the farm in Iowa, with a station's file beside it."""
    station_file(folder, made_days() if days is None else days)
    return placed_plan(folder, PLACES["Iowa"], changes)


def ready(folder: Path, changes: dict[str, Any], place: str = "Iowa") -> tuple[Any, Report]:
    report = Report()
    plan = read_plan(placed_plan(folder, PLACES[place], changes), report)
    return get_ready(plan, report, no_progress), report


def codes(report: Report) -> list[tuple[str, str]]:
    return [(p.code, p.where) for p in report.refused]


# what is refused


def metric_called_tenths(folder: Path) -> None:
    station_file(folder, made_days(), tenths=False)


def ten_autumns(folder: Path) -> None:
    station_file(folder, made_days(last=2000))


def no_lowest(folder: Path) -> None:
    path = station_file(folder, made_days())
    pd.read_csv(path, dtype=str).drop(columns="TMIN").to_csv(path, index=False)


@pytest.mark.parametrize(
    ("spoil", "code", "where"),
    [
        (metric_called_tenths, "weather.unit_wrong", "weather, rain"),
        (ten_autumns, "weather.too_few", "weather"),
        (no_lowest, "weather.columns", "weather"),
        (lambda folder: (folder / "station.csv").unlink(missing_ok=True), "file.missing", "weather"),
    ],
)
@pytest.mark.row
def test_a_wrong_weather_file_is_refused_by_check_and_plan_alike(
    tmp_path: Path, spoil: Callable[[Path], None], code: str, where: str
) -> None:
    plan = placed_plan(tmp_path, PLACES["Iowa"], with_weather())
    spoil(tmp_path)
    checked = Report()
    check_season(plan, checked)
    assert codes(checked) == [(code, where)]
    assert len(checked.refused[0].cure.split()) > 3
    planned = Report()
    with pytest.raises(InputError, match=code.replace(".", r"\.")):
        run_season(plan, planned)
    assert codes(planned) == codes(checked)


@pytest.mark.parametrize(
    ("window", "code", "where", "said"),
    [
        ({"done_by": "12-31"}, "window.day", "window.done_by", "12-31 lies outside 09-01 to 12-15"),
        ({"harvest_to": "11-25"}, "window.day", "window.done_by", "`harvest_to` (11-25) comes after `done_by` (11-19)"),
        ({"harvest_from": "10-30"}, "window.day", "window.harvest_to", "`harvest_from` (10-30)"),
        ({"fields": [{"field": "feilds"}]}, "window.no_such_field", "window.fields feilds", 'Did you mean "fields"'),
        (
            {"fields": [{"field": "fields", "last_day": "04-10"}]},
            "window.day",
            "window.fields fields.last_day",
            "04-10 lies outside",
        ),
        ({"days_off": ["sunday", "sunday"]}, "plan.bad_value", "window.days_off", "more than once"),
        ({"work_hours": [18, 9]}, "plan.bad_value", "window.work_hours", "at least two hours apart"),
        ({"done_by": "2026-11-20"}, "plan.bad_value", "window.done_by", "month-day"),
        ({"wanted_pct": 0.8}, "plan.bad_value", "window.wanted_pct", "at least 50"),
        ({"balers": 2}, "plan.unknown_key", "window.balers", ""),
    ],
)
@pytest.mark.row
def test_a_wrong_window_is_refused(tmp_path: Path, window: dict[str, Any], code: str, where: str, said: str) -> None:
    report = Report()
    with suppress(InputError):  # the plan file itself; it stands in the report
        check_season(iowa(tmp_path, with_weather(**window)), report)
    (problem,) = report.refused
    assert problem.code == code
    assert problem.where.endswith(where)
    assert said in str(problem.what_in("us"))


def test_columns_are_declared_for_a_plain_table_alone(tmp_path: Path) -> None:
    report = Report()
    weather = {"path": "station.csv", "form": "ghcn", "columns": {"date": "DATE"}}
    with pytest.raises(InputError, match="declared for form"):
        check_season(iowa(tmp_path, {"layers": {"weather": weather}}), report)


def test_a_window_without_weather_is_told_to_have_no_effect(tmp_path: Path) -> None:
    found, report = ready(tmp_path, {"window": {"done_by": "11-10"}})
    assert found.autumns is None
    assert [p.code for p in report if p.code.startswith("window")] == ["window.no_weather"]


# what is read


def test_the_days_left_out_are_counted_from_the_day_of_baling(tmp_path: Path) -> None:
    station_file(tmp_path, made_days())
    found, report = ready(tmp_path, with_weather())
    days = found.autumns
    assert not report.refused
    assert len(days.past.years) == 30
    assert days.done_by == days.past.day_of(11, 19)
    assert days.combined == {"F1": days.past.day_of(10, 22)}
    assert days.last_day == {}


def test_a_plain_table_in_us_units_gives_the_same_autumns_as_the_station(tmp_path: Path) -> None:
    made = made_days()
    station_file(tmp_path, made)
    table = pd.DataFrame({"day": made["date"].dt.date, "rain": made["rain_mm"] / 25.4})
    table["high"], table["low"] = 1.8 * made["tmax_c"] + 32, 1.8 * made["tmin_c"] + 32
    table.to_csv(tmp_path / "plain.csv", index=False)
    plain = {
        "path": "plain.csv",
        "form": "plain",
        "reading_hour": 24,
        "columns": {"date": "day", "rain": "rain", "tmax": "high", "tmin": "low"},
        "units": {"rain": "in", "tmax": "F", "tmin": "F"},
    }
    one, _ = ready(tmp_path, with_weather())
    other, _ = ready(tmp_path, {"layers": {"weather": plain}})
    for name in ("rain_mm", "tmax_c", "tmin_c"):
        assert getattr(other.autumns.past, name) == pytest.approx(getattr(one.autumns.past, name), abs=1e-6)
    assert other.autumns.past.latitude == pytest.approx(42.0, abs=0.01)  # the farm's, as the table has none


def test_own_hours_and_wanted_chance_stand_for_the_handbooks(tmp_path: Path) -> None:
    station_file(tmp_path, made_days())
    found, _ = ready(tmp_path, with_weather(work_hours=[8, 20], wanted_pct=90))
    keys = ("window.crew.first_hour", "window.crew.last_hour", "window.chance.wanted")
    assert [found.coefficients.value(key) for key in keys] == [8, 20, 0.9]


def test_south_of_the_equator_autumn_begins_in_march(tmp_path: Path) -> None:
    made = made_days().assign(date=lambda d: d["date"] - pd.Timedelta(days=184))
    station_file(tmp_path, made)
    found, report = ready(tmp_path, with_weather(), "Pampas")
    assert found.autumns.past.start == (3, 1)
    assert found.autumns.done_by == found.autumns.past.day_of(5, 19)
    assert "weather.far" in [p.code for p in report]  # the made station lies in Iowa


# what a season says


def dry(days: pd.DataFrame) -> pd.DataFrame:
    """Return the same days, warm and without rain but for a little in August, where nothing lies yet."""
    august = days["date"].dt.month == 8
    return days.assign(rain_mm=days["rain_mm"].where(august, 0.0), tmax_c=22.0, tmin_c=7.0)


def wet(days: pd.DataFrame) -> pd.DataFrame:
    return days.assign(rain_mm=12.0, tmax_c=14.0, tmin_c=6.0)


def season(folder: Path, changes: dict[str, Any], days: pd.DataFrame | None = None) -> SeasonResult:
    return run_season(iowa(folder, changes, days), Report())


def said(result: SeasonResult, topic: str = "window", system: str = "us") -> list[str]:
    return [render(line, system) for line in result.words[topic]]


def test_without_weather_the_window_is_named_as_not_checked_and_the_old_rule_stays(tmp_path: Path) -> None:
    result = run_season(placed_plan(tmp_path, PLACES["Iowa"]), Report())
    assert render(result.not_checked["baling window"], "us").startswith("No daily weather was given")
    assert result.words["window"] == []
    assert any("days are fit" in line for line in said(result, "baling"))


def test_dry_autumns_are_done_with_one_baler(tmp_path: Path) -> None:
    result = season(tmp_path, with_weather(), dry(made_days()))
    assert "baling window" not in result.not_checked
    assert said(result)[0] == (
        "In 30 of 30 past autumns you would have finished by November 19 (89% to 100% with so few years)."
    )
    assert "1 baler is enough to be done in 80% of the autumns." in said(result)
    assert not any("binds" in line for line in said(result))
    assert not any("days are fit" in line for line in said(result, "baling"))
    shown = "\n".join(t.plain for t in grower_table(result) if isinstance(t, Text))
    assert all(line in shown for line in said(result))
    page = texts(result.words["window"])
    assert "all bales would have been made by November 19" in str(page)


def test_wet_autumns_bind_and_no_number_of_balers_helps(tmp_path: Path) -> None:
    result = season(tmp_path, with_weather(), wet(made_days()))
    assert said(result)[0].startswith("In 0 of 30 past autumns")
    assert "Not even 4 balers would be done in 80% of the autumns." in said(result)
    assert said(result)[-2:] == [
        "The baling window binds: no bale at all is made in time in 80% of the autumns.",
        "No change of one thing that was tried would help.",
    ]


def test_a_short_window_is_loosened_by_what_lets_more_autumns_finish(tmp_path: Path) -> None:
    """No rain and a mild fall; each lever is the count of the plan that makes this change."""
    mild = dry(made_days()).assign(tmax_c=lambda d: 13 + (d["date"].dt.year % 8), tmin_c=2.0)
    window = {"harvest_to": "10-25", "done_by": "11-04"}
    changes = {**with_weather(**window), "gather": {"methods": ["rake_bale"]}, "need": {"herd": [BIG_HERD]}}
    changes["limits"] = {"rules": ["ground_cover"]}  # enough leaves for a window to bind
    found, _ = worked(tmp_path, changes, mild)
    judged = judge(work_of(found, found.ready.autumns), found.ready.coefficients, draws=0)
    assert judged.binds
    levers = {lever.name: lever.finished for lever in judged.levers}
    assert levers
    assert all(finished > judged.chance.finished for finished in levers.values())
    two, _ = worked(tmp_path, {**changes, "money": {"crews": 2}}, mild)
    by_two = judge(work_of(two, two.ready.autumns), two.ready.coefficients, draws=0).chance.finished
    assert levers.get("baler", judged.chance.finished) == by_two


BIG_HERD = {"name": "cows", "head": 400}


def worked(folder: Path, changes: dict[str, Any], days: pd.DataFrame) -> tuple[Season, Report]:
    report = Report()
    return worked_out(iowa(folder, changes, days), report, quiet, no_progress), report


def test_the_work_is_what_the_choice_bales(tmp_path: Path) -> None:
    changes = with_weather(
        fields=[{"field": "fields", "combined": "10-03", "last_day": "11-10", "tiled": True}],
        days_off=["sunday"],
        holidays=["11-11"],
    )
    contract = {"name": "plant", "dry_mass": "20 ton", "months": ["Jan"], "price": "200 $/ton", "moisture_max_pct": 18}
    found, _ = worked(tmp_path, {**changes, "money": {"crews": 3}, "need": {"contract": [contract]}}, made_days())
    work = work_of(found, found.ready.autumns)
    (one,) = work.fields
    past = work.past
    assert one.bales == found.counts.made["bales"].sum()
    assert one.bales * one.bale_dry_kg == pytest.approx((found.counts.made.eval("bales * bale_dry_kg")).sum())
    assert (one.combined, one.deadline) == (past.day_of(10, 3), past.day_of(11, 10))
    assert one.tiled
    assert one.drainage_class == 3  # well drained
    assert one.clay_pct == pytest.approx(24)
    assert work.crew.balers == 3
    assert work.crew.limit_pct == 18  # the buyer's, drier than the handbook's
    assert work.crew.days_off == {SUNDAY}
    assert work.crew.holidays == {(11, 11)}


def test_fields_of_one_name_are_told_apart(tmp_path: Path) -> None:
    plan = iowa(tmp_path, with_weather(fields=[{"field": "Home", "combined": "10-03"}]))
    whole = gpd.read_file(tmp_path / "fields.gpkg")
    west, south, east, north = whole.total_bounds
    halves = [box(west, south, (west + east) / 2 - 5, north), box((west + east) / 2 + 5, south, east, north)]
    gpd.GeoDataFrame({"name": ["Home", "Home"]}, geometry=halves, crs=whole.crs).to_file(tmp_path / "fields.gpkg")
    found = worked_out(plan, Report(), quiet, no_progress)
    work = work_of(found, found.ready.autumns)
    assert {one.name for one in work.fields} <= {"Home (F1)", "Home (F2)"}
    assert {one.combined for one in work.fields} == {work.past.day_of(10, 3)}
    assert len({one.name for one in work.fields}) == len(work.fields) > 0


def test_a_single_pass_waits_for_no_dry_day(tmp_path: Path) -> None:
    changes = {**with_weather(), "gather": {"methods": ["single_pass"]}, "bale": {"moisture_pct": 20}}
    result = season(tmp_path, changes, wet(made_days()))
    bales = int(result.bales.made["bales"].sum())
    assert bales > 0
    assert said(result) == [f"{bales} bales are made behind the combine and wait for no dry day."]


# the command


def test_the_command_tells_the_whole_answer_in_both_systems(tmp_path: Path) -> None:
    plan = iowa(tmp_path, with_weather(days_off=["sunday"]))
    answer = bale_window(plan, Report())
    record = json.loads(json.dumps(json_values(answer.record)))
    assert record["done_by"] == "11-19"
    assert len(record["years"]) == 30
    assert [row["balers"] for row in record["by_balers"]] == [1, 2, 3, 4]
    chances = [row["chance"] for row in record["by_balers"]]
    assert chances == sorted(chances)
    assert chances[0] == record["chance"]["value"]
    assert record["order"]["fields"] == ["fields"]
    assert record["wait"]["chance_now"]["finished"] == record["chance"]["finished"]
    assert record["wait"]["chance_later"]["finished"] <= record["wait"]["chance_now"]["finished"]
    assert record["fewest_balers"] == next((r["balers"] for r in record["by_balers"] if r["chance"] >= 0.8), None)
    for system, unit in (("us", "ton"), ("metric", " t")):
        lines = [render(line, system) for _, part in answer.sections for line in part]
        assert any(unit in line for line in lines if line.startswith("Stover lying"))
        assert lines[0].startswith(f"{record['bales']} bales to make with 1 baler")


def test_the_command_says_what_it_needs(tmp_path: Path) -> None:
    plan = placed_plan(tmp_path, PLACES["Iowa"])
    with pytest.raises(InputError, match=r"window\.needs_weather"):
        bale_window(plan, Report())


def test_a_plan_without_weather_loads_no_replay() -> None:
    loaded = subprocess.run(
        [sys.executable, "-c", "import sys, stovergeo.workflow; print('stovergeo.window' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert loaded.stdout.strip() == "False"
