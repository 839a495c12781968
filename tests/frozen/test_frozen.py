"""What the tool computes is what it computed before; `freeze.py` writes it anew where a change is meant."""

from __future__ import annotations

from pathlib import Path

import pytest
from frozen_farms import LONG, SHORT, computed, frozen_path, season_of_made, write_made_farm
from frozen_values import differences, read_values, values_of
from long_run import first_short


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("frozen")
    write_made_farm(made)
    return made


#: farms of the short part: each differs from the others in what it has or lacks
ALWAYS = ["sample", "made", "shortage", "answered", "no_time", "no_need", "refused_ground"]


@pytest.mark.parametrize("name", first_short([*ALWAYS, *sorted(set(SHORT) - set(ALWAYS))], len(ALWAYS)))
def test_a_farm_computes_what_it_computed(folder: Path, name: str) -> None:
    assert differences(read_values(frozen_path(name)), computed(name, folder)) == []


def test_metric_units_change_no_value(folder: Path) -> None:
    metric = values_of(season_of_made(folder, {"farm": {"units": "metric"}}))
    assert differences(read_values(frozen_path("made")), metric) == []


def test_every_frozen_file_belongs_to_a_farm() -> None:
    frozen = {path.stem for path in frozen_path("made").parent.glob("*.csv")}
    assert frozen == {*SHORT, *LONG}


@pytest.mark.parametrize("name", [*SHORT, *LONG])
def test_no_two_frozen_values_go_by_one_name(name: str) -> None:
    names = [value[:3] for value in read_values(frozen_path(name))]
    assert names
    assert len(set(names)) == len(names)
