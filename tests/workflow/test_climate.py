"""Rain and air by month: from the plan, from a station's normals, from the handbook in its own region, else said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from long_run import first_short
from placed_farm import PLACES, placed_plan, placed_season

from stovergeo.bales.climate import climate_of
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.inputs.normals import read_normals
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.gather import Storage
from stovergeo.report.first_screen import first_screen
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.workflow import check_season, run_season

#: a made station: rain in mm, air in C
RAIN_MM = [30, 28, 33, 40, 60, 70, 62, 55, 44, 38, 45, 40]
AIR_C = [-1, 1, 6, 12, 17, 20, 22, 21.5, 17, 11.5, 5.5, 0.5]
HEAD = '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","MLY-PRCP-NORMAL","meas_flag","MLY-TAVG-NORMAL"'


def normals(folder: Path, how: str = "us", **changes: object) -> Path:
    """Write a station's file: in inches and degrees F, in whole hundredths and tenths of them, or in mm and C."""
    inches, fahrenheit = np.array(RAIN_MM) / 25.4, np.array(AIR_C) * 1.8 + 32
    rain, air = {
        "us": ([f" {v:.2f}" for v in inches], [f" {v:.1f}" for v in fahrenheit]),
        "whole": ([f"{v * 100:.0f}" for v in inches], [f"{v * 10:.0f}" for v in fahrenheit]),
        "metric": ([str(v) for v in RAIN_MM], [str(v) for v in AIR_C]),
    }[how]
    place = {"lat": 47.3, "lon": 20.6, "name": "SOME TOWN, HU", "first": f"{1:02d}", **changes}
    lines = [HEAD]
    for month in range(12):
        date = place["first"] if month == 0 else f"{month + 1:02d}"
        wet = changes.get("january", rain[month]) if month == 0 else rain[month]
        values = ["XX1", date, place["lat"], place["lon"], "90", place["name"], wet, "S", air[month]]
        lines.append(",".join(f'"{value}"' for value in values))
    path = folder / "normals.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


@pytest.mark.parametrize("how", ["us", "whole", "metric"])
def test_a_station_is_read_in_its_units(tmp_path: Path, how: str) -> None:
    normals(tmp_path, how)
    units = "metric" if how == "metric" else "us"
    found = read_normals("normals.csv", tmp_path, units, Place("normals", Report()))
    assert found.rain_mm == pytest.approx(RAIN_MM, abs=0.13)  # half a hundredth of an inch
    assert found.air_c == pytest.approx(AIR_C, abs=0.03)
    assert found.station == "SOME TOWN, HU"


def test_rain_too_little_to_measure_is_none_and_months_are_put_in_order(tmp_path: Path) -> None:
    path = normals(tmp_path, january=-7777)
    head, *rows = path.read_text().splitlines()
    path.write_text("\n".join([head, *rows[::-1]]))
    found = read_normals("normals.csv", tmp_path, "us", Place("normals", Report()))
    assert found.rain_mm[0] == 0
    assert found.rain_mm[5] == pytest.approx(70, abs=0.13)


@pytest.mark.parametrize(
    ("spoil", "code", "said"),
    [
        (lambda p: p.write_text(p.read_text().replace("MLY-PRCP", "DLY-PRCP")), "column.missing", "MLY-PRCP-NORMAL"),
        (lambda p: p.write_text("\n".join(p.read_text().splitlines()[:8])), "climate.bad_normals", "each once"),
        (lambda p: normals(p.parent, january=-9999), "climate.bad_normals", "month 1"),
        (lambda p: normals(p.parent, "metric"), "climate.bad_normals", "normals_units"),
        (lambda p: normals(p.parent, first="13"), "climate.bad_normals", "each once"),
        (
            lambda p: p.write_text(p.read_text().replace("SOME TOWN", "OTHER TOWN", 3)),
            "climate.bad_normals",
            "stations",
        ),
        (lambda p: p.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200)), "file.signature", ""),
        (lambda p: p.unlink(), "file.missing", "normals.csv"),
    ],
)
@pytest.mark.row
def test_a_bad_file_of_normals_is_refused(tmp_path: Path, spoil, code: str, said: str) -> None:
    spoil(normals(tmp_path))
    plan = placed_plan(tmp_path, PLACES["Hungary"], {"storage": {"normals": "normals.csv"}})
    report = Report()
    check_season(plan, report)
    (problem,) = [p for p in report.refused if p.code == code]
    assert problem.where.startswith("plan file, storage.normals")
    assert said in str(problem)


