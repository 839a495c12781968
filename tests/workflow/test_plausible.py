"""What does not fit the rest of a farm is told with its place and likely cause; a sound farm is left in peace."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import xarray as xr
from human_errors import ERRORS, made
from long_run import first_short
from spoilt_farm import outcome

from stovergeo.core.errors import Report
from stovergeo.workflow.plausible import check_harvests
from stovergeo.workflow.plausible_layers import check_season

#: error -> code, place and words of what is said of it
SAID = {
    "sample: flow x 0.45359, one field": ("yield.fields_apart", "'Knoll Field'", "kilograms read as pounds"),
    "sample: flow x 2, one machine": ("yield.fields_apart", "fields", "along their border, on the same soil"),
    "sample: flow x 0.8 after 25% of a field": ("yield.jump", "field 'Knoll Field', machine 'A'", "passes"),
    "sample: fade to 0.5 in each field": ("yield.drift", "field 'Home Field'", "a sensor that fouls"),
    "sample: way x 1.1, one field": ("points.claims", "field 'Knoll Field'", "1.10 times the distance"),
    "sample: seconds x 1.2, all": ("points.claims", "field 'Home Field'", "1.20 times the seconds"),
    "sample: width x 0.8, one field": ("points.claims", "field 'Knoll Field'", "the passes lie 39"),
    "sample: half of a field's records lack": ("fields.not_harvested", "'Knoll Field'", "inside the boundary"),
    "boundaries +40 m": ("fields.not_harvested", "'Home Field'", "inside the boundary"),
    "clay as a fraction": ("soil.clay_fraction", "soils", "percent is wanted"),
    "heights in feet as meters, without GPS heights": ("dem.slopes", "elevation", "Feet read as meters"),
    "one file as two harvests": ("years.alike", "2025", "the same but for their level"),
    "stover at 55 $/lb": ("plan.unusual", "money.stover_value", "55 $/lb is far from typical prices"),
    "contract moisture as a fraction": ("plan.unusual", "need.contract 1.moisture_max_pct", "percent is wanted"),
    "herd months twice": ("plan.unusual", "need.herd 1.months", "more than once: Nov"),
    "baled day and month changed over": ("plan.unusual", "storage.baled", '"11-05"'),
    "air in degrees Fahrenheit": ("plan.unusual", "storage.air_c", "Fahrenheit"),
    "erosivity of 1.6": ("plan.unusual", "crop.erosivity", "unit"),
}


@pytest.mark.parametrize("name", first_short(SAID, 5))
def test_an_error_is_told_with_its_place_and_cause(tmp_path, name) -> None:
    (error,) = [e for e in ERRORS if e.name == name]
    code, where, words = SAID[name]
    found = made(error, tmp_path / "farm")
    told = [p for p in found.problems if p.code == code]
    assert any(where in p.where and words in p.what_in("us") for p in told), [(p.where, p.what_in("us")) for p in told]


def test_the_sound_sample_says_only_that_nothing_was_weighed(tmp_path) -> None:
    found = outcome(tmp_path, limits=False)
    assert found.codes == {"time.order"}
    assert [m.key for m in found.said] == ["compare.nothing"]


def test_machines_side_by_side_that_read_differently_are_named(tmp_path) -> None:
    def split(points):
        home = points["field"] == "Home Field"
        swath = ((points["lon"] - points["lon"].min()) * 82_600 // (4 * 12.192)) % 2 == 0
        points.loc[home & swath, "combine"] = "C"
        points.loc[home & swath, "grain_lb_s"] *= 0.8
        return points

    (told,) = [p for p in outcome(tmp_path, split, limits=False).problems if p.code == "yield.machines_apart"]
    assert told.where == "yield points, machines 'C' and 'A'"
    assert "C recorded 0.8" in told.what_in("us")


def test_machines_that_never_met_are_named(tmp_path) -> None:
    keep = ("Home Field", "Creek East")  # 400 m apart, each cut by a machine of its own

    def two(data: dict) -> None:
        fields = gpd.read_file(data["layers"]["fields"]["path"])
        fields[fields["name"].isin(keep)].to_file(tmp_path / "two.geojson")
        data["layers"]["fields"]["path"] = str(tmp_path / "two.geojson")
        del data["crop"]["manure_c_by_field"]  # of fields that are not there

    said = outcome(tmp_path, lambda p: p[p["field"].isin(keep)], two, limits=False).said
    assert [m.key for m in said][:3] == ["compare.nothing", "compare.machines", "compare.same_soils"]
    assert said[1].values["machines"] == ("A", "B")


def test_a_weighed_total_makes_the_level_known(tmp_path) -> None:
    totals = [{"machine": name, "grain": grain} for name, grain in (("A", "57,000 bu"), ("B", "68,000 bu"))]
    said = outcome(tmp_path, plan=lambda data: data.update(yields={"weighed": totals}), limits=False).said
    assert [m.key for m in said] == ["weighed.factor", "weighed.factor"]


@pytest.mark.parametrize(
    ("stamp", "latitude", "told"),
    [
        ("2026-10-20", 42.0, False),
        ("2027-01-15", 42.0, False),  # a wet fall
        ("2026-05-20", 42.0, True),
        ("2025-10-20", 42.0, True),
        ("2026-04-10", -33.0, False),
        ("2026-11-20", -33.0, True),
    ],
)
def test_stamps_of_another_season_are_told(stamp, latitude, told) -> None:
    seconds = np.datetime64(stamp, "s").astype(float) + np.arange(50.0)
    points = gpd.GeoDataFrame({"time_s": seconds}, geometry=gpd.points_from_xy(seconds, seconds))
    report = Report()
    check_season(points, 2026, latitude, report)
    assert [p.code for p in report] == ["time.not_this_season"] * told


def test_years_that_agree_as_years_do_are_not_alike() -> None:
    rng = np.random.default_rng(1)
    ground, one, other = rng.normal(size=(3, 40, 40))
    maps = {"2024": 9 + ground + 0.5 * one, "2025": 9 + ground + 0.5 * other}  # correlation 0.8
    maps["2023"] = 0.9 * maps["2025"]
    report = Report()
    check_harvests({year: xr.DataArray(values, dims=("y", "x")) for year, values in maps.items()}, report)
    assert [p.where for p in report if p.code == "years.alike"] == ["harvests of 2025 and 2023"]
