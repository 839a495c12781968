"""A plan file that is read is planned or refused: no value that passes the reader breaks a later package."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from long_run import harness
from made_plans import changed_lines, every_line
from small_farm import PLAN, write_small_farm

from stovergeo.core.errors import InputError, Report
from stovergeo.workflow import run_season

#: what the small farm's plan says below its first section, with few samples
LAYERS = PLAN[PLAN.index("[layers.fields]") :].replace("samples = 20", "samples = 5").splitlines()


#: keys that name what is not there, prices under which six hectares are not worth a baler
NOT_HERE = (
    *("no_go", "cell", "tiles", "set_up", "yard_opening", "stover_value", "harvest_from", "removal_max", "wind_loss"),
    *("retention_min", "potash_max", "phosphate_max", "accept_base", "normals"),
)
#: what stands in the starter for another farm
THIS_FARM = (
    ('"corn-soybean"     ', '"continuous corn"  '),
    ("contoured = true", "contoured = false"),
    ('"Home 80"', '"square"'),
    ('{"square" = 1.0}', '{"square" = 3.0}'),
    ('"chisel_straight", "field_cultivator", "planter"', '"planter_no_till"'),
    ('grain = "812,000 lb"', 'grain = "450,000 lb"'),
)


def lines_of_a_small_farm() -> list[str]:
    """Every key of the starter but those of its layers, which are the small farm's."""
    lines, section = [], ""
    for line in every_line():
        if line.startswith("["):
            section = line.split("#")[0].strip(" []")
        if section.split(".")[0] in ("layers", "soil") or line.startswith(NOT_HERE):
            continue
        for theirs, ours in THIS_FARM:
            line = line.replace(theirs, ours)
        lines.append(line)
    return [*lines, *LAYERS]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("any_plan")
    write_small_farm(made, side_m=400.0, cell_m=10.0)
    return made


def run(folder: Path, lines: list[str]) -> bool:
    path = folder / "plan.toml"
    text = "\n".join(lines).replace("\n[farm]\n", '\n[farm]\ncell = "10 m"\n', 1)
    path.write_text(text, "utf-8", errors="surrogatepass")
    report = Report()
    try:
        result = run_season(path, report)
    except InputError:
        assert report.refused
        return False
    assert not report.refused
    for name, total in result.totals.items():
        # where nothing is drawn it has no cost a ton
        assert math.isfinite(total) or (name == "cost_per_mg" and result.totals["withdrawn_mg"] == 0), name
    assert result.totals["bales"] >= 0
    return result.totals["bales"] > 0


def test_the_plan_that_is_changed_stands_as_it_is(folder: Path) -> None:
    assert run(folder, lines_of_a_small_farm())


@harness(6, given(lines=changed_lines(lines_of_a_small_farm())))
def test_any_plan_is_planned_or_refused(folder: Path, lines: list[str]) -> None:
    run(folder, lines)
