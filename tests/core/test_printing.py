"""Values become text in one place: convert, then round, then print."""

from __future__ import annotations

import copy
import math
import pickle
import re
import tomllib
from datetime import date
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import stovergeo
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Field, Message, templates
from stovergeo.core.printing import BOTH, KINDS, UNIT_SYSTEMS, number, parts, quantity, read_unit_system, render
from stovergeo.core.units import Quantity, parse_quantity

PACKAGE = Path(stovergeo.__file__).parent
CATALOGS = sorted(PACKAGE.rglob("messages.toml"))
#: our units as pint writes them; dollars count as a unit of their own
IN_PINT = {"Mg": "tonne", "yr": "year", "ton": "short_ton", "ac": "intacre", "t": "tonne", "ft3": "ft**3", "m3": "m**3"}

#: judged by tests of their own: below, and in `tests/published/test_units.py`
NOT_IN_PINT = ("", "temperature", "grain per area", "rainfall erosivity", "soil erodibility")


def package_of(path: Path) -> str:
    return ".".join(path.parent.relative_to(PACKAGE.parent).parts)


def in_pint(unit: str) -> str:
    return "/".join(IN_PINT.get(u, u) for u in unit.replace("$", "1").split("/"))


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
@pytest.mark.parametrize(
    "kind",
    [
        k
        for k, v in KINDS.items()
        if v.dimension not in ("", "temperature", "grain per area", "rainfall erosivity", "soil erodibility")
    ],
)
def test_factors_are_those_of_a_units_library(kind: str, system: str) -> None:
    registry = pint.UnitRegistry()
    registry.define("intacre = 43560 * foot**2")  # the library's own acre is of survey feet
    how = UNIT_SYSTEMS[system].kinds[kind]
    assert how.factor == pytest.approx(
        registry.Quantity(1, in_pint(KINDS[kind].si_unit)).to(in_pint(how.unit)).magnitude, rel=1e-12
    )


def test_grain_is_printed_in_bushels_of_the_market() -> None:
    # 56 lb at 15.5 % moisture (US grain standards); 200 bu/ac hold 200 x 56 x 0.845 lb of dry grain
    dry_mg_ha = 200 * 56 * 0.845 * 0.45359237e-3 / 0.40468564224
    assert (quantity("grain", dry_mg_ha, "us"), quantity("grain", dry_mg_ha, "metric")) == (
        "200 bu/ac at 15.5%",
        "10.6 t/ha dry",
    )


def test_degrees_have_a_factor_and_a_start() -> None:
    assert (quantity("temperature", 100.0, "us"), quantity("temperature", -40.0, "us")) == ("212 °F", "-40 °F")
    assert quantity("temperature", 100.0, "metric") == "100 °C"


@given(st.floats(-1e7, 1e7), st.sampled_from(sorted(KINDS)), st.sampled_from(sorted(UNIT_SYSTEMS)))
def test_what_is_printed_is_the_converted_value_rounded_once(value: float, kind: str, system: str) -> None:
    how = UNIT_SYSTEMS[system].kinds[kind]
    shown = float(number(kind, value, system).replace(",", ""))
    exact = value * how.factor + how.offset
    assert abs(shown - exact) <= 0.5 * 10**-how.decimals * (1 + 1e-9)
    assert not (shown == 0 and number(kind, value, system).startswith("-"))


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_not_known_prints_as_such_without_a_unit(kind: str) -> None:
    assert {quantity(kind, value, s) for s in UNIT_SYSTEMS for value in (math.nan, math.inf)} == {"not known"}


@pytest.mark.parametrize(
    ("text", "us", "metric"),
    [
        ("250 ft", "250 ft", "76 m (250 ft)"),
        ("80 m", "262 ft (80 m)", "80 m"),
        ("12.5 ft", "12.5 ft", "4 m (12.5 ft)"),
        ("0 ft", "0 ft", "0 m (0 ft)"),
    ],
)
def test_a_length_prints_in_the_unit_it_was_given_in(text: str, us: str, metric: str) -> None:
    length = parse_quantity(text, "length")
    assert (quantity("length", length, "us"), quantity("length", length, "metric")) == (us, metric)


