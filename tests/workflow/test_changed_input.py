"""An error of recording is reported, or moves no total: one error at a time in the layers of the sample farm.

`changed_input` makes them: 200 of them, each known by its number. The short part tries a few.
"""

from __future__ import annotations

import tomllib
import warnings
from pathlib import Path

import changed_places  # noqa: F401  both fill the list of changes
import changed_records  # noqa: F401
import pytest
from changed_input import change_one_thing

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers
from stovergeo.workflow import run_season

FEW = range(2, 100, 20)
NUMBERS = [n if n in FEW else pytest.param(n, marks=pytest.mark.long) for n in range(100)]
TOTALS = ("removable_mg", "bales", "removal_mg")
#: totals may move by this before an error counts as silent
MAX = 0.01  # what may leave is a difference: half a percent of the grain is one percent of it


def coarse(plan: dict) -> dict:
    """Coarse cells and few samples: what is asked here does not hang on them."""
    return plan | {"farm": plan["farm"] | {"cell": "10 m"}, "odds": {"samples": 20}}


def codes(report: Report) -> set[tuple[str, str]]:
    return {(p.code, p.where.split(",")[0]) for p in report}


@pytest.fixture(scope="module")
def unchanged(sample_farm: Path) -> tuple[set[tuple[str, str]], dict[str, float]]:
    """What is reported of the farm as it is, and its totals."""
    report = Report()
    plan = plan_from(coarse(tomllib.loads((sample_farm / "plan.toml").read_text("utf-8"))), sample_farm, report)
    totals = run_season(plan, report).totals
    return codes(report), {name: totals[name] for name in TOTALS}


@pytest.mark.parametrize("number", NUMBERS)
def test_one_error_is_reported_or_moves_no_total(sample_farm: Path, tmp_path: Path, unchanged, number: int) -> None:
    known, before = unchanged
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the libraries that write what is wrong here
        farm, what = change_one_thing(sample_farm, tmp_path, number)
    report = Report()
    try:
        plan = plan_from(coarse(farm.plan), tmp_path, report)
        read_layers(plan, report)
        if codes(report) - known:
            return
        report = Report()
        totals = run_season(plan, report).totals
    except InputError:
        assert report.refused
        return
    if codes(report) - known:
        return
    moved = {name: totals[name] / before[name] - 1 for name in TOTALS}
    assert max(map(abs, moved.values())) < MAX, f"{what}: {moved}"
