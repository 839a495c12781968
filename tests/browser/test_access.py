"""The axe-core rules (WCAG 2.2 A and AA, and best practice) find nothing to complain of."""

from __future__ import annotations

from importlib.resources import files

import pytest
from folds import unfold

pytestmark = pytest.mark.browser


@pytest.fixture(scope="session")
def axe_script() -> str:
    """The rules as one script, from the package that brings them."""
    package = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is not installed")
    return files(package).joinpath("axe.min.js").read_text("utf-8")


def violations(page, axe_script: str) -> list[str]:
    page.evaluate(axe_script)
    found = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    assert len(found["passes"]) > 20  # the rules did run
    return [f"{v['id']}: {v['help']} {[n['html'][:120] for n in v['nodes'][:3]]}" for v in found["violations"]]


@pytest.mark.parametrize("size", [(1280, 850), (390, 800)], ids=["desk", "phone"])
def test_map_has_no_violation(visit, pages, axe_script, size):
    page = visit(pages / "plain.html", *size).page
    assert violations(page, axe_script) == []


def test_map_with_everything_open_has_no_violation(visit, pages, axe_script):
    page = visit(pages / "plain.html").page
    unfold(page)
    page.check("input[name='yard-Y2'][value=maybe]")
    page.select_option("#ground", "yard_reason")
    page.check("input[data-layer=kept-clear]")
    page.select_option("#goto", "zone F1-a")
    page.wait_for_timeout(700)
    assert violations(page, axe_script) == []


def test_drawing_has_no_violation(visit, pages, axe_script):
    page = visit(pages / "plain.html").page
    page.click("#start-area")
    assert violations(page, axe_script) == []


def test_crew_sheet_has_no_violation(visit, pages, axe_script):
    page = visit(pages / "plain-crew.html").page
    assert violations(page, axe_script) == []
