"""The page of layers says what is read: it is what its script writes, and lists every format that is opened."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest
from made_files import FORMS, in_form, made_fields

from stovergeo.core.errors import Report
from stovergeo.inputs.open_file import open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import Layers

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def script() -> dict:
    return runpy.run_path(str(DOCS / "write_layers.py"))


def test_the_page_is_what_its_script_writes(script):
    assert (DOCS / "layers.md").read_text("utf-8") == script["page"]()


def test_every_layer_of_the_plan_has_its_chapter(script):
    page = script["page"]()
    for key in Layers.model_fields:
        assert f"### [layers.{key}]" in page or f"### [[layers.{key}]]" in page


@pytest.mark.parametrize("form", FORMS)
def test_every_format_that_is_read_is_listed(script, tmp_path, form):
    opened = open_file(in_form(form, made_fields("iowa"), tmp_path), tmp_path, Place("fields", Report()))
    assert opened.driver in script["FORMATS"]


def test_readme_and_how_to_lead_to_it():
    assert "docs/layers.md" in (DOCS.parent / "README.md").read_text("utf-8")
    assert "(layers.md)" in (DOCS / "how-to.md").read_text("utf-8")
    assert "stovergeo[excel]" in (DOCS / "layers.md").read_text("utf-8")
