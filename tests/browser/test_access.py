"""The axe-core rules (WCAG 2.2 A and AA, and best practice) find nothing to complain of."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture(scope="session")
def axe_script(tmp_path_factory) -> str:
    """The text of axe.min.js: from STOVERGEO_AXE, or fetched once outside the tree where all parts are asked for."""
    given = os.environ.get("STOVERGEO_AXE")
    if given:
        return Path(given).read_text("utf-8")
    if not os.environ.get("STOVERGEO_ALL_PARTS") or shutil.which("npm") is None:
        pytest.skip("axe-core: set STOVERGEO_AXE to axe.min.js, or STOVERGEO_ALL_PARTS=1 with npm at hand")
    folder = tmp_path_factory.mktemp("axe")
    packed = subprocess.run(
        ["npm", "pack", "axe-core@4", "--silent"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    if packed.returncode:
        pytest.skip("axe-core could not be fetched")
    with tarfile.open(folder / packed.stdout.strip().splitlines()[-1]) as archive:
        return archive.extractfile("package/axe.min.js").read().decode("utf-8")


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
    page.eval_on_selector_all("details", "all => all.forEach(d => { d.open = true; })")
    page.check("input[name='yard-Y2'][value=maybe]")
    page.select_option("#ground", "yard_reason")
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
