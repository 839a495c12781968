"""The plan file: every problem at once, with the place and the nearest right word."""

from __future__ import annotations

from pathlib import Path

import pytest

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan import read_plan, starter_text
from stovergeo.inputs.plan.plan import plan_from

MIN = {"farm": {"name": "x", "season": 2026}, "layers": {}}


def refused(data: dict) -> list[str]:
    report = Report()
    with pytest.raises(InputError):
        plan_from(data, Path(), report)
    return [f"{p.code} {p.where} {p.what}" for p in report]


def test_the_starter_plan_is_valid(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(starter_text(), encoding="utf-8")
    plan = read_plan(path, Report())
    assert plan.folder == tmp_path
    assert plan.gather.working_width_m == pytest.approx(9.144)


def test_every_switched_off_line_of_the_starter_is_valid_too(tmp_path: Path) -> None:
    """A line a user switches on by taking its # away must not be an error."""
    on = []
    for line in starter_text().splitlines():
        bare = line.removeprefix("# ")
        looks_like_toml = line.startswith("# ") and (bare.startswith(("[", '"')) or " = " in bare.split("#")[0])
        on.append(bare if looks_like_toml else line)
    path = tmp_path / "plan.toml"
    path.write_text("\n".join(on), encoding="utf-8")
    plan = read_plan(path, Report())
    assert plan.landowner.no_go == "answer.gpkg"
    assert plan.handbook == {"residue.slope": 0.9}


def test_all_problems_are_reported_at_once_with_the_nearest_word() -> None:
    said = refused({**MIN, "retenton": {}, "layers": {"feilds": {"path": "a"}}, "bale": {"width": 5}})
    assert len(said) == 3
    assert any("plan.unknown_key plan, layers.feilds" in s and "'fields'" in s for s in said)
    assert any("plan.bad_value plan, bale.width" in s and "with its unit" in s for s in said)


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("farm", "season", "next"),
        ("farm", "cell", "5"),
        ("farm", "units", "imperial"),
        ("bale", "shape", "cube"),
        ("crop", "rotation", "corn"),
        ("gather", "methods", []),
        ("storage", "baled", "5 Nov"),
        ("limits", "cover_pct", 130),
        ("odds", "samples", -1),
        ("yards", "stack_max", "100 ft"),
    ],
)
def test_a_bad_value_names_its_key(section: str, key: str, value: object) -> None:
    data = {**MIN, section: {**MIN.get(section, {}), key: value}}
    assert any(f"plan.bad_value plan, {section}.{key}" in said for said in refused(data))


@pytest.mark.parametrize(
    ("given", "cure"),
    [
        ("5 of 4", "the first number is at most the second"),
        ("0 of 3", "the first number is 1 or more"),
        ("3 of 20", "the second number is at most 10"),
        ("3/4", 'write it as "3 of 4"'),
        ("-1 of 2", 'write it as "3 of 4"'),
        (1.5, 'write it as "3 of 4"'),
        (0.75, 'write it as "3 of 4"'),
        (2, 'write it as "3 of 4"'),
    ],
)
def test_harvest_years_that_are_no_share_of_years_are_refused_with_the_cure(given: object, cure: str) -> None:
    (said,) = refused({**MIN, "crop": {"harvest_years": given}})
    assert said.startswith("plan.bad_value plan, crop.harvest_years")
    assert cure in said
    assert f"(found: {given})" in said


@pytest.mark.parametrize(("given", "kept"), [("every year", 1.0), ("3 of 4", 0.75), (" 2 OF 4 ", 0.5), ("4 of 4", 1.0)])
def test_harvest_years_are_a_fraction(given: str, kept: float) -> None:
    plan = plan_from({**MIN, "crop": {"harvest_years": given}}, Path(), Report())
    assert float(plan.crop.harvest_years) == kept
    written = plan.crop.model_dump(mode="json", by_alias=True)["harvest_years"]
    assert type(plan.crop).model_validate({"harvest_years": written}).harvest_years == plan.crop.harvest_years


def test_a_missing_key_is_named() -> None:
    assert refused({"layers": {}}) == ["plan.missing_key plan, farm This key is missing."]


def test_two_needs_of_one_name_are_refused() -> None:
    herd = {"name": "cows", "head": 10}
    assert "each needs its own" in refused({**MIN, "need": {"herd": [herd, herd]}})[0]


@pytest.mark.parametrize("content", [b"\xff\xff", b"[farm", b"a = " + b"[" * 5000, b"x" * 1_000_001])
def test_a_file_that_is_no_plan_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"plan\.unreadable"):
        read_plan(path, Report())


def test_a_missing_plan_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.toml"):
        with pytest.raises(InputError, match="no regular file"):
            read_plan(path, Report())
