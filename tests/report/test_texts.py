"""Text for people stands in the catalog: scripts and templates hold none, and each one they ask for is there."""

from __future__ import annotations

import re
from importlib.resources import files

import made_up
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.messages import Message, templates
from stovergeo.core.printing import render
from stovergeo.core.units import KG_PER_LB, M_PER_FT
from stovergeo.report.blocks import message
from stovergeo.report.embedded import without_inner_capitals
from stovergeo.report.folded import in_units_of, source_blocks
from stovergeo.report.page_data import script_messages

PAGE = files("stovergeo.report").joinpath("page")
SCRIPTS = {p.name: p.read_text("utf-8") for p in PAGE.iterdir() if p.name.endswith(".js")}
MARKUP = {p.name: p.read_text("utf-8") for p in PAGE.iterdir() if p.name.endswith(".html")}
#: a string of a script, with the quotes left out; comments are taken away before
LITERAL = re.compile(r"'((?:[^'\\\n]|\\.)*)'")
COMMENT = re.compile(r"(?m)(?:^|(?<=[ ;{(]))//.*$|/\*.*?\*/")
#: what is no text for people: names of classes and events, and selectors of the page's own elements
NAMES = re.compile(r"(?:[.#\[]|main-button |symbol |label |curve |moveend |focus |blur |use strict|M\d|translate\()")


def sentences(script: str) -> list[str]:
    """Return the strings of a script with a space and a word in small letters."""
    found = [s for s in LITERAL.findall(COMMENT.sub("", script)) if " " in s and re.search(r"\b[a-z]{2,}\b", s)]
    return [s for s in found if not NAMES.match(s.strip())]


def test_the_rule_finds_a_sentence() -> None:
    assert sentences("tell('Yard ' + id + ' is gone.'); // it's 'a comment'") == [" is gone."]


@pytest.mark.parametrize("name", SCRIPTS)
def test_a_script_holds_no_sentence(name: str) -> None:
    assert sentences(SCRIPTS[name]) == []


def test_every_text_that_a_script_asks_for_is_there_and_used() -> None:
    code = "\n".join(SCRIPTS.values())
    keys = script_messages().keys()
    asked = set(re.findall(r"message\('(\w+)'", code))
    assert asked <= keys | {"note_on_", "remove_"}
    assert not [key for key in keys if f"'{key}'" not in code and not re.match(r"(note_on|remove)_(area|pin)$", key)]


@pytest.mark.parametrize("name", MARKUP)
def test_a_template_holds_no_text_of_its_own(name: str) -> None:
    bare = re.sub(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", "", MARKUP[name], flags=re.DOTALL)
    shown = re.findall(r">([^<>]*)<", bare) + re.findall(r'(?:aria-label|placeholder|title|alt)="([^"]*)"', bare)
    assert not [text for text in shown if re.search(r"[A-Za-z]{2,}", text)]


def test_every_text_of_the_markup_is_used() -> None:
    keys = [key for key in templates("stovergeo.report") if key.startswith("page.fixed.")]
    assert not [key for key in keys if f"'{key}'" not in MARKUP["page.html"]]


def shown(value: object) -> str:
    return render(without_inner_capitals(value), "us", "landowner")


def test_a_sentence_inside_another_loses_its_capital() -> None:
    inner = made_up.message("no_wind")
    example = message("page.stays.example", zone="F3-a", field="Home", why=inner)
    assert shown(example) == "For example zone F3-a of Home: the plan does not say from where the wind blows."
    assert shown(inner) == "The plan does not say from where the wind blows."
    # after a mark alone, and after the end of a sentence, it begins one
    assert shown(message("page.zone.allowed", why=inner)).startswith("✓ The plan")
    assert shown((inner, inner)).count("The plan") == 2


@given(st.text(min_size=1))
def test_a_name_inside_a_sentence_stays_as_it_is(name: str) -> None:
    inner = message("answer.yard", yard="Y1", answer=name)
    assert isinstance(inner, Message)
    starts_with_a_name = message("page.bales.none", field=name)
    assert shown(message("page.yard.rating", title="Wells", why=starts_with_a_name)).startswith(f"Wells: {name}: none")
    assert shown(message("page.yard.rating", title="Wells", why=name)) == f"Wells: {name}"


def test_a_unit_of_the_handbook_is_that_of_the_reader() -> None:
    """Pound and foot are exact (international pound and foot, 1959), see `stovergeo.core.units`."""
    assert in_units_of("us", "kg/(head d)") == (pytest.approx(1 / KG_PER_LB), "lb/(head d)")
    assert in_units_of("us", "$/(bale m)") == (pytest.approx(M_PER_FT), "$/(bale ft)")
    assert in_units_of("us", "kg/m3") == (pytest.approx(M_PER_FT**3 / KG_PER_LB), "lb/ft3")
    assert in_units_of("metric", "mm") == (1, "mm")
    assert in_units_of("us", "bale/h") == (1, "bale/h")


def test_numbers_used_print_as_given_or_in_the_readers_units(result) -> None:
    from dataclasses import replace

    book = load_handbook()
    used = [book[key] for key in ("setbacks.well", "terrain.ponding_depth_m", "methods.second_pass.moisture")]
    table = source_blocks(replace(result, coefficients=used))[0]["table"]
    well, depth, moisture = (row[1] for row in table["rows"])
    assert well == "250 (100 to 300) ft"  # the handbook gives it in feet
    assert depth == [{"us": "0.328 (0.164 to 0.656) ft", "metric": "0.1 (0.05 to 0.2) m"}]
    assert moisture == "20 (15 to 30) %"
