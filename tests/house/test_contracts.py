"""What rules and criteria declare is held: names the stack knows, made by earlier rooms, in the right unit."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import xarray as xr
from odc.geo.geobox import GeoBox

from stovergeo.bales import bale_of
from stovergeo.doors import RETENTION_RULES, SITE_CRITERIA, Plugin, through_door
from stovergeo.errors import ContractError, Report
from stovergeo.handbook import load_handbook
from stovergeo.plan_file import Plan
from stovergeo.plan_file.plan import plan_from
from stovergeo.residue import RuleOptions
from stovergeo.residue.removable import NamedRule, answers_of
from stovergeo.stack import BY_ROOM, VARIABLES, new_stack, put, variable
from stovergeo.yards import rate_ground

RULES = through_door(RETENTION_RULES)
CRITERIA = through_door(SITE_CRITERIA)
READ = [(rule, name) for rule in RULES for name in rule.thing.reads]


def ids(value: object) -> str:
    return value.name if isinstance(value, Plugin) else str(value)


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
    assert sum(len(made) for made in BY_ROOM.values()) == len(VARIABLES)
    assert all(kind.unit and kind.long_name and kind.low <= kind.high for kind in VARIABLES.values())


@pytest.mark.parametrize("rule", RULES, ids=ids)
def test_a_rule_reads_what_earlier_rooms_make_and_makes_a_known_name(rule: Plugin) -> None:
    earlier = {*BY_ROOM["layers"], *BY_ROOM["yieldmap"], *BY_ROOM["terrain"], "stover_mg_ha"}
    assert set(rule.thing.reads) <= earlier
    assert variable(f"keep_{rule.name}_mg_ha").unit == "Mg/ha"
    assert rule.thing.valid
    assert rule.thing.lift


@pytest.mark.parametrize("criterion", CRITERIA, ids=ids)
def test_a_criterion_reads_what_earlier_rooms_make_and_makes_a_known_name(criterion: Plugin) -> None:
    assert set(criterion.thing.reads) <= set(VARIABLES) - set(BY_ROOM["yards"])
    assert variable(f"score_{criterion.name}").unit == "1"
    assert criterion.thing.name == criterion.name


@pytest.mark.parametrize(("rule", "name"), READ, ids=ids)
def test_a_rule_is_stopped_by_a_wrong_unit_and_left_out_where_a_variable_is_missing(
    rule: Plugin, name: str, stack: xr.Dataset, plan: Plan
) -> None:
    options = RuleOptions(plan.crop, plan.limits, load_handbook())
    named = [NamedRule(rule.name, rule.thing, rule.package)]
    wrong = stack.assign({name: stack[name].assign_attrs(units="furlong")})
    with pytest.raises(ContractError, match=f"{rule.name} reads '{name}' in .* but it is in furlong"):
        answers_of(named, wrong, options, Report())
    report = Report()
    assert answers_of(named, stack.drop_vars(name), options, report) == {}
    assert [(p.code, name in p.what) for p in report] == [("residue.rule_not_checked", True)]


def test_criteria_are_left_out_where_their_variables_are_missing(stack: xr.Dataset, plan: Plan) -> None:
    book = load_handbook()
    bale = bale_of(plan.bale, None, book)
    none: dict[str, gpd.GeoDataFrame] = {}
    bare = stack[["cell_area_ha"]]
    _, ratings = rate_ground(bare, none, plan.yards, bale, book, Report())
    readers = {c.name for c in CRITERIA if c.thing.reads and set(c.thing.reads) - set(bare)}
    assert len(readers) >= 10
    assert readers <= set(ratings.not_checked)
