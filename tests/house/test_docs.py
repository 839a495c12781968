"""Pages made from tables match their tables."""

from __future__ import annotations

import importlib.util
from types import ModuleType

import pytest

from stovergeo.errors import Severity, problem_table


@pytest.fixture(scope="module")
def render(request: pytest.FixtureRequest) -> ModuleType:
    path = request.config.rootpath / "docs" / "render.py"
    spec = importlib.util.spec_from_file_location("render", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", ["problems.md", "glossary.md"])
def test_page_is_what_its_table_says(render: ModuleType, page: str) -> None:
    written = (render.HERE / page).read_text("utf-8")
    assert written == render.PAGES[page](), f"run `python docs/render.py` to renew docs/{page}"


@pytest.mark.parametrize("code", sorted(problem_table()))
def test_every_problem_says_why_and_how_to_cure(code: str) -> None:
    entry = problem_table()[code]
    assert set(entry) == {"severity", "title", "why", "cure"}
    assert entry["severity"] in list(Severity)
    assert all(len(entry[part].split()) >= 3 for part in ("why", "cure"))
