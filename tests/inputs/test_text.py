"""Names that survive their encodings, and text that stays text."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.inputs.text import MAX_LETTERS, clean_text


def test_a_composed_and_a_decomposed_name_are_the_same_name(farm, fields):
    farm.write_fields(fields.assign(name=[unicodedata.normalize("NFD", "Müller"), "b"]))
    assert farm.read().fields["name"][0] == "Müller"
    assert "text.control" not in farm.codes()


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "UTF-8", "cp1252"])
def test_shapefile_names_in_any_encoding_it_declares(farm, fields, encoding):
    fields.assign(name=["Café Ñu", "b"]).to_file(farm.folder / "f.shp", encoding=encoding)
    farm.layers["fields"] = {"path": "f.shp"}
    assert farm.read().fields["name"][0] == "Café Ñu"


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "{{7*7}}", "${1}", "=1+1", "../../x", "CON", "x" * 300, "🌽"]
)
def test_text_is_text_and_nothing_else(farm, fields, name):
    farm.write_fields(fields.assign(name=[name, "b"]))
    assert farm.read().fields["name"][0] == name


@given(st.text())
def test_cleaned_text_is_plain_short_and_stays_as_it_is(text):
    plain = clean_text(text)
    assert clean_text(plain) == plain
    assert len(plain) <= MAX_LETTERS
    assert all(unicodedata.category(c) != "Cc" for c in plain)
    assert not set(plain) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")
    plain.encode("utf-8")
