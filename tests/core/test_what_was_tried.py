"""The page of what was tried says what the tests try, and every row of the list of wrong inputs is among it."""

from __future__ import annotations

import runpy
from pathlib import Path

DOCS = Path(__file__).parents[2] / "docs"
#: rows of the list of wrong inputs (a sheet that stands outside the project)
ROWS = range(1, 57)


def test_the_page_is_what_its_script_writes() -> None:
    script = runpy.run_path(str(DOCS / "write_tried.py"))
    assert (DOCS / "what-was-tried.md").read_text("utf-8") == script["page"]()


def test_every_row_is_tried_and_sixty_inputs_more() -> None:
    found = runpy.run_path(str(DOCS / "write_tried.py"))["tests"]()
    assert {row for tried in found for row in tried.rows} >= set(ROWS)
    assert sum(bool(tried.codes) and not tried.rows for tried in found) >= 60
