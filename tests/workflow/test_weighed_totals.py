"""Weighed totals of the plan: the map holds them, the first screen says so, and what cannot be right is an error."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from small_farm import command
from spoilt_farm import outcome, sample_plan

from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.inputs.plan.plan import plan_from, starter_text
from stovergeo.workflow import sample_plan_path, steps
from stovergeo.workflow.checks import get_ready

FOLDER = sample_plan_path().parent
#: US grain standards: 56 lb at 15.5 % moisture; 1 lb = 0.45359237 kg
DRY_MG_PER_BU = 56 * 0.45359237 * 0.845 / 1000


def mapped(weighed: list[dict]) -> tuple:
    data = sample_plan() | {"yields": {"weighed": weighed}}
    report = Report()
    ready = get_ready(plan_from(data, FOLDER, report), report, lambda size: None).clusters[0]
    return ready, steps.map_yields(ready, report), report


def grain_of(ready, yields, name: str) -> float:
    number = list(ready.fields["name"]).index(name)
    stack = yields.stack
    mine = stack["field_number"].to_numpy() == number
    return float(np.nansum((stack["grain_mg_ha"] * stack["cell_area_ha"]).to_numpy()[mine]))


def test_the_map_holds_what_was_weighed() -> None:
    ready, yields, report = mapped(
        [
            {"field": "Home Field", "grain": "29,500 bu"},
            {"machine": "B", "grain": "4,000,000 lb", "moisture_pct": 17},
        ]
    )
    assert grain_of(ready, yields, "Home Field") == pytest.approx(29_500 * DRY_MG_PER_BU, rel=1e-4)
    of_b = sum(grain_of(ready, yields, name) for name in ("Creek East", "Creek West", "Clay Flat"))
    assert of_b == pytest.approx(4_000_000 * 0.45359237 / 1000 * 0.83, rel=1e-3)
    said = [render(line, "us") for line in yields.grain.said]
    assert said[0].startswith("Weighed grain of field Home Field: 698 tons dry, 1.0")
    assert "Knoll Field" in said[2]
    assert yields.grain.report["weighed_1_ratio"] == pytest.approx(1.04, abs=0.02)
    assert not [p for p in report if p.code.startswith("yield.weighed")]


@pytest.mark.parametrize(("factor", "words"), [(2.2046, "kilograms read as pounds"), (0.5, "half as wide")])
def test_a_total_far_off_names_the_likely_cause(tmp_path, factor, words) -> None:
    recorded = 674.0 * 0.90718474  # tons of dry grain on the map of Home Field
    total = {"field": "Home Field", "grain": f"{recorded * factor / (1 - 0.17):.2f} Mg", "moisture_pct": 17}
    found = outcome(tmp_path, plan=lambda data: data.update(yields={"weighed": [total]}), limits=False)
    (warned,) = [p for p in found.problems if p.code == "yield.weighed_far"]
    assert warned.where == "plan file, yields.weighed 1"
    assert words in warned.what_in("us")


def test_totals_that_contradict_each_other_are_refused_with_both_places(tmp_path) -> None:
    totals = [{"field": "Home Field", "grain": "29,000 bu"}, {"machine": "A", "grain": "25,000 bu"}]
    found = outcome(tmp_path, plan=lambda data: data.update(yields={"weighed": totals}))
    assert found.removable_mg is None
    (refused,) = [p for p in found.problems if p.code == "yield.weighed_contradict"]
    assert refused.where == "plan file, yields.weighed 1 and plan file, yields.weighed 2"
    assert "field Home Field" in refused.what_in("us")
    assert "machine A" in refused.what_in("us")


@pytest.mark.parametrize(
    ("section", "word"),
    [
        ('[[yields.weighed]]\nfield = "Hom Field"\ngrain = "100 bu"', 'Did you mean "Home Field"'),
        ('[[yields.weighed]]\nmachine = "C"\ngrain = "100 bu"', 'Unknown value "C"'),
        ('[yields]\naccept_losses = ["Home 80"]', "yields.accept_losses"),
    ],
)
def test_check_refuses_names_that_are_not_there(tmp_path, section, word) -> None:
    text = (FOLDER / "plan.toml").read_text("utf-8")
    text = text.replace('path = "', f'path = "{FOLDER}/')
    (tmp_path / "plan.toml").write_text(f"{text}\n{section}\n", encoding="utf-8")
    said = command("check", tmp_path / "plan.toml")
    assert said.returncode == 2
    assert "yield.no_such_part" in said.stdout + said.stderr
    assert word in " ".join((said.stdout + said.stderr).split())


@pytest.mark.parametrize(
    ("total", "word"),
    [
        ({"grain": "100 bu"}, "needs a field"),
        ({"field": "Home Field", "grain": "100 lb"}, "moisture_pct"),
        ({"field": "Home Field", "grain": "100 bu", "moisture_pct": 17}, "market moisture"),
        ({"field": "Home Field", "grain": "100"}, "unit"),
    ],
)
def test_a_total_that_says_too_little_is_refused(tmp_path, total, word) -> None:
    found = outcome(tmp_path, plan=lambda data: data.update(yields={"weighed": [total]}))
    assert found.removable_mg is None
    assert any(word in p.what_in("us").lower() + str(p.cure) for p in found.problems if p.code == "plan.bad_value")


def test_a_total_whose_ground_is_not_on_the_map_is_refused(tmp_path) -> None:
    totals = [{"field": "Home Field", "machine": "B", "grain": "100 bu"}]  # B never cut there
    found = outcome(tmp_path, plan=lambda data: data.update(yields={"weighed": totals}))
    assert [p.where for p in found.problems if p.code == "yield.weighed_nowhere"] == ["plan file, yields.weighed 1"]


def test_the_starter_shows_a_total() -> None:
    lines = starter_text().splitlines()
    first = lines.index(next(line for line in lines if line.startswith("# [[yields.weighed]]")))
    shown = tomllib.loads("\n".join(line.removeprefix("# ") for line in lines[first : first + 4]))
    assert shown["yields"]["weighed"][0]["grain"] == "812,000 lb"