@pytest.mark.parametrize(
    ("text", "kind", "us", "metric"),
    [
        ("15 $/ton", "per_mass", "$15/ton", "$16.53/t ($15/ton)"),
        ("$12.5/ac", "per_area", "$12.50/ac", "$30.89/ha ($12.50/ac)"),
        ("8 ton", "mass", "8 tons", "7 t (8 ton)"),
        ("1200000 ton", "mass", "1,200,000 tons", "1,088,622 t (1,200,000 ton)"),
    ],
)
def test_money_and_masses_print_as_they_were_given(text: str, kind: str, us: str, metric: str) -> None:
    given = parse_quantity(text, {"per_mass": "money per mass", "per_area": "money per area"}.get(kind, kind))
    assert (quantity(kind, given, "us"), quantity(kind, given, "metric")) == (us, metric)


@pytest.mark.parametrize(
    ("kind", "value", "said"),
    [
        ("length", parse_quantity("250 ft", "length"), "250 ft"),
        ("length", parse_quantity("80 m", "length"), "80 m"),
        ("length", 76.2, "250 ft (76 m)"),
        ("area2", 4.0468564224, "10.00 ac (4.05 ha)"),
        ("fraction", 0.25, "25%"),
        ("rate", math.nan, "not known"),
    ],
)
def test_a_reader_of_unknown_units_sees_what_was_given_or_both(kind: str, value: float, said: str) -> None:
    assert quantity(kind, value, BOTH) == said


def test_a_problem_prints_its_quantity_in_the_readers_units() -> None:
    wide = Message("stovergeo.inputs", "length.tallest", {"height": 50.0})
    found = Report().add("height.unusual", "trees", wide)
    assert found.what_in("us") == "The tallest has 164.0 ft."
    assert found.what_in("metric") == "The tallest has 50.0 m."
    assert found.as_dict()["what"] in str(found)
    assert found.as_dict()["what"] == "The tallest has 164.0 ft (50.0 m)."
    assert found.as_dict("us")["what"] == found.what_in("us")


def test_a_name_inside_a_problem_moves_no_terminal() -> None:
    found = Report().add(
        "crs.ballpark", "fields", Message("stovergeo.inputs", "length.ballpark", {"crs": "a\x1b[2J", "accuracy": 9.0})
    )
    assert "\x1b" not in str(found)
    assert "\x1b" not in found.as_dict()["what"]


def test_what_is_worked_out_from_a_given_number_was_given_by_nobody() -> None:
    assert quantity("length", parse_quantity("250 ft", "length") * 1.0, "metric") == "76 m"


@pytest.mark.parametrize("twin", [copy.deepcopy, lambda q: pickle.loads(pickle.dumps(q))])
def test_a_copy_remembers_how_it_was_given_and_printed(twin) -> None:
    again = twin(Quantity(76.2, 250, "ft", {"us": "251"}))
    assert (float(again), again.given, again.unit, again.printed) == (76.2, 250, "ft", {"us": "251"})


def test_a_number_of_the_ledger_prints_as_the_ledger_says() -> None:
    tons = Quantity(43.78, printed={"us": "49"})
    assert (quantity("mass", tons, "us"), quantity("mass", tons, "metric")) == ("49 tons", "44 t")


@pytest.mark.parametrize(("one", "said"), [(1 / 1.1023113, "1 ton"), (2.0, "2 tons"), (0.0, "0 tons")])
def test_one_of_a_thing_is_not_many(one: float, said: str) -> None:
    assert quantity("mass", one, "us") == said


