"""Pages made from tables match their tables."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Severity, problem_table


def rendering() -> ModuleType:
    path = Path(__file__).parents[2] / "docs" / "render.py"
    spec = importlib.util.spec_from_file_location("render", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


RENDER = rendering()


@pytest.mark.parametrize("page", sorted(RENDER.PAGES))
def test_page_is_what_its_table_says(page: str) -> None:
    written = (RENDER.HERE / page).read_text("utf-8")
    assert written == RENDER.PAGES[page](), f"run `python docs/render.py` to renew docs/{page}"


def test_every_coefficient_stands_on_a_page() -> None:
    text = "".join(RENDER.PAGES[f"handbook/{topic}.md"]() for topic in RENDER.TOPICS)
    missing = [key for key in load_handbook() if f"| `{key}` |" not in text]
    assert len(load_handbook()) > 300
    assert not missing


@pytest.mark.parametrize("code", sorted(problem_table()))
def test_every_problem_says_why_and_how_to_cure(code: str) -> None:
    entry = problem_table()[code]
    assert set(entry) == {"severity", "title", "why", "cure"}
    assert entry["severity"] in list(Severity)
    assert all(len(entry[part].split()) >= 3 for part in ("why", "cure"))


@pytest.mark.parametrize("guide", ["DEVELOPERS.md", "README.md"])
def test_every_file_that_a_guide_names_exists(guide: str) -> None:
    root = Path(__file__).parents[2]
    text = (root / guide).read_text("utf-8")
    named = {
        n for n in re.findall(r"`([\w.-]+/[\w./-]*)`", text) if n.split("/")[0] in {"stovergeo", "tests", "docs", ".ci"}
    }
    assert [name for name in sorted(named) if not (root / name).exists()] == []
