"""Whatever stands in a plan file, reading it ends in a plan of finite numbers or in named problems."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from long_run import harness
from made_plans import changed_lines, every_line
from pydantic import BaseModel

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan import Plan, read_plan


def read_and_judge(path: Path) -> Plan | None:
    report = Report()
    try:
        plan = read_plan(path, report)
    except InputError:
        plan = None
    assert bool(report.refused) == (plan is None)
    for problem in report:
        assert problem.where.startswith("plan file")
        assert problem.what
        assert "\x00" not in str(problem)
        assert len(str(problem)) < 2000
    if plan is not None:
        for number in numbers(plan):
            assert math.isfinite(number)
    return plan


def numbers(part: object) -> list[float]:
    if isinstance(part, BaseModel):
        return [n for name in type(part).model_fields for n in numbers(getattr(part, name))]
    if isinstance(part, dict):
        return [n for value in part.values() for n in numbers(value)]
    if isinstance(part, tuple):
        return [n for value in part for n in numbers(value)]
    return [part] if isinstance(part, float) else []


def test_the_lines_that_are_changed_make_a_plan_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("\n".join(every_line()), "utf-8")
    assert read_and_judge(path) is not None


@harness(150, given(lines=changed_lines(every_line())))
def test_any_change_of_some_lines(tmp_path: Path, lines: list[str]) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("\n".join(lines), "utf-8", errors="surrogatepass")
    read_and_judge(path)


#: what long runs found, kept: texts in place of a quantity
FOUND_VALUES = [
    '"""' + "a long text\n" * 200 + '"""',  # was quoted whole, line ends and all
]


@pytest.mark.surprise("A value of many lines was quoted whole in the message about it.")
@pytest.mark.parametrize("value", FOUND_VALUES)
def test_values_that_once_were_reported_badly(tmp_path: Path, value: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("\n".join(every_line()).replace('height = "45 ft"', f"height = {value}"), "utf-8")
    assert read_and_judge(path) is None


@harness(80, given(data=st.data()))
def test_any_wrong_bytes(tmp_path: Path, data: st.DataObject) -> None:
    sound = bytearray("\n".join(every_line()).encode())
    for _ in range(data.draw(st.integers(1, 5))):
        sound[data.draw(st.integers(0, len(sound) - 1))] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        del sound[data.draw(st.integers(0, len(sound) - 1)) :]
    path = tmp_path / "plan.toml"
    path.write_bytes(data.draw(st.sampled_from([b"", b"\xef\xbb\xbf", b"\xff\xfe"])) + bytes(sound))
    read_and_judge(path)