@pytest.mark.parametrize(
    "broken",
    [
        {"title": "x", "kinds": {}},
        {"title": "x", "kinds": {k: {"unit": "ft", "decimals": 0} for k, v in KINDS.items() if v.dimension}},
    ],
)
def test_a_unit_system_must_name_every_kind_in_a_unit_of_it(broken: dict) -> None:
    with pytest.raises(ValueError, match=r"lacks|not a unit"):
        read_unit_system(broken)


@pytest.fixture
def message(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Catalog:
    """A package of the test's own, with a template for each thing a template can hold."""
    package = tmp_path / "told_by_a_plug_in"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "messages.toml").write_text(
        """
        [yard]
        near = "{far:length} from {thing}."
        list = "Left out: {names:and}."
        many = "{bales} {bales|bale|bales} by {month:month}, on {day}."
        title = "{name:capital}, {name:lower}"
        nested = "Yes: {why} {why}"
        key = { text = "Too small (`yards.smallest`).", landowner = "Too small." }
        """
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    return Catalog("told_by_a_plug_in")


def test_a_template_is_filled_in_the_readers_units(message: Catalog) -> None:
    near = message("yard.near", far=30.48, thing="a well")
    assert render(near, "us") == "100 ft from a well."
    assert parts(near) == [{"us": "100 ft", "metric": "30 m"}, " from a well."]
    assert render(message("yard.list", names=("a", "b", "c")), "us") == "Left out: a, b and c."
    many = message("yard.many", bales=1, month=11, day=date(2027, 3, 1))
    assert render(many, "us") == "1 bale by November, on March 1, 2027."
    assert render(message("yard.title", name="net WRAP"), "us") == "Net WRAP, net WRAP"
    assert render(message("yard.nested", why=near), "metric") == "Yes: 30 m from a well. 30 m from a well."
    assert render((near, "So.", message("yard.list", names=("x",))), "us") == "100 ft from a well. So. Left out: x."


def test_the_landowner_is_spared_keys_of_the_plan_file(message: Catalog) -> None:
    small = message("yard.key")
    assert (render(small, "us"), render(small, "us", "landowner")) == ("Too small (`yards.smallest`).", "Too small.")


def test_names_are_never_read_as_templates_or_numbers(message: Catalog) -> None:
    for name in ("{far:length}", "40 m strip", "30.48 m {0}", "{{}}"):
        assert render(message("yard.near", far=0.0, thing=name), "us") == f"0 ft from {name}."


def test_a_message_asks_for_just_the_values_of_its_template(message: Catalog) -> None:
    with pytest.raises(TypeError, match=r"lacks \['far'\]"):
        message("yard.near", thing="a well")
    with pytest.raises(TypeError, match=r"does not use \['why'\]"):
        message("yard.near", thing="a well", far=1.0, why="")
    with pytest.raises(KeyError):
        message("yard.none")


@pytest.mark.parametrize("path", CATALOGS, ids=package_of)
def test_every_template_of_ours_is_whole_and_used_somewhere(path: Path) -> None:
    files = [p for ending in ("py", "html") for p in path.parent.rglob(f"*.{ending}")]
    code = "".join(p.read_text("utf-8") for p in files)
    specs = {*KINDS, "and", "or", "capital", "lower", "month", ""}
    for key, template in templates(package_of(path)).items():
        fields = [p for p in (*template.grower, *template.landowner) if isinstance(p, Field)]
        assert {f.spec for f in fields} <= specs, key
        group = key.rpartition(".")[0]
        assert f'"{key}"' in code or f'"{group}.' in code or f"{group}." in code, f"nothing says {key}"
        text = "".join(p for p in template.grower if isinstance(p, str))
        assert not re.search(r"\d (?:m|ft|ha|ac|Mg|kg|lb|t)\b", text), f"{key} writes a quantity as text"


def test_catalogs_are_tables_of_text_only() -> None:
    for path in CATALOGS:
        assert tomllib.loads(path.read_text("utf-8"))
    assert isinstance(Catalog("stovergeo.core")("unknown", what="Slope"), Message)
