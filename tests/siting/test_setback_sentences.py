"""Every sentence of a clear distance prints the figure that the handbook, or the plan, gives, in its own unit."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pytest
import shapely

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.plugins import SITE_CRITERIA, load_plugins
from stovergeo.core.printing import UNIT_SYSTEMS, quantity, render

DATA = files("stovergeo.core.coefficients").joinpath("data", "setbacks.toml")
#: as the handbook's file writes them
WRITTEN = {key: entry["value"] for key, entry in tomllib.loads(DATA.read_text("utf-8"))["setbacks"].items()}
CRITERIA = {getattr(p.thing, "key", p.name): p.thing for p in load_plugins(SITE_CRITERIA) if "setback" in p.name} | {
    p.name: p.thing for p in load_plugins(SITE_CRITERIA) if p.name == "flow_path"
}
KEYS = sorted(CRITERIA)
NEAR = shapely.Point(202.5, 202.5)


def test_every_clear_distance_of_the_handbook_has_a_criterion():
    assert set(CRITERIA) == set(WRITTEN) - {"road_half_width"}  # that is no clear distance
    assert set(CRITERIA) == set(load_handbook().group("setbacks")) - {"road_half_width"}


def sentences(ground, key, own=None):
    """The criterion's messages where it refuses and where it allows, with the distance judged there."""
    plan_key = "waterway" if key == "flow_path" else key
    g = ground(cells=80, cell_m=5.0, plan={} if own is None else {"setbacks": {plan_key: own}})
    criterion = CRITERIA[key]
    if key == "flow_path":
        g.spoil("concentrated_flow", (np.abs(g.x - NEAR.x) < 3) & (np.abs(g.y - NEAR.y) < 3), 1.0)
    elif key == "property_line":
        g.add("property", shapely.box(202.5, -300, 900, 900))
    else:
        g.add(criterion.layer, NEAR, height_m=9.0)
    _, ratings = g.rate()
    rated = ratings.of(criterion.name)
    allowed = rated.rating.allowed.values
    assert allowed.any()
    assert not allowed.all()
    at = [np.argwhere(allowed == which)[0] for which in (False, True)]
    return [rated.message_at(*cell) for cell in at], float(rated.rating.value.values[tuple(at[1])])


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
@pytest.mark.parametrize("key", KEYS)
def test_a_setback_prints_the_handbooks_figure(ground, key, system):
    (refused, allowed), far = sentences(ground, key)
    coefficients = load_handbook().value(f"setbacks.{key}")
    figure = WRITTEN[key] if system == "us" else f"{coefficients:.0f} m ({WRITTEN[key]})"
    assert WRITTEN[key].endswith(" ft")
    assert refused.values["limit"] == coefficients
    assert f"{figure} " in render(refused, system)
    if "limit" in allowed.values:  # a waterway's is reported only where it forbids
        assert allowed.values["limit"] == coefficients
        assert f"at least {figure} " in render(allowed, system)
    assert allowed.values["value"] == far
    assert f" is {quantity('length', far, system)} away" in render(allowed, system)


@pytest.mark.parametrize(
    ("own", "us", "metric"),
    [("80 m", "262 ft (80 m)", "80 m"), ("90 ft", "90 ft", "27 m (90 ft)"), ("12.5 ft", "12.5 ft", "4 m (12.5 ft)")],
)
@pytest.mark.parametrize("key", KEYS)
def test_a_setback_of_the_plan_prints_as_the_plan_gives_it(ground, key, own, us, metric):
    for told in sentences(ground, key, own)[0]:
        if "limit" in told.values:
            assert f"{us} " in render(told, "us")
            assert f"{metric} " in render(told, "metric")


def test_a_stack_higher_than_the_distance_to_a_building_asks_for_its_height(ground):
    (refused, _), _ = sentences(ground, "building", "1 ft")
    assert refused.values["limit"] == pytest.approx(1.8288)
    assert "6 ft must stay clear" in render(refused, "us")


def test_the_height_of_the_stack_is_added_under_wires_only(ground):
    for key in KEYS:
        for told in sentences(ground, key)[0]:
            assert ("height of the stack" in render(told, "us")) == (key == "overhead_line")


def test_a_distance_too_short_for_any_source_is_reported_as_the_plan_gives_it(ground):
    report = Report()
    ground(cells=10, plan={"setbacks": {"well": "30 ft"}}).rate(report)
    assert "It is 30 ft;" in str(next(iter(report)))
    assert "100 ft" in str(next(iter(report)))
