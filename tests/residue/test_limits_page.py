"""The page on limits matches the rules and the handbook."""

import importlib.util

import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.plugins import RETENTION_RULES, load_plugins


@pytest.fixture(scope="module")
def writer(request):
    path = request.config.rootpath / "docs" / "write_limits.py"
    spec = importlib.util.spec_from_file_location("write_limits", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def page(writer):
    return writer.page()


def test_page_is_current(writer, page):
    assert writer.PAGE.read_text("utf-8") == page, "run `python docs/write_limits.py` to renew docs/limits.md"


def test_every_built_in_rule_has_its_equation_on_the_page(writer):
    built_in = {p.name for p in load_plugins(RETENTION_RULES) if p.package == "stovergeo"}
    assert set(writer.EQUATIONS) == built_in


def test_every_coefficient_of_residue_is_on_the_page_or_used_elsewhere(page):
    coefficients = load_handbook()
    for key in [
        *(f"retention.{k}" for k in coefficients.group("retention")),
        *(f"tillage.{k}" for k in coefficients.group("tillage")),
    ]:
        # what stands in for unknown soils, and the warning of a low index, belong to no single rule
        if not key.endswith(("_unknown", "conditioning_low")):
            assert f"`{key}`" in page
