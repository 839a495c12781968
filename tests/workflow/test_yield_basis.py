"""A printed grain yield names its moisture: bushels at 15.5 %, tonnes dry, a stated figure as it was given."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from as_user import ask, write_plan
from least_farm import boundary, least, planned

from stovergeo.core.printing import BOTH, UNIT_SYSTEMS, quantity, render
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE, parse_quantity
from stovergeo.inputs.plan.yields import dry_yield

#: a yield of grain in any text: a number, its unit, and what stands behind it
_GRAIN = re.compile(r"[\d.,]+ (?:bu/ac|t/ha|Mg/ha)(?P<basis>(?:[^.,;)]|\.\d)*)")


@pytest.mark.parametrize("system", [*UNIT_SYSTEMS, BOTH])
@pytest.mark.parametrize("moisture", [13.0, 14.0, 15.5, 20.0])
@pytest.mark.parametrize("stated", ["200 bu/ac", "11 t/ha", "10.5 Mg/ha"])
def test_a_stated_yield_prints_with_its_moisture(stated: str, moisture: float, system: str) -> None:
    dry = dry_yield(parse_quantity(stated, "grain per area"), moisture)
    said = quantity("grain", dry, system)
    assert f"{stated} at {moisture:g}%" in said
    # what else is printed is the same grain, dry or in the trade's bushels
    numbers = {label: float(n) for n, label in re.findall(r"([\d.]+) (t/ha dry|bu/ac at 15\.5%)", said)}
    assert numbers.get("t/ha dry", dry) == pytest.approx(dry, abs=0.051)
    assert numbers.get("bu/ac at 15.5%", dry / MG_HA_DRY_PER_BU_ACRE) == pytest.approx(
        dry / MG_HA_DRY_PER_BU_ACRE, abs=0.51
    )


@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_grain_yield_of_a_run_names_its_basis(tmp_path: Path, units: str) -> None:
    boundary(tmp_path)
    sections = {"farm": {"units": units}, "yields": {"everywhere": "11 t/ha"}}
    write_plan(least(**sections), tmp_path)
    code, out, err = ask("plan", tmp_path / "plan.toml", "--out", tmp_path / "out")
    assert code == 0, err
    (line,) = [text for text in (out + err).splitlines() if "stated yield" in text]
    for found in _GRAIN.finditer(line):
        assert re.match(r" (dry|at [\d.]+%)", found["basis"]), line
    page = (tmp_path / "out" / "map.html").read_text("utf-8")
    assert "11 t/ha at 15.5%" in page
    assert "Dry corn grain" not in page  # the picture is in bushels at 15.5 % on a US page


def test_a_yield_map_of_an_unusual_level_is_told_with_its_basis(tmp_path: Path) -> None:
    boundary(tmp_path)
    _, report = planned(tmp_path, least(yields={"everywhere": "200 bu/ac"}))
    assert not [p for p in report if p.code == "plan.unusual"]
    _, report = planned(tmp_path, least(yields={"everywhere": "20 bu/ac", "by_field": {"Home": "11 t/ha"}}))
    (told,) = [p for p in report if p.code == "plan.unusual"]
    assert told.where == "plan file, yields.everywhere"
    assert "20 bu/ac at 15.5%" in render(told.what, "us")
