"""What rules and criteria declare is held: names the stack knows, made by earlier packages, in the right unit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import xarray as xr
from declared import outside_range
from odc.geo.geobox import GeoBox
from shapely.geometry import box

from stovergeo import residue, siting, supply, terrain, yieldmap, zones
from stovergeo.bales import bale_of
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.contracts import STEPS, Step
from stovergeo.core.errors import ContractError, Report
from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, Plugin, load_plugins
from stovergeo.core.schemas import TABLES, check_table
from stovergeo.core.stack import BY_PACKAGE, VARIABLES, new_stack, put, variable
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.residue.removable import NamedRule, answers_of

RULES = load_plugins(RETENTION_RULES)
CRITERIA = load_plugins(SITE_CRITERIA)
READ = [(rule, name) for rule in RULES for name in rule.thing.reads]


COEFFICIENTS = load_handbook()


def ids(value: object) -> str:
    return value.name if isinstance(value, Plugin | Step) else str(value)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_from({"farm": {"name": "contracts", "season": 2026}, "layers": {}}, Path(), Report())


@pytest.fixture(scope="module")
def stack() -> xr.Dataset:
    """A stack that holds every variable, each at a value inside its range."""
    grid = GeoBox.from_bbox((436_000, 4_652_000, 436_050, 4_652_040), crs="EPSG:32615", resolution=10)
    middle = {name: max(v.low, min(1.0, v.high)) for name, v in VARIABLES.items()}
    return put(new_stack(grid), **{name: np.full((4, 5), value) for name, value in middle.items()})


def test_no_variable_is_made_twice() -> None:
    assert sum(len(made) for made in BY_PACKAGE.values()) == len(VARIABLES)
    assert all(kind.unit and kind.long_name and kind.low <= kind.high for kind in VARIABLES.values())


@pytest.mark.parametrize("rule", RULES, ids=ids)
def test_a_rule_reads_what_earlier_packages_make_and_makes_a_known_name(rule: Plugin) -> None:
    earlier = {
        *BY_PACKAGE["inputs"],
        *BY_PACKAGE["yieldmap"],
        *BY_PACKAGE["terrain"],
        "stover_mg_ha",
        "stover_typical_mg_ha",
    }
    assert set(rule.thing.reads) <= earlier
    assert variable(f"retention_{rule.name}_mg_ha").unit == "Mg/ha"
    assert rule.thing.valid
    assert rule.thing.lift


@pytest.mark.parametrize("criterion", CRITERIA, ids=ids)
def test_a_criterion_reads_what_earlier_packages_make_and_makes_a_known_name(criterion: Plugin) -> None:
    assert set(criterion.thing.reads) <= set(VARIABLES) - set(BY_PACKAGE["siting"])
    assert variable(f"score_{criterion.name}").unit == "1"
    assert criterion.thing.name == criterion.name


@pytest.mark.parametrize(("rule", "name"), READ, ids=ids)
def test_a_rule_is_stopped_by_a_wrong_unit_and_left_out_where_a_variable_is_missing(
    rule: Plugin, name: str, stack: xr.Dataset, plan: Plan
) -> None:
    options = residue.RuleOptions(plan.crop, plan.limits, COEFFICIENTS)
    named = [NamedRule(rule.name, rule.thing, rule.package)]
    wrong = stack.assign({name: stack[name].assign_attrs(units="furlong")})
    with pytest.raises(ContractError, match=f"{rule.name} reads '{name}' in .* but it is in furlong"):
        answers_of(named, wrong, options, Report())
    report = Report()
    assert answers_of(named, stack.drop_vars(name), options, report) == {}
    assert [(p.code, name in p.what) for p in report] == [("residue.rule_not_checked", True)]


def test_criteria_are_left_out_where_their_variables_are_missing(stack: xr.Dataset, plan: Plan) -> None:
    bale = bale_of(plan.bale, None, COEFFICIENTS)
    none: dict[str, gpd.GeoDataFrame] = {}
    bare = stack[["cell_area_ha"]]
    all_named = plan.yards.model_copy(update={"criteria": tuple(c.name for c in CRITERIA)})
    _, ratings = siting.rate_ground(bare, none, all_named, bale, COEFFICIENTS, Report())
    readers = {c.name for c in CRITERIA if c.thing.reads and set(c.thing.reads) - set(bare)}
    assert len(readers) >= 10
    assert readers <= set(ratings.not_checked)


def ground_of(stack: xr.Dataset) -> gpd.GeoDataFrame:
    """One field over the whole stack."""
    outline = box(*stack.rio.bounds())
    columns = {"field_id": ["F1"], "name": ["square"], "area_ha": [outline.area / 1e4]}
    return gpd.GeoDataFrame(columns, geometry=[outline], crs=stack.rio.crs)


def sun(stack: xr.Dataset) -> xr.Dataset:
    place = terrain.SunOptions(latitude=42.0, longitude=-93.0, altitude_m=300.0, sectors=8)
    return terrain.season_sun(stack.get("surface_m"), stack["elevation_m"], "2026-11-01", "2026-11-02", place)


def compared(stack: xr.Dataset) -> xr.Dataset:
    grain = {"2025": stack["grain_mg_ha"], "2026": 1.1 * stack["grain_mg_ha"]}
    years = yieldmap.compare_years(grain, stack["field_number"], COEFFICIENTS)
    parts = (years.relative, years.variation, years.stability, years.mean)
    return xr.Dataset({str(part.name): part for part in parts})


def rated(stack: xr.Dataset, plan: Plan) -> tuple[xr.Dataset, siting.GroundRatings]:
    return siting.rate_ground(stack, {}, plan.yards, bale_of(plan.bale, None, COEFFICIENTS), COEFFICIENTS, Report())


def found(stack: xr.Dataset, plan: Plan) -> dict[str, gpd.GeoDataFrame]:
    _, ratings = rated(stack[["cell_area_ha"]], plan)
    out = siting.find_yards(stack, ratings, 10, plan.yards, bale_of(plan.bale, None, COEFFICIENTS), COEFFICIENTS)
    return {"yards": out.yards, "stacks": out.stacks, "apron": out.apron, "lanes": out.lanes}


def zoned(stack: xr.Dataset) -> dict[str, gpd.GeoDataFrame]:
    how = {"working_width_m": 5.0, "min_zone_ha": 0.05, "options": zones.zone_options(COEFFICIENTS)}
    return {"zones": zones.make_zones(stack, ground_of(stack), **how)}


#: how to run each step that takes a stack; `put_layers` and `grain_surface` take layers and points, and have tests of
#: their own
RUN: dict[str, Callable[[xr.Dataset, Plan], object]] = {
    "yieldmap.compare_years": lambda stack, plan: compared(stack),
    "terrain.slope_aspect": lambda stack, plan: terrain.slope_aspect(stack["elevation_m"]),
    "terrain.water": lambda stack, plan: terrain.water(stack["elevation_m"], coefficients=COEFFICIENTS),
    "terrain.ls_by_class": lambda stack, plan: xr.Dataset(
        {"ls_factor": terrain.ls_by_class(stack["slope_pct"], COEFFICIENTS)}
    ),
    "terrain.season_sun": lambda stack, plan: sun(stack),
    "residue.limits": lambda stack, plan: residue.limits(
        stack, residue.RuleOptions(plan.crop, plan.limits, COEFFICIENTS), Report()
    ),
    "zones.make_zones": lambda stack, plan: zoned(stack),
    "siting.rate_ground": lambda stack, plan: rated(stack, plan)[0],
    "siting.find_yards": lambda stack, plan: found(stack, plan),
    "supply.haul_ground": lambda stack, plan: supply.haul_ground(stack, {}, supply.haul_options(COEFFICIENTS)),
}
STACKED = [step for step in STEPS if step.name in RUN]
ALWAYS = ["cell_area_ha"]  # every stack has it from the start


def made_by(step: Step, stack: xr.Dataset, plan: Plan) -> set[str]:
    """Run a step; return the variables and tables it makes, without those named after a rule or criterion."""
    out = RUN[step.name](stack, plan)
    if isinstance(out, dict):
        for name, table in out.items():
            check_table(table, name, step.name)
        return set(out)
    if not isinstance(out, xr.Dataset):
        return set()
    for name in out.data_vars:
        assert out[name].attrs["units"] == variable(str(name)).unit
        assert outside_range(str(name), float(out[name].min()), float(out[name].max())) == ""
    return {str(name) for name in out.data_vars if name in VARIABLES and name not in stack}


def test_the_steps_make_every_variable_and_read_what_was_made_before() -> None:
    made: set[str] = set()
    for step in STEPS:
        assert {*step.reads, *step.uses} <= made, step.name
        made |= set(step.makes)
        assert set(step.tables) <= set(TABLES)
    assert made == set(VARIABLES)
    for package, names in BY_PACKAGE.items():
        assert {n for step in STEPS for n in step.makes if step.package in (package, "stack")} >= set(names)
    assert {step.name for step in STEPS} - set(RUN) == {
        "stack.new_stack", "inputs.put_layers", "inputs.put_own_numbers", "yieldmap.grain_surface"
    }  # fmt: skip


@pytest.mark.parametrize("step", STACKED, ids=ids)
def test_a_step_needs_no_more_than_it_reads_and_makes_what_it_says(step: Step, stack: xr.Dataset, plan: Plan) -> None:
    wanted = {*step.makes, *step.tables}
    bare = stack[list(dict.fromkeys([*ALWAYS, *step.reads]))]
    assert made_by(step, bare, plan) == wanted
    assert made_by(step, stack[list(dict.fromkeys([*ALWAYS, *step.reads, *step.uses]))], plan) == wanted


@pytest.mark.parametrize(("step", "name"), [(s, n) for s in STACKED for n in s.reads if n not in ALWAYS], ids=ids)
def test_a_step_says_which_variable_it_lacks(step: Step, name: str, stack: xr.Dataset, plan: Plan) -> None:
    bare = stack[list(dict.fromkeys([*ALWAYS, *(n for n in step.reads if n != name)]))]
    with pytest.raises((ContractError, KeyError), match=name):
        RUN[step.name](bare, plan)


@pytest.mark.parametrize(("step", "name"), [(s, n) for s in STACKED for n in s.reads if n not in ALWAYS], ids=ids)
def test_a_step_is_stopped_by_a_wrong_unit_and_says_the_cure(
    step: Step, name: str, stack: xr.Dataset, plan: Plan
) -> None:
    wrong = stack.assign({name: stack[name].assign_attrs(units="furlong")})
    with pytest.raises(ContractError, match=r"furlong.*(convert|multiply)"):
        RUN[step.name](wrong, plan)


def test_a_step_that_lacks_what_it_reads_names_the_cure(stack: xr.Dataset, plan: Plan) -> None:
    bare = stack[["cell_area_ha"]]
    for name in ("residue.limits", "zones.make_zones", "siting.find_yards"):
        rated = RUN["siting.rate_ground"](bare, plan)[list(bare)] if name == "siting.find_yards" else bare
        with pytest.raises(ContractError, match="which the stack does not hold; run the package that makes it first"):
            RUN[name](rated, plan)
