"""Numbers and words in the reader's units."""

from __future__ import annotations

import pytest

from stovergeo.report.say import KINDS, kind_of_column, parts_of, quantity, said


@pytest.mark.parametrize(
    ("words", "us"),
    [
        # exact factors: acre 0.40468564224 ha, short ton 0.90718474 Mg, foot 0.3048 m, pound 0.45359237 kg
        ("Takes 4.48 Mg/ha.", "Takes 2.00 ton/ac."),
        ("About 120 m from the gate", "About 394 ft from the gate"),
        ("a field of 64.75 ha", "a field of 160.0 ac"),
        ("cut at 20 cm", "cut at 8 in"),
        ("117 kg/m3 dry", "7.3 lb/ft³ dry"),
        ("between 10 and 20 m wide", "between 33 and 66 ft wide"),
        ("5–10 m", "16–33 ft"),
        ("costs $/Mg 12", "costs $/Mg 12"),
        ("15.00 $/Mg", "$13.61/ton"),
        ("1,609.344 m", "5,280.00 ft"),
        ("core at 65 °C", "core at 149 °F"),
        ("-5 °C", "23 °F"),
        ("3.2 km away", "2.0 mi away"),
    ],
)
def test_quantities_in_words_are_converted(words, us):
    assert said(parts_of(words), "us") == us


@pytest.mark.parametrize(
    "words", ["12 m2", "5 kWh/m2", "4 Mg C/hayear", "Y1-12 mows", "F1-3 m", "ISO 3166 m/s", "v1.2.3"]
)
def test_what_is_no_quantity_stays(words):
    assert said(parts_of(words), "us") == words


def test_no_line_breaks_before_a_percent_sign():
    words = "Slopes of 6–9 % and 30 % cover on the 40 % strip."
    assert said(parts_of(words, ["40 % strip"]), "us") == "Slopes of 6–9% and 30% cover on the 40 % strip."


def test_a_number_in_a_given_name_is_no_quantity():
    parts = parts_of("The 40 ha piece gives 2 ha.", names=["The 40 ha piece"])
    assert said(parts, "us") == "The 40 ha piece gives 5 ac."


def test_metric_words_come_back_as_written_apart_from_the_tonne():
    words = "Between 10 and 20 m, 3.6 Mg/ha, 12 kg, 40 ha and 65 °C."
    assert said(parts_of(words), "metric") == words.replace("Mg/ha", "t/ha")


def test_unknown_numbers_print_as_not_known():
    assert said(["Slope: ", quantity("pct1", float("nan"))], "us") == "Slope: unknown"


@pytest.mark.parametrize(
    ("column", "kind"),
    [
        ("take_mg_ha", "rate"),
        ("take_mg", "mass"),
        ("area_ha", "area"),
        ("road_m", "length"),
        ("n_kg", "kg"),
        ("score", None),
    ],
)
def test_the_name_of_a_column_gives_its_kind(column, kind):
    assert kind_of_column(column) == kind


def test_a_kind_nobody_knows_is_an_error():
    with pytest.raises(KeyError):
        quantity("furlongs", 1)
    assert "rate" in KINDS
