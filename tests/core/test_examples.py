"""What the documentation shows runs unchanged."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

import stovergeo

DOCS = Path(__file__).parents[2] / "docs"

PACKAGE = Path(stovergeo.__file__).parent
#: modules with examples; those that run the whole sample farm take their time
SHOWING = [
    pytest.param(file, marks=[pytest.mark.long] if "run_season(sample_plan_path()" in text else [], id=file.stem)
    for file, text in ((file, file.read_text("utf-8")) for file in sorted(PACKAGE.rglob("*.py")))
    if ">>> " in text
]


@pytest.mark.long
def test_the_notebook_runs() -> None:
    """Every cell in a kernel of its own; a last cell prints what the others have computed."""
    notebook = nbformat.read(DOCS / "example.ipynb", as_version=4)
    assert all(not c.outputs for c in notebook.cells if c.cell_type == "code")  # results are made, not kept
    notebook.cells.append(
        nbformat.v4.new_code_cell("print(stover, len(drawn), drawn['area_ha'].sum(), fields['area_ha'].sum())")
    )
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": DOCS}}).execute()
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    said = "".join(output.get("text", "") for output in outputs)
    assert "binds on" in said
    assert "Mg stover may leave" in said
    assert any("image/png" in output.get("data", {}) for output in outputs)
    stover, count, zones_ha, fields_ha = (float(word) for word in notebook.cells[-1].outputs[0].text.split())
    assert stover == pytest.approx(0.85 * 10 + 0.65)  # the handbook's line, as docs/limits.md prints it
    assert count >= 1
    assert zones_ha == pytest.approx(fields_ha, rel=1e-3)


@pytest.mark.parametrize("file", SHOWING)
def test_examples_in_docstrings_say_what_comes_out(file: Path) -> None:
    name = ".".join(file.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS)
    assert result.attempted >= 1
    assert result.failed == 0
