"""Areas that do not depend on the map plane, and names that survive their encodings."""

from __future__ import annotations

import unicodedata

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.inputs.crs import geodesic_ha
from stovergeo.inputs.text import MAX_LETTERS, clean_text


@pytest.mark.parametrize("code", [32615, 32614, 26915, 5070, 3857, 3417, 4326, 4269, 6344])
def test_a_field_has_one_area_in_whatever_plane_it_comes(farm, fields, code):
    farm.write_fields(fields.to_crs(code))
    read = farm.read()
    assert farm.report.refused == []
    assert read.fields["area_ha"].to_numpy() == pytest.approx(geodesic_ha(fields), rel=2e-6)
    assert read.crs.to_epsg() == 32615


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 38.0, 42.0, 48.0])
def test_true_area_against_the_closed_form_of_the_ellipsoid(latitude):
    """Area between parallels and meridians: Snyder 1987, USGS Prof. Paper 1395, eq. 3-12 for q (from memory)."""
    a, f = 6_378_137.0, 1 / 298.257223563
    e = np.sqrt(f * (2 - f))

    def q(phi: float) -> float:
        s = np.sin(np.radians(phi))
        return (1 - e**2) * (s / (1 - e**2 * s**2) - np.log((1 - e * s) / (1 + e * s)) / (2 * e))

    step = 0.01
    exact_ha = a**2 * np.radians(step) * (q(latitude + step) - q(latitude)) / 2 / 10_000
    # geodesic sides leave the parallels by a hair; points along them keep the figure on them
    lon = np.linspace(-93, -93 + step, 50)
    ring = [(x, latitude) for x in lon] + [(x, latitude + step) for x in lon[::-1]]
    frame = gpd.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs=4326)
    assert geodesic_ha(frame)[0] == pytest.approx(exact_ha, rel=1e-7)


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


def test_points_alone_are_ground_enough_to_judge_the_other_layers(farm, ground):
    del farm.layers["fields"]
    farm.write_raster(ground[:, :80])
    farm.read()
    assert farm.problem("dem.partial_max").severity == "refuse"
