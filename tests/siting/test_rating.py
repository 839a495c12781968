"""Rating the ground: what is not known is reported, what is broken stops nothing, the first hard reason stays."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import ContractError, InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.core.plugins import SITE_CRITERIA, Plugin, load_plugins
from stovergeo.core.printing import UNIT_SYSTEMS, render
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting import NotChecked, rate_ground, setback_areas
from stovergeo.siting import rate as rate_module

BUILT_IN = {p.name: p for p in load_plugins(SITE_CRITERIA) if p.package == "stovergeo"}
WITH_OPTIONS = {name: 1.0 for name, p in BUILT_IN.items() if getattr(p.thing, "optional", False)}


class Quiet:
    """A plug-in criterion: forbids the west, likes the east."""

    name, title, reads, source = "quiet", "Quiet", ("slope_pct",), "a neighbor"
    weight, order = 4.0, 5

    def rate(self, site, options):
        x = np.broadcast_to(np.arange(site.shape[1]), site.shape)
        return site.rating(x / site.shape[1], x > 10, x, "1")

    def message(self, value, score, allowed, *, limit):
        return Catalog("quiet_rules")("quiet.columns", columns=round(value))


class Raises(Quiet):
    def rate(self, site, options):
        raise RuntimeError("no such file")


class Unspoken(Quiet):
    def message(self, value, score, allowed, *, limit):
        return Catalog("quiet_rules")("quiet.columns", rows=round(value))


class WrongShape(Quiet):
    def rate(self, site, options):
        small = type(site)(site.stack.isel(x=slice(0, 3)), {})
        return Quiet.rate(self, small, options)


@pytest.fixture
def with_plugins(monkeypatch, tmp_path):
    """Adds criteria of another package, which has templates of its own."""
    package = tmp_path / "quiet_rules"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "messages.toml").write_text('quiet.columns = "{columns} columns of quiet."')
    monkeypatch.syspath_prepend(str(tmp_path))

    def add(**things):
        extra = [
            Plugin(name, "other-package", thing, "" if thing else "ImportError: gone") for name, thing in things.items()
        ]
        monkeypatch.setattr(rate_module, "load_plugins", lambda group: [*BUILT_IN.values(), *extra])

    return add


def test_every_built_in_criterion_is_loaded_as_a_plug_in():
    assert len(BUILT_IN) >= 28
    assert not [p.name for p in BUILT_IN.values() if p.broken]
    assert all(p.thing.name == name for name, p in BUILT_IN.items())
    assert all(p.thing.title and p.thing.source for p in BUILT_IN.values())


def test_nothing_known_is_reported_and_not_passed(ground):
    g = ground(cells=40, plan={"weights": WITH_OPTIONS})
    g.without = tuple(n for n in g.stack().data_vars if n != "cell_area_ha")
    layers = ("property", "trees", "buildings", "dwellings", "roads", "gates", "wells", "water", "overhead_lines")
    g.without += layers
    found, _, ratings = g.find()
    always = {"no_go", "known_place"}  # that nothing was refused or proposed is itself known
    assert set(BUILT_IN) - always == set(ratings.not_checked)
    said = render(found.yards["not_checked"].iloc[0], "us")
    assert all(f"{ratings.titles[name]}: {render(why, 'us')}" in said for name, why in ratings.not_checked.items())
    rows = found.ratings[found.ratings["yard_id"] == "Y1"].set_index("criterion")
    assert render(rows.loc["setback_wells", "message"], "us") == "Not checked. No layer `wells` was given."
    assert "`" not in render(ratings.not_checked["setback_wells"], "us", "landowner")
    assert np.isnan(rows.loc["setback_wells", "score"])


@pytest.mark.parametrize("name", ["slope_pct", "ponding_m", "sun_fraction", "drainage_class", "concentrated_flow"])
def test_a_variable_without_a_single_value_is_not_checked(ground, name):
    g = ground(cells=20)
    g.spoil(name, g.x > 0, np.nan)
    _, ratings = g.rate()
    assert any(name in BUILT_IN[c].thing.reads for c in ratings.not_checked)


def test_ground_not_known_in_part_is_allowed_but_reported(ground):
    g = ground(cells=40)
    g.spoil("drainage_class", g.x > 0, np.nan).spoil("drainage_class", g.x < 6, 3)
    found, _, _ = g.find(60)
    said = render(found.yards["not_checked"].iloc[0], "us")
    assert re.search(r"Soil drainage: (not known here|known for only a part)", said)
    assert "property line" not in said  # it lies off the map: far enough


def test_an_empty_layer_says_there_is_none(ground):
    _, ratings = ground(cells=20).rate()
    assert "setback_wells" not in ratings.not_checked
    assert ratings.of("setback_wells").message_at(3, 3).key == "setback.none"


def test_a_plug_in_criterion_counts(ground, with_plugins):
    with_plugins(quiet=Quiet())
    stack, ratings = ground(cells=30).rate()
    assert float(stack["score_quiet"].max()) == pytest.approx(29 / 30)
    assert ratings.of("quiet").weight == 4
    number = stack["yard_reason"].attrs["reasons"].index("quiet")
    assert (stack["yard_reason"].values[:, :10] == number).all()
    assert render(ratings.of("quiet").message_at(0, 20), "us") == "20 columns of quiet."


def test_broken_criteria_are_listed_and_stop_nothing(ground, with_plugins):
    with_plugins(raises=Raises(), small=WrongShape(), unspoken=Unspoken(), gone=None, **{"bad-name": Quiet()})
    report = Report()
    stack, ratings = ground(cells=20).rate(report)
    assert {p.code for p in report} == {"yards.criterion_broken"}
    assert len(report) == 5
    assert "no such file" in str(next(p for p in report if "raises" in p.where))
    assert "lacks ['columns']" in str(next(p for p in report if "unspoken" in p.where))
    assert {"raises", "small", "unspoken", "gone", "bad-name"} <= set(ratings.not_checked)
    assert bool(stack["yard_allowed"].all())


def test_a_criterion_of_our_own_that_is_gone_or_fails_stops_the_rating(ground, monkeypatch):
    without = [p for p in BUILT_IN.values() if p.name != "setback_roads"]
    monkeypatch.setattr(rate_module, "load_plugins", lambda group: without)
    with pytest.raises(ContractError, match="setback_roads"):
        ground(cells=10).rate()
    failing = [*without, Plugin("setback_roads", "stovergeo", Raises())]
    monkeypatch.setattr(rate_module, "load_plugins", lambda group: failing)
    with pytest.raises(RuntimeError, match="no such file"):
        ground(cells=10).rate()


def test_a_misspelt_criterion_or_weight_is_refused(ground):
    g = ground(cells=10, plan={"criteria": ("slope", "slop"), "weights": {"sunn": 2.0}})
    with pytest.raises(InputError) as error:
        g.rate()
    assert [p.code for p in error.value.problems] == ["yards.unknown_criterion"] * 2


def test_only_the_criteria_asked_for_are_used(ground):
    g = ground(cells=10, plan={"criteria": ("slope",)})
    g.spoil("drainage_class", g.x > 0, 7)
    stack, ratings = g.rate()
    assert [r.name for r in ratings.rated] == ["slope"]
    assert bool(stack["yard_allowed"].all())


def test_weights_of_the_plan_come_first(ground):
    g = ground(cells=10)
    g.spoil("sun_fraction", g.x > 0, 0.7)
    light, heavy = (
        float(type(g)(cells=10, plan={"weights": {"sun": w}}, changes=g.changes).rate()[0]["yard_score"].mean())
        for w in (0.1, 20)
    )
    assert heavy < 0.55 < 0.7 < light


def test_first_hard_reason_is_kept(ground):
    g = ground(cells=40)
    g.spoil("slope_pct", g.x > 0, 20).spoil("inside_property", g.x < 50, 0).spoil("flooding_class", g.y < 50, 5)
    stack, ratings = g.rate()
    reasons = np.array(stack["yard_reason"].attrs["reasons"])[stack["yard_reason"].values.astype(int)]
    assert set(reasons[g.x < 40]) == {"inside_property"}
    assert set(reasons[(g.x > 60) & (g.y < 50)]) == {"flooding"}
    assert set(reasons[(g.x > 60) & (g.y > 60)]) == {"slope"}
    assert len(stack["yard_reason"].attrs["titles"]) == len(ratings.rated) + 1


def test_a_cell_bad_in_one_thing_is_not_made_good_by_others(ground):
    g = ground(cells=10)
    g.spoil("sun_fraction", g.x < 25, 0.5)
    stack, _ = g.rate()
    assert float(stack["yard_score"].values[:, 0].max()) < 0.7
    assert float(stack["yard_score"].values[:, -1].min()) > 0.8


def test_plan_sets_a_clear_distance(ground):
    g = ground(cells=60, plan={"setbacks": {"well": "30 ft"}})
    g.add("wells", shapely.Point(150, 150))
    stack, ratings = g.rate()
    assert ratings.of("setback_wells").rating.limit == pytest.approx(9.144)
    far = np.hypot(g.x - 150, g.y - 150)
    assert (stack["yard_allowed"].values[far > 9.2 + 5 * np.sqrt(2)] == 1).all()
    assert (stack["yard_allowed"].values[far < 9.1] == 0).all()


def test_wires_keep_the_height_of_the_stack_too(ground):
    g = ground(cells=40)
    g.add("overhead_lines", shapely.LineString([(0, 100), (200, 100)]))
    _, low = g.rate()

    _, high = rate_ground(g.stack(), g.surroundings(), Yards(), g.bale, load_handbook(), Report(), pattern="pyramid")
    name = "setback_overhead_lines"
    clear = [setback_areas(r).set_index("criterion").loc[name, "distance_m"] for r in (low, high)]
    assert clear == pytest.approx([15.24 + 1.8288, 15.24 + 1.8288 * (1 + 3**0.5)])


def test_access_is_cut_by_the_neighbors_ground(ground):
    g = ground(cells=60)
    g.add("roads", shapely.LineString([(0, 10), (300, 10)]))
    g.add("property", shapely.box(-100, 20, 400, 120)).add("property", shapely.box(-100, 200, 400, 400))
    _, ratings = g.rate()
    reached = ratings.of("access").rating.allowed.values
    assert reached[g.y < 118].all()  # the verge between road and line is crossed
    assert not reached[g.y > 205].any()


# value and score of a good and of a forbidden place, and a word that must be in its message
SAID = {
    "inside_property": (0.0, "Outside"),
    "no_go": (0.0, "no"),
    "setback_wells": (20.0, "drinking water"),
    "setback_overhead_lines": (5.0, "line"),
    "slope": (12.0, "roll"),
    "drainage": (7.0, "sink"),
    "clay": (65.0, "clay"),
    "water_table": (0.1, "surface"),
    "flooding": (4.0, "flood"),
    "ponding_class": (3.0, "stand"),
    "ponding": (0.5, "hollow"),
    "flow_path": (0.0, "waterway"),
    "drainage_height": (0.1, "Bottom"),
    "access": (np.nan, "No route"),
}


@pytest.mark.parametrize("name", SAID)
def test_messages_give_a_landowner_the_reason(name):
    value, said = SAID[name]
    words = render(BUILT_IN[name].thing.message(value, 0.0, False, limit=8.0), "us")
    assert said.lower() in words.lower()
    assert words[0].isupper()
    assert words.endswith(".")
    assert "nan" not in words


@pytest.mark.parametrize("name", sorted(BUILT_IN))
@pytest.mark.parametrize("units", UNIT_SYSTEMS)
def test_messages_of_allowed_ground_are_sentences(name, units, ground):
    g = ground(cells=20, plan={"wind_from_deg": 315, "weights": WITH_OPTIONS})
    g.spoil("elevation_m", g.x > -1, 300.0).add("dwellings", shapely.Point(250, 50))
    g.spoil("field_number", g.x < 50, 0).spoil("wetness", g.x < 50, 7).add(
        "roads", shapely.LineString([(0, 50), (100, 50)])
    )
    g.add("wells", shapely.Point(900, 50)).add("yards", shapely.box(0, 0, 20, 20))
    g.add("trees", shapely.box(60, 60, 70, 70), height_m=12.0)
    _, ratings = g.rate()
    if name in ratings.not_checked:
        pytest.fail(render(ratings.not_checked[name], units))
    words = render(ratings.of(name).message_at(2, 2), units)
    assert words[0].isupper() or words[0].isdigit()
    assert words.endswith(".")
    assert "nan" not in words
    own = re.sub(r"\([^)]*\)", "", words)  # in brackets stands how the plan or the handbook gives it
    assert not re.search(r"\d (m|cm|km)\b" if units == "us" else r"\d (ft|in|mi)\b", own)


def test_ground_that_is_alike_everywhere_lies_neither_wet_nor_dry(ground):
    _, ratings = ground(cells=20).rate()
    assert ratings.of("wetness").message_at(3, 3).values["drier"] == pytest.approx(0.5)


def test_a_layer_of_empty_shapes_is_an_empty_layer(ground):
    g = ground(cells=10)
    around = g.surroundings()
    around["wells"] = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=[None, shapely.Point()], crs="EPSG:32615")
    stack, ratings = rate_ground(g.stack(), around, Yards(), g.bale, load_handbook(), Report())
    assert bool(stack["yard_allowed"].all())
    assert ratings.of("setback_wells") is not None


def test_what_a_criterion_lacks_is_reported(ground):
    g = ground(cells=10)
    _, ratings = g.rate()
    assert "wind_from_deg" in render(ratings.not_checked["snow"], "us")
    assert isinstance(BUILT_IN["snow"].thing.rate(ratings.site, ratings.options), NotChecked)


def test_a_clear_distance_shorter_than_any_source_is_reported(ground):
    report = Report()
    ground(cells=10, plan={"setbacks": {"well": "30 ft", "dwelling": "300 ft", "waterway": "5 ft"}}).rate(report)
    assert [p.code for p in report] == ["yards.short_setback"] * 2
    assert {p.where.rpartition(".")[2] for p in report} == {"well", "waterway"}


def test_setbacks_can_be_drawn(ground):
    g = ground(cells=60)
    g.add("wells", shapely.Point(150, 150)).add("overhead_lines", shapely.LineString([(0, 20), (300, 20)]))
    _, ratings = g.rate()
    areas = setback_areas(ratings).set_index("criterion")
    assert set(areas.index) == {"setback_wells", "setback_overhead_lines", "setback_property_line"}
    well = areas.loc["setback_wells"]
    assert well["distance_m"] == pytest.approx(76.2)
    assert g.local(well.geometry).covers(shapely.Point(150, 150).buffer(76.2, quad_segs=64))
    assert well.geometry.area == pytest.approx(np.pi * 76.2**2, rel=0.01)


def test_a_plan_without_clear_distance_still_keeps_off_the_thing_itself(ground):
    g = ground(cells=40, plan={"setbacks": {"water": "0 m", "road": "0 m"}})
    g.add("water", shapely.LineString([(10, 103), (190, 103)])).add("roads", shapely.LineString([(52, 0), (52, 200)]))
    stack, _ = g.rate()
    allowed = stack["yard_allowed"].values >= 1
    on_water = (np.abs(g.y - 103) <= 2.5) & (g.x > 10) & (g.x < 190)
    assert not allowed[on_water].any()
    assert not allowed[np.abs(g.x - 52) <= 2.5 + 3.5].any()  # half a road's width, and the cell's own
    assert allowed[(np.abs(g.y - 103) > 6) & (np.abs(g.x - 52) > 12)].all()
