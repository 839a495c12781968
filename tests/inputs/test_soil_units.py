"""R, K and T in either unit system: one soil of the plan, columns of a soil layer, and what is refused of both."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely
from made_survey import made_up_tables, write_download

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers
from stovergeo.workflow.plausible_plan import check_ranges

SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}
# hand calculation by the published factors: 0.32 x 0.1317 and 5 x 2.242
K_SI, T_SI = 0.042144, 11.21


def plan_of(folder, **sections):
    return plan_from({"farm": {"name": "Made", "season": 2026}, "layers": {}, **sections}, folder, Report())


def refused(folder, **sections) -> tuple[str, str]:
    with pytest.raises(InputError) as caught:
        plan_of(folder, **sections)
    (problem,) = caught.value.problems
    return problem.where, problem.what_in("us")


@pytest.mark.parametrize("erosivity", ["160 US", "2723 MJ mm/(ha h yr)", "2723 MJ mm/ha/h/yr", "2,723 MJ mm/(ha h yr)"])
def test_erosivity_in_either_unit(tmp_path, erosivity) -> None:
    assert plan_of(tmp_path, crop={"erosivity": erosivity}).crop.erosivity == pytest.approx(2723, rel=1e-3)


@pytest.mark.parametrize(
    "k", ["0.32 US", "0.0421 t ha h/(ha MJ mm)", "0.0421 Mg ha h/(ha MJ mm)", "0.0421 t h/(MJ mm)"]
)
@pytest.mark.parametrize("t", ["5 ton/ac/yr", "11.2 t/ha/yr", "11.2 Mg/ha/yr"])
def test_one_soil_in_either_unit(tmp_path, k, t) -> None:
    soil = plan_of(tmp_path, soil={**SOIL, "erodibility": k, "tolerance": t}).soil
    assert (soil.erodibility, soil.tolerance) == (pytest.approx(K_SI, rel=2e-3), pytest.approx(T_SI, rel=1e-3))


def test_what_is_left_out_is_the_common_value_in_its_unit(tmp_path) -> None:
    plan = plan_of(tmp_path, soil=SOIL)
    assert (plan.crop.erosivity.given, plan.crop.erosivity.unit) == (160, "US")
    assert plan.soil.wind_erodibility == pytest.approx(48 * 2.242, rel=1e-3)


@pytest.mark.parametrize(
    ("section", "key", "value", "said"),
    [
        ("soil", "erodibility", "3 US", "K of soils is 0.02 to 0.64 US"),
        ("soil", "erodibility", "0.32 t ha h/(ha MJ mm)", "0.003 to 0.085 t ha h/(ha MJ mm)"),
        ("soil", "erodibility", "0 US", "more than nothing"),
        ("soil", "erodibility", 0.32, "'0.32 US'"),
        ("soil", "erodibility", "0.32", "'0.32 US'"),
        ("soil", "erodibility", "0.32 SI", "use one of"),
        ("soil", "tolerance", "11 ton/ac/yr", "2.2 to 11.2 t/ha/yr"),
        ("soil", "tolerance", "5 ton/ac", "ton/ac/yr"),
        ("soil", "wind_erodibility", "500 ton/ac/yr", "310 ton/ac/yr"),
        ("crop", "erosivity", "2700 US", "340 to 8500 MJ mm/(ha h yr)"),
        ("crop", "erosivity", 160, "'160 US'"),
        ("crop", "erosivity", "-160 US", "more than nothing"),
        ("crop", "wind_loss", "-1 t/ha/yr", "less than nothing"),
    ],
)
def test_what_no_soil_or_climate_has_is_refused_with_its_place_and_cure(tmp_path, section, key, value, said) -> None:
    given = {**SOIL, key: value} if section == "soil" else {key: value}
    where, what = refused(tmp_path, **{section: given})
    assert where.endswith(f"{section}.{key}")
    assert said in what


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("soil", "erodibility", "0.042 US"),  # an SI number
        ("crop", "erosivity", "160 MJ mm/(ha h yr)"),  # a US number
    ],
)
def test_a_number_of_the_other_system_that_could_be_is_asked_about(tmp_path, section, key, value) -> None:
    given = {**SOIL, key: value} if section == "soil" else {key: value}
    report = Report()
    check_ranges(plan_of(tmp_path, **{section: given}), report)
    (problem,) = [p for p in report.problems if p.where.endswith(key)]
    assert problem.code == "plan.unusual"
    assert value.split()[0] in problem.what_in("us")


def read_soils(folder, attributes, layer):
    """Return the soils of a farm of one field, and the report of reading them."""
    ground = shapely.box(440_000, 4_650_000, 440_400, 4_650_400)
    gpd.GeoDataFrame({"name": ["A"]}, geometry=[ground], crs=32615).to_file(folder / "fields.gpkg")
    whole = shapely.buffer(ground, 3000, join_style="mitre")
    known = {"musym": ["1"], "drainagecl": ["Well drained"], "claytotal_r": [24.0], **attributes}
    gpd.GeoDataFrame(known, geometry=[whole], crs=32615).to_file(folder / "soils.gpkg")
    layers = {"fields": {"path": "fields.gpkg"}, "soils": {"path": "soils.gpkg", **layer}}
    report = Report()
    plan = plan_of(folder, layers=layers, yields={"everywhere": "200 bu/ac"})
    return read_layers(plan, report).soils, report


SURVEY = {"kwfact": [0.32], "tfact": [5.0], "wei": [48.0]}
METRIC = {"K": [0.0421], "T": [11.2], "I": [107.6]}
COLUMNS = {"erodibility": "K", "tolerance": "T", "wind_erodibility": "I"}
UNITS = {"erodibility": "t ha h/(ha MJ mm)", "tolerance": "t/ha/yr", "wind_erodibility": "t/ha/yr"}


@pytest.mark.parametrize(
    ("columns", "layer"),
    [
        (SURVEY, {}),
        (METRIC, {"columns": COLUMNS, "units": UNITS}),
        ({"kwfact": [0.0421], "tfact": [11.2], "wei": [107.6]}, {"units": UNITS}),
        ({"KWFACT": [0.0421], "TFACT": [5.0], "WEI": [48.0]}, {"units": {"erodibility": UNITS["erodibility"]}}),
        (
            {"K": [0.32], "T": [5.0], "I": [48.0]},
            {"columns": COLUMNS, "units": {"erodibility": "US", **dict.fromkeys(list(UNITS)[1:], "ton/ac/yr")}},
        ),
    ],
    ids=["survey's own", "from elsewhere in SI", "survey's names in SI", "one of them in SI", "from elsewhere in US"],
)
def test_soil_columns_in_their_declared_unit_are_one_soil(tmp_path, columns, layer) -> None:
    soils, report = read_soils(tmp_path, columns, layer)
    row = soils.iloc[0]
    assert row["soil_erodibility"] == pytest.approx(K_SI, rel=2e-3)
    assert row["soil_loss_tolerance"] == pytest.approx(T_SI, rel=1e-3)
    assert row["wind_erodibility"] == pytest.approx(107.6, rel=1e-3)
    assert not {"soil.range", "soil.steps", "soil.unit"} & {p.code for p in report.problems}


@pytest.mark.parametrize(
    ("columns", "layer", "code", "where"),
    [
        (METRIC, {"columns": COLUMNS}, "soil.unit", "units.erodibility"),
        (METRIC, {"columns": {"erodibility": "L"}, "units": UNITS}, "column.missing", "columns.erodibility"),
        ({}, {"units": UNITS}, "column.missing", "units.erodibility"),
        ({**SURVEY, "kwfact": [0.0421]}, {}, "soil.steps", "kwfact"),  # an SI number taken for the survey's
        ({**METRIC, "K": [0.32]}, {"columns": COLUMNS, "units": UNITS}, "soil.range", "'K'"),  # US declared as SI
    ],
)
def test_a_unit_is_never_guessed(tmp_path, columns, layer, code, where) -> None:
    soils, report = read_soils(tmp_path, columns, layer)
    (problem,) = [p for p in report.problems if p.code == code]
    assert where in problem.where
    if code != "soil.steps":  # kept, with a warning
        assert soils.empty or soils["soil_erodibility"].isna().all()


def test_a_unit_is_not_declared_for_the_tables_of_a_survey(farm) -> None:
    write_download(farm.folder, made_up_tables())
    farm.layers["soils"] = {"path": "ZZ999", "units": {"erodibility": "US"}}
    farm.read()
    assert farm.problem("soil.unit").where.endswith("units.erodibility")


def test_a_value_out_of_range_is_told_in_both_systems(tmp_path) -> None:
    _, report = read_soils(tmp_path, {**SURVEY, "kwfact": [3.2]}, {})
    (problem,) = [p for p in report.problems if p.code == "soil.range"]
    assert "such as 3.2 US" in problem.what_in("us")
    assert "0.4215 t ha h/(ha MJ mm) (3.2 US)" in problem.what_in("metric")
