"""How far a run has come is told by step: shares that only rise, and end below the whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from as_user import ask, write_plan
from small_farm import write_small_farm

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.workflow import begin, run_season
from stovergeo.workflow.progress import STEPS, part_of


def test_every_step_is_told_once_in_order_with_a_rising_share(tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    run_season(
        plan_from(write_small_farm(tmp_path), tmp_path, Report()),
        Report(),
        lambda what, done: told.append((what, done)),
    )
    assert [what for what, _ in told] == [title for title, _ in STEPS.values()][:-1]  # the files are the command's
    shares = [done for _, done in told]
    assert shares[0] == 0.0
    assert shares == sorted(set(shares))
    assert shares[-1] < begin("files")[1] < 1.0


def test_shares_add_up_to_the_whole_and_fit_into_a_part() -> None:
    assert sum(share for _, share in STEPS.values()) == pytest.approx(1.0)
    told: list[float] = []
    part_of(lambda _, done: told.append(done), 0.5, 0.9)("half way", 0.5)
    assert told == [pytest.approx(0.7)]


def test_without_a_terminal_the_command_prints_plain_lines(tmp_path: Path) -> None:
    code, _, err = ask("plan", write_plan(write_small_farm(tmp_path), tmp_path), "--out", tmp_path / "out")
    assert code in (0, 3)
    lines = [line for line in err.splitlines() if "%  " in line[:8]]
    assert [line[6:] for line in lines] == [title for title, _ in STEPS.values()]
    assert lines[0].startswith("  0%")
