"""What the documentation shows runs as it stands."""

from __future__ import annotations

import doctest
import importlib
import runpy
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"

#: modules whose formulas show a run example
SHOWN = (
    "stovergeo.residue.production",
    "stovergeo.residue.cover",
    "stovergeo.residue.carbon",
    "stovergeo.residue.soil_loss",
    "stovergeo.bales.bale",
    "stovergeo.bales.loss",
    "stovergeo.bales.wrap",
)


def test_the_example_runs(capsys: pytest.CaptureFixture[str]) -> None:
    names = runpy.run_path(str(DOCS / "example.py"))
    said = capsys.readouterr().out
    assert names["stover"] == pytest.approx(0.85 * 10 + 0.65)  # the handbook's line, as docs/limits.md prints it
    assert len(names["drawn"]) >= 1
    assert names["drawn"]["area_ha"].sum() == pytest.approx(names["fields"]["area_ha"].sum(), rel=1e-3)
    assert "binds on" in said
    assert "Mg stover may leave" in said


@pytest.mark.parametrize("name", SHOWN)
def test_examples_in_docstrings_say_what_comes_out(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted >= 2
    assert result.failed == 0