def test_normals_in_fahrenheit_called_metric_are_refused(tmp_path: Path) -> None:
    normals(tmp_path)
    with pytest.raises(InputError, match=r"climate\.bad_normals"):
        read_normals("normals.csv", tmp_path, "metric", Place("normals", Report()))


def lines(result, topic: str) -> str:
    return " ".join(render(line, "metric") for line in result.words[topic])


def test_a_station_fills_the_plan_and_its_distance_is_told(tmp_path: Path) -> None:
    normals(tmp_path)
    result, report = placed_season(tmp_path, "Hungary", {"storage": {"normals": "normals.csv"}})
    # 0.2 degrees of latitude are 22.2 km, 0.1 of longitude there 7.5 km
    assert "the normals of SOME TOWN, HU, 23.6 km away." in lines(result, "storage")
    assert result.plan.storage.rain_mm == pytest.approx(RAIN_MM, abs=0.13)
    assert not any(p.code.startswith("climate.") for p in report)


def test_a_far_station_is_reported(tmp_path: Path) -> None:
    normals(tmp_path, lat=45.0)
    _, report = placed_season(tmp_path, "Hungary", {"storage": {"normals": "normals.csv"}})
    assert [p.code for p in report if p.code.startswith("climate.")] == ["climate.far"]


@pytest.mark.parametrize("place", first_short(["Pampas", "Hungary", "Finland", "Kenya"]))
def test_a_climate_that_is_not_known_is_said_on_the_first_screen(tmp_path: Path, place: str) -> None:
    result, report = placed_season(tmp_path, place)
    assert [p.code for p in report if p.code.startswith("climate.")] == ["climate.borrowed"]
    section = next(s for s in first_screen(result, ledger_of(result)) if s["id"] == "unknown")
    assert "Not known here: rain and air temperature by month." in str(section["lines"])
    assert ("half a year on" in str(section["lines"])) == (PLACES[place][0] < 0)
    # rain from 0.4 to 2 times as much
    own, _ = placed_season(tmp_path, "Iowa")
    here, there = (
        r.bales.wrap_table.query("wrap == 'net' and base == 'soil'").sort_values("months_stored").iloc[-1]
        for r in (result, own)
    )
    spread, known = ((row["loss_high_pct"] - row["loss_low_pct"]) / row["loss_pct"] for row in (here, there))
    assert spread > known + 0.3


def test_the_borrowed_year_is_turned_by_half_in_the_south() -> None:
    coefficients = load_handbook()
    north, south = (climate_of(Storage().at_latitude(at), coefficients) for at in (42, -33))
    assert south.rain_mm == north.rain_mm[6:] + north.rain_mm[:6]
    assert south.air_c[0] == north.air_c[6] > 20


@pytest.mark.parametrize(
    ("place", "storage"),
    [("Iowa", {}), ("Hungary", {"rain_mm": RAIN_MM, "air_c": AIR_C})],
)
def test_nothing_is_said_where_the_climate_is_known(tmp_path: Path, place: str, storage: dict) -> None:
    result, report = placed_season(tmp_path, place, {"storage": storage})
    assert not any(p.code.startswith("climate.") for p in report)
    assert "Not known here" not in lines(result, "unknown")


def test_only_what_is_left_out_is_borrowed(tmp_path: Path) -> None:
    result, _ = placed_season(tmp_path, "Hungary", {"storage": {"rain_mm": RAIN_MM}})
    assert "Not known here: air temperature by month." in lines(result, "unknown")
    assert climate_of(result.plan.storage, load_handbook()).spread == (1, 1)


def test_a_sun_without_clouds_is_said(tmp_path: Path) -> None:
    clear, _ = placed_season(tmp_path, "Hungary")
    cloudy, _ = placed_season(
        tmp_path, "Hungary", {"storage": {"sunshine_h": [2, 3, 5, 6, 8, 9, 9, 8, 6.5, 5, 2.5, 1.5]}}
    )
    assert "Clouds" in clear.not_checked
    assert "Clouds" not in cloudy.not_checked


@pytest.mark.parametrize(("place", "told"), [("Iowa", False), ("Pampas", True)])
def test_the_erosivity_of_another_place_is_not_taken_without_a_word(tmp_path: Path, place: str, told: bool) -> None:
    path = placed_plan(tmp_path, PLACES[place], {"storage": {"rain_mm": RAIN_MM, "air_c": AIR_C}})
    path.write_text("\n".join(line for line in path.read_text().splitlines() if "erosivity" not in line))
    report = Report()
    result = run_season(path, report)
    assert [p.code for p in report if p.code.startswith("climate.")] == ["climate.erosivity"] * told
    assert [m.key for m in result.words["unknown"] if m.key.startswith("climate.")] == ["climate.erosivity"] * told
