"""A season with a weather station's file: what is refused of it, and what the replay of past autumns says."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from made_weather import made_days, station_file
from placed_farm import PLACES, placed_plan

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan import read_plan
from stovergeo.workflow import check_season, run_season
from stovergeo.workflow.checks import get_ready
from stovergeo.workflow.run_size import no_progress

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
    assert days.combined == {"fields": days.past.day_of(10, 22)}
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
