"""Combine points that contradict themselves or leave out what is needed: each is named, with place, reason and cure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest


@pytest.mark.row(30)
def test_flow_without_unit(farm, given, hear):
    del farm.layers["yield_points"]["units"]["flow"]
    hear("yield.unit", "refuse")


def test_distance_without_unit(farm, given, hear):
    del farm.layers["yield_points"]["units"]["distance"]
    hear("points.unit", "refuse")


def test_moisture_without_unit(farm, given, hear):
    del farm.layers["yield_points"]["units"]["moisture"]
    hear("yield.moisture_unit", "refuse")


@pytest.mark.row(31)
def test_moisture_as_a_fraction_called_percent(farm, given, hear):
    farm.write_points(given["table"].assign(Moisture=given["table"]["Moisture"] / 100))
    hear("yield.moisture", "refuse")


def test_moisture_in_percent_called_fraction(farm, given, hear):
    farm.layers["yield_points"]["units"]["moisture"] = "fraction"
    hear("yield.moisture", "refuse")


@pytest.mark.row(31)
def test_moisture_not_given(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["moisture"]
    hear("yield.moisture", "refuse")


@pytest.mark.row(31)
def test_moisture_missing_here_and_there(farm, given, hear):
    moisture = given["table"]["Moisture"]
    farm.write_points(given["table"].assign(Moisture=moisture.where(np.arange(len(moisture)) % 10 > 0)))
    hear("yield.moisture_gaps", "warn")


@pytest.mark.row(30)
def test_bushels_called_tons(farm, given, hear):
    farm.write_points(given["table"].assign(Yield=150.0))
    del farm.layers["yield_points"]["columns"]["flow"]
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "t/ha at 15.5 %"
    hear("yield.implausible", "refuse")


def test_swath_in_feet_called_meters(farm, given, hear):
    farm.write_points(given["table"].assign(Swath=30 * 12))
    farm.layers["yield_points"]["units"]["swath"] = "ft"
    hear("yield.implausible", "refuse")


def test_flow_and_yield_disagree(farm, given, hear):
    farm.write_points(given["table"].assign(Yield=150.0))
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "bu/ac at 15.5 %"
    hear("yield.disagree", "warn")


def test_which_dry_bushel(farm, given, hear):
    farm.write_points(given["table"].assign(Yield=150.0))
    del farm.layers["yield_points"]["columns"]["flow"]
    farm.layers["yield_points"]["columns"]["yield"] = "Yield"
    farm.layers["yield_points"]["units"]["yield"] = "bu/ac dry"
    hear("yield.dry_bushel", "warn")


def test_no_grain_column(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["flow"]
    hear("yield.column", "refuse")


def test_no_grain_at_all(farm, given, hear):
    farm.write_points(given["table"].assign(Flow=0))
    hear("yield.none", "refuse")


def test_distance_half_as_long_again(farm, given, hear):
    farm.write_points(given["table"].assign(Distance=425.2 * 1.5))
    hear("points.disagree", "warn")


def test_seconds_that_the_clock_denies(farm, given, hear):
    farm.layers["yield_points"]["columns"]["time"] = "Time"
    farm.layers["yield_points"]["units"]["time"] = "s"
    farm.write_points(given["table"].assign(Cycles=2, Flow=93))
    hear("points.disagree", "warn")


def test_epoch_not_given(farm, given, hear):
    farm.layers["yield_points"]["columns"]["time"] = "Time"
    hear("points.time_unit", "warn")


def test_no_width(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["swath"]
    hear("points.area", "refuse")


def test_no_duration(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["seconds"]
    hear("points.seconds", "refuse")


def test_duration_from_the_clock(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["seconds"]
    farm.layers["yield_points"]["columns"]["time"] = "Time"
    farm.layers["yield_points"]["units"]["time"] = "unix s"
    hear("points.seconds_from_time", "fix")


def test_way_from_the_positions(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["distance"]
    hear("points.distance_from_places", "fix")


def test_position_not_declared(farm, given, hear):
    del farm.layers["yield_points"]["columns"]["y"]
    hear("points.no_xy", "refuse")


def test_receiver_without_a_fix(farm, given, hear):
    table = given["table"]
    table.loc[[3, 4], ["Longitude", "Latitude"]] = 0.0
    table.loc[9, "Longitude"] = np.nan
    farm.write_points(table)
    hear("points.no_place", "fix")


def test_most_positions_missing(farm, given, hear):
    table = given["table"]
    table.loc[::3, "Longitude"] = np.nan
    farm.write_points(table)
    hear("geom.nonfinite", "refuse")


def test_some_soybeans(farm, given, hear):
    table = given["table"]
    table.loc[:200, "Crop"] = "Soybeans"
    farm.write_points(table)
    farm.layers["yield_points"]["columns"]["crop"] = "Crop"
    hear("points.other_crop", "fix")


def test_nothing_but_soybeans(farm, given, hear):
    farm.write_points(given["table"].assign(Crop="Soybeans"))
    farm.layers["yield_points"]["columns"]["crop"] = "Crop"
    hear("points.no_corn", "refuse")


def test_header_without_a_word_for_cutting(farm, given, hear):
    farm.write_points(given["table"].assign(Head="Down"))
    farm.layers["yield_points"]["columns"]["header"] = "Head"
    hear("points.header", "warn")


@pytest.mark.row(34)
def test_a_strip_of_the_neighbor(farm, given, hear):
    extra = given["table"].head(200).assign(Longitude=lambda t: t["Longitude"] - 0.005)
    farm.write_points(pd.concat([given["table"], extra]))
    hear("points.outside", "warn")


@pytest.mark.row(34)
def test_half_on_another_field(farm, given, hear):
    farm.write_fields(given["fields"].head(1))
    hear("points.outside_max", "refuse")


@pytest.mark.row(35)
def test_a_field_hardly_harvested(farm, given, hear):
    table = given["table"]
    farm.write_points(table[table["Longitude"] < table["Longitude"].median() - 0.0006])
    hear("points.sparse", "warn")


def test_misspelt_column(farm, given, hear):
    farm.layers["yield_points"]["columns"]["flow"] = "Flwo"
    hear("column.missing", "refuse")


@pytest.mark.row(51)
def test_two_columns_of_one_name(farm, given, hear):
    table = given["table"].assign(Extra=1).rename(columns={"Extra": "Fl\u200bow"})
    table.to_csv(farm.folder / "points.csv", index=False)
    hear("column.twice", "warn")


def test_words_among_numbers(farm, given, hear):
    table = given["table"].astype({"Moisture": object})
    table.loc[5, "Moisture"] = "n/k"
    farm.write_points(table)
    hear("table.not_numbers", "warn")


def test_decimal_commas(farm, given, hear):
    given["table"].to_csv(farm.folder / "points.csv", index=False, sep=";", decimal=",")
    hear("table.decimal_comma", "fix")


def test_a_line_too_long(farm, given, hear):
    text = (farm.folder / "points.csv").read_text().splitlines()
    text[7] += ",1,2,3"
    (farm.folder / "points.csv").write_text("\n".join(text))
    hear("table.ragged", "warn")


def test_a_table_of_names_only(farm, given, hear):
    farm.write_points(given["table"].head(0))
    hear("layer.empty", "refuse")


def test_a_folder_without_points(farm, given, hear):
    (farm.folder / "loads").mkdir()
    farm.layers["yield_points"]["path"] = "loads"
    hear("layer.empty", "refuse")


def test_two_sheets(farm, given, hear):
    with pd.ExcelWriter(farm.folder / "coefficients.xlsx") as coefficients:
        given["table"].head(9).to_excel(coefficients, sheet_name="a", index=False)
        given["table"].head(9).to_excel(coefficients, sheet_name="b", index=False)
    farm.layers["yield_points"]["path"] = "coefficients.xlsx"
    hear("layer.choose", "refuse")


def test_a_width_that_the_passes_deny(farm, given, hear):
    farm.write_points(given["table"].assign(Swath=240))
    hear("points.disagree", "warn")


def test_pounds_called_kilograms(farm, given, hear):
    farm.layers["yield_points"]["units"]["flow"] = "kg/s"
    hear("yield.unusual", "warn")


def test_kilograms_called_pounds(farm, given, hear):
    farm.write_points(given["table"].assign(Flow=given["table"]["Flow"] / 2.2046))
    hear("yield.unusual", "warn")


def test_all_loads_twice(farm, given, hear):
    farm.write_points(pd.concat([given["table"]] * 2))
    hear("points.coverage", "warn")


def test_half_of_the_loads(farm, given, hear):
    farm.write_points(given["table"][lambda t: np.arange(len(t)) % 4 < 2])
    hear("points.coverage", "warn")


def test_moisture_of_no_grain(farm, given, hear):
    farm.write_points(given["table"].assign(Moisture=given["table"]["Moisture"] * 3.28))
    hear("yield.moisture", "refuse")


def test_flow_missing_here_and_there(farm, given, hear):
    flow = given["table"]["Flow"]
    farm.write_points(given["table"].assign(Flow=flow.where(np.arange(len(flow)) % 50 > 0)))
    hear("yield.gaps", "warn")


def test_the_name_of_a_column_denies_its_unit(farm, given, hear):
    farm.write_points(given["table"].rename(columns={"Flow": "grain_lb_s"}))
    farm.layers["yield_points"]["columns"]["flow"] = "grain_lb_s"
    farm.layers["yield_points"]["units"]["flow"] = "t/h"
    hear("points.name_unit", "warn")


@pytest.mark.surprise("A sensor stuck on a third of the farm moved the totals by up to 1.1 % unsaid.")
@pytest.mark.parametrize("column", ["Flow", "Moisture"])
def test_a_sensor_that_stands_still(farm, given, hear, column):
    table = given["table"]
    table.loc[800:1300, column] = table[column].iloc[800]
    farm.write_points(table)
    hear("points.stuck", "warn")


@pytest.mark.surprise("No grain on a tenth of the records moved the totals by 7.5 %, told only as rows dropped.")
def test_grain_that_does_not_flow_over_a_whole_field(farm, given, hear):
    table = given["table"]
    table.loc[800:1300, "Flow"] = 0.0
    farm.write_points(table)
    hear("points.stuck", "warn")


def test_a_coarse_reading_is_not_a_frozen_sensor(farm, given):
    table = given["table"]
    farm.write_points(table.assign(Moisture=np.repeat(np.linspace(15, 21, 20), 160)[: len(table)]))
    farm.read()
    assert "points.stuck" not in farm.codes()


@pytest.mark.surprise("Seconds of -1 on 2 % of the records moved the totals by 2.1 %, told only as rows dropped.")
@pytest.mark.parametrize("column", ["Cycles", "Distance", "Swath", "Moisture"])
def test_readings_below_zero(farm, given, hear, column):
    table = given["table"].astype({column: float})
    table.loc[::50, column] = -1
    farm.write_points(table)
    hear("points.negative", "warn")


@pytest.mark.surprise("Widths twenty times too wide on 1 % of the records moved what may leave by 1.0 %, untold.")
def test_records_far_wider_than_the_machine(farm, given, hear):
    table = given["table"].astype({"Swath": float})
    table.loc[::100, "Swath"] *= 20
    farm.write_points(table)
    hear("points.wide", "warn")


def test_two_machines_of_different_width_are_accepted(farm, given):
    table = given["table"].astype({"Swath": float})
    table.loc[: len(table) // 3, "Swath"] *= 3
    farm.write_points(table)
    farm.read()
    assert "points.wide" not in farm.codes()
