"""Own handbook numbers that no result rests on are named; all others count, and are not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from frozen_farms import season_of_made, write_made_farm
from frozen_values import values_of

from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.printing import render
from stovergeo.result import SeasonResult

HANDBOOK = load_handbook()
#: a farm with most that a plan can have, and two that lack much of it
FARMS: dict[str, dict[str, Any]] = {
    "made": {},
    "nothing leaves": {"limits": {"harvest_from_bu_ac": 300}},
    "square bales of one wrap": {"bale": {"size": "3x4x8"}, "storage": {"place": "tarped rows"}},
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("numbers")
    write_made_farm(made)
    return made


def told(result: SeasonResult) -> set[str]:
    return {p.where.removeprefix("plan file, handbook.") for p in result.problems if p.code == "plan.idle_number"}


def shown(result: SeasonResult) -> tuple[object, ...]:
    """Return every value and sentence of a result."""
    words = [render(line, "us") for topic in result.words.values() for line in topic]
    tables = [table.drop(columns="geometry", errors="ignore").to_csv() for table in result.tables().values()]
    return values_of(result), words, tables


def other_number(key: str) -> float:
    """Return a number that the handbook could hold in place of its own."""
    own = HANDBOOK[key]
    return next((n for n in (own.high, own.low, own.value * 1.07) if n != own.value and own.is_possible(n)), own.value)


@pytest.mark.long
@pytest.mark.parametrize("name", FARMS)
def test_numbers_are_told_that_change_nothing_and_no_others(
    folder: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: set[str] = set()
    look_up = Handbook.__getitem__
    monkeypatch.setattr(Handbook, "__getitem__", lambda self, key: (asked.add(key), look_up(self, key))[1])
    before = season_of_made(folder, FARMS[name])
    monkeypatch.undo()
    idle = set(HANDBOOK) - asked
    assert len(idle) > 50
    # all of them at once: each is told, and neither a number nor a word differs
    changed = season_of_made(folder, FARMS[name] | {"handbook": {key: other_number(key) for key in sorted(idle)}})
    assert told(changed) == idle
    assert shown(changed) == shown(before)
    # those that were looked up, at their own values: none is told
    kept = season_of_made(folder, FARMS[name] | {"handbook": {key: HANDBOOK[key].value for key in sorted(asked)}})
    assert told(kept) == set()


@pytest.mark.parametrize(
    ("key", "number", "plan", "counts"),
    [
        ("wrap.price.full_cover", 3.0, {}, True),
        ("wrap.turns", 3.0, {}, True),
        ("wrap.turns", 3.0, {"wrap": {"kind": "net", "turns": 5}}, False),  # the plan's own turns go before it
        pytest.param("tillage.planter_no_till", 0.85, {}, True, marks=pytest.mark.long),
        pytest.param("tillage.chisel_twisted", 0.6, {}, False, marks=pytest.mark.long),
    ],
)
def test_an_own_number_counts_or_is_told(
    folder: Path, key: str, number: float, plan: dict[str, Any], counts: bool
) -> None:
    assert told(season_of_made(folder, plan | {"handbook": {key: number}})) == (set() if counts else {key})
