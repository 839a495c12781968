"""What `check` proposes for columns: from names, units and values, always with the reason, never taken unasked."""

from __future__ import annotations

import tomllib

import numpy as np
import pandas as pd
import pytest
from as_user import ask, write_plan

from stovergeo.core.errors import Report
from stovergeo.inputs.plan import read_plan
from stovergeo.inputs.roles import Proposal, propose, propose_roles, to_paste
from stovergeo.workflow import sample_plan_path


def by_column(frame: pd.DataFrame, declared: dict[str, str] | None = None) -> dict[str, tuple[str, str | None]]:
    return {p.column: (p.role, p.unit) for p in propose(frame, declared or {})}


def test_every_column_of_a_us_monitor_finds_its_role(farm):
    farm.layers["yield_points"]["columns"] = {}
    farm.layers["yield_points"]["units"] = {}
    report = Report()
    proposals = propose_roles(farm.plan(), report)
    assert len(report) == 0
    assert {p.column: (p.role, p.unit) for p in proposals} == {
        "Longitude": ("x", None),
        "Latitude": ("y", None),
        "Flow": ("flow", "lb/s"),
        "Cycles": ("seconds", "s"),
        "Distance": ("distance", "in"),
        "Swath": ("swath", "in"),
        "Moisture": ("moisture", "%"),
        "Altitude": ("", None),  # one height everywhere is none
        "Time": ("time", None),  # the epoch is never guessed
        "Crop": ("crop", None),
    }
    assert not any(p.declared for p in proposals)
    assert all(p.reason for p in proposals)


def test_what_is_proposed_can_be_written_down_and_then_works(farm):
    points = farm.layers["yield_points"]
    points["columns"], points["units"] = {}, {}
    for proposal in propose_roles(farm.plan(), Report()):
        if proposal.role:
            points["columns"][proposal.role] = proposal.column
            if proposal.unit is not None:
                points["units"][proposal.role] = proposal.unit
    farm.read()
    assert farm.report.refused == []


def test_nothing_is_used_until_it_is_declared(farm):
    farm.layers["yield_points"]["columns"] = {"x": "Longitude", "y": "Latitude"}
    farm.layers["yield_points"]["units"] = {}
    farm.read()
    assert "yield.column" in farm.codes()


@pytest.mark.parametrize(("unit", "factor"), [("in", 39.37), ("ft", 3.2808), ("m", 1.0), ("cm", 100.0)])
def test_the_unit_of_distance_comes_from_the_positions(table, unit, factor):
    frame = table.assign(Distance=10.8 * factor)
    (proposal,) = [p for p in propose(frame, {}) if p.column == "Distance"]
    assert proposal.unit == unit
    assert "10.8 m apart" in proposal.reason


def test_a_distance_that_the_positions_deny_has_no_unit(table):
    assert by_column(table.assign(Distance=60.0))["Distance"] == ("distance", None)


@pytest.mark.parametrize(("values", "unit"), [(0.18, "fraction"), (18.0, "%"), (55.0, None)])
def test_moisture_as_share_or_percent(table, values, unit):
    frame = table.assign(Moisture=values + 0.001 * np.arange(len(table)) / len(table))
    assert by_column(frame)["Moisture"] == ("moisture", unit)


@pytest.mark.parametrize(
    ("name", "value", "unit"),
    [("Yield", 180.0, "bu/ac at 15.5 %"), ("Yld_t_ha", 11.0, "t/ha at 15.5 %"), ("yield", 9000.0, "kg/ha dry")],
)
def test_a_yield_is_recognized_by_its_size_and_wet_or_dry_is_asked(table, name, value, unit):
    frame = table.assign(**{name: value + np.arange(len(table)) / 1e4})
    (proposal,) = [p for p in propose(frame, {}) if p.column == name]
    assert (proposal.role, proposal.unit) == ("yield", unit)
    assert "must come from you" in proposal.reason


def test_columns_without_clear_names_are_recognized_by_their_values(table):
    frame = table.rename(columns={"Longitude": "a", "Latitude": "b", "Crop": "c"}).assign(d="Down")
    frame.loc[5, "d"] = "Up"
    told = by_column(frame)
    assert (told["a"], told["b"], told["c"], told["d"]) == (("x", None), ("y", None), ("crop", None), ("header", None))


def test_a_second_column_of_one_kind_is_named_and_not_proposed(table):
    frame = table.assign(Moisture2=table["Moisture"])
    (second,) = [p for p in propose(frame, {}) if p.column == "Moisture2"]
    assert second.role == ""
    assert "another column has that role" in second.reason


@pytest.mark.parametrize(("name", "unit"), [("Altitude(ft)", "ft"), ("height_m", "m"), ("Elevation", None)])
def test_the_unit_of_heights_is_proposed_only_where_the_name_says_it(table, name, unit):
    frame = table.drop(columns="Altitude").assign(**{name: 1000.0 + np.arange(len(table)) / 1e3})
    assert by_column(frame)[name] == ("height", unit)


def test_both_readings_of_a_time_stamp_are_shown(table):
    """31 October 2001 or 5 November 2011: the two readings of the real field's clock (its read-me)."""
    (time,) = [p for p in propose(table.assign(Time=1_004_549_898 + np.arange(len(table))), {}) if p.role == "time"]
    assert "2001-10-31" in time.reason
    assert "2011-11-05" in time.reason


def test_a_file_that_cannot_be_read_brings_its_problem_and_no_proposals(farm):
    farm.layers["yield_points"]["path"] = "nowhere.csv"
    report = Report()
    assert propose_roles(farm.plan(), report) == []
    assert [p.code for p in report] == ["file.missing"]


def test_what_check_prints_can_be_pasted_and_is_then_declared(tmp_path):
    """The sample's points with the sections of their columns taken out, then with what `check` printed put in."""
    plan = tomllib.loads(sample_plan_path().read_text("utf-8"))
    for layer in plan["layers"].values():
        layer["path"] = str(sample_plan_path().parent / layer["path"])
    bare = {k: v for k, v in plan["layers"]["yield_points"].items() if k not in ("columns", "units")}
    path = write_plan({**plan, "layers": {**plan["layers"], "yield_points": bare}}, tmp_path)
    _, out, _ = ask("check", path)
    printed = out[out.index("[layers.yield_points.columns]") :].split("\n\n")
    pasted = tomllib.loads("\n".join(printed[:2]))["layers"]["yield_points"]
    for role, column in plan["layers"]["yield_points"]["columns"].items():
        assert pasted["columns"].get(role) == column or role in ("header", "crop", "load"), role
    path.write_text(path.read_text("utf-8") + "\n" + "\n".join(printed[:2]) + "\n", "utf-8")
    found = propose_roles(read_plan(path, Report()), Report())
    assert {p.role for p in found if p.declared} == set(pasted["columns"])


@pytest.mark.parametrize(
    "name", ['flow "wet"', "flow\\kg", "flow\tkg", "flux é 𝛼", "flow\x7f", "'flow'", "flow # kg", "flow = 1"]
)
def test_any_column_name_can_be_pasted(name):
    text = to_paste([Proposal(name, "flow", "kg/s", "", False), Proposal("m", "moisture", None, "", False)])
    data = tomllib.loads(text)["layers"]["yield_points"]
    assert data == {"columns": {"flow": name, "moisture": "m"}, "units": {"flow": "kg/s"}}
    assert '# moisture = one of "%", "fraction"' in text
