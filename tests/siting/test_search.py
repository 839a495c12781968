"""The set of yards: enough room, sizes and places apart, a clear message where there is no ground."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import xarray as xr

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.printing import UNIT_SYSTEMS, quantity, render
from stovergeo.core.schemas import check_table
from stovergeo.inputs.plan.gather import Bale
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting import find_yards, forbidden_shares, rate_ground, setback_areas, sun_months


def keys(reason):
    """The templates of a yard's reason."""
    return {told.key for told in reason.values["sentences"]}


def test_tables_follow_their_schemas(ground):
    found, _, _ = ground().find(300)
    check_table(found.yards, "yards", "the test")
    check_table(found.stacks, "stacks", "the test")
    assert list(found.yards["yard_id"]) == [f"Y{k + 1}" for k in range(len(found.yards))]
    assert found.stacks["stack_id"].is_unique
    assert found.yards["score"].is_monotonic_decreasing
    assert found.yards.geometry.is_valid.all()
    assert found.stacks.geometry.is_valid.all()
    for yard in found.yards.itertuples():
        mine = found.stacks[found.stacks["yard_id"] == yard.yard_id]
        assert mine["bales"].sum() == yard.capacity_bales
        assert len(mine) == yard.stacks
        assert yard.geometry.buffer(1e-6).covers(mine.geometry.union_all())
    assert set(found.ratings.groupby("yard_id").size()) == {30}
    assert found.ratings["message"].map(str).str.len().min() > 5


def test_apron_and_lanes_are_drawn_on_ground_that_is_free(ground):
    g = ground()
    g.add("roads", shapely.LineString([(300, -50), (300, 650)])).add("wells", shapely.Point(200, 200))
    found, _, ratings = g.find(300)
    check_table(found.apron, "apron", "the test")
    check_table(found.lanes, "lanes", "the test")
    areas = setback_areas(ratings)
    check_table(areas, "setback_areas", "the test")
    closed = areas.geometry.union_all()
    coefficients = load_handbook()
    stacks = found.stacks.dissolve("yard_id").geometry
    assert list(found.lanes["yard_id"]) == list(found.yards["yard_id"])
    assert set(found.apron["yard_id"]) <= set(found.yards["yard_id"])
    assert len(found.apron) >= 1
    for apron in found.apron.itertuples():
        assert apron.geometry.area == pytest.approx(apron.side_m**2)
        assert apron.geometry.intersection(stacks[apron.yard_id]).area == pytest.approx(0, abs=1e-6)
        assert apron.geometry.distance(stacks[apron.yard_id]) <= coefficients.value("yards.lane")  # across the lane
        assert apron.geometry.intersection(closed).area == pytest.approx(0, abs=1e-6)
    for lane in found.lanes.itertuples():
        mine = stacks[lane.yard_id]
        assert lane.width_m == coefficients.value("yards.lane")
        assert lane.geometry.intersection(mine).area == pytest.approx(0, abs=1e-6)
        assert lane.geometry.intersection(closed).area == pytest.approx(0, abs=1e-6)
        assert mine.buffer(lane.width_m * np.sqrt(2) + 1e-6).covers(lane.geometry)
        assert 0 < lane.clear_fraction <= 1 + 1e-9
        assert found.yards.set_index("yard_id").geometry[lane.yard_id].buffer(1e-6).covers(lane.geometry)


def test_yards_lie_apart_and_hold_more_than_is_wanted(ground):
    g = ground(cells=200)
    found, _, _ = g.find(1000)
    assert found.yards["capacity_bales"].sum() >= 1500
    assert len(found.yards) == Yards().most
    assert found.yards["capacity_bales"].max() >= 3 * found.yards["capacity_bales"].min()
    middles = found.yards.geometry.centroid
    assert np.ptp(middles.x) > 500
    assert np.ptp(middles.y) > 500
    gaps = [a.distance(b) for k, a in enumerate(found.stacks.geometry) for b in found.stacks.geometry[k + 1 :]]
    assert min(gaps) >= 30.48 - 1e-6


@pytest.mark.parametrize("most", [1, 3, 12])
def test_no_more_yards_than_asked_for(ground, most):
    found, _, _ = ground(cells=160, plan={"most": most}).find(400)
    assert 1 <= len(found.yards) <= most
    assert found.yards["capacity_bales"].sum() >= 400


def test_too_little_ground_is_reported(ground):
    g = ground(cells=60)
    g.spoil("slope_pct", g.x > 80, 15)
    found, _, _ = g.find(5000)
    held = found.yards["capacity_bales"].sum()
    assert held < 5000
    assert [m.values["few"] for m in found.messages if m.key.startswith("found.few")] == [5000 - held]


def test_heavy_clay_everywhere_names_the_base(ground):
    g = ground()
    g.spoil("clay_pct", g.x > 0, 62).spoil("drainage_class", g.x > 0, 6)
    g.spoil("drainage_class", g.x > 560, 5).spoil("slope_pct", g.x < 560, 0.6)
    found, stack, _ = g.find(200)
    assert len(found.yards) == 0
    check_table(found.yards, "yards", "the test")
    check_table(found.stacks, "stacks", "the test")
    assert found.yards.crs is not None
    text = render(found.messages, "us")
    assert "No ground on this farm is allowed" in text
    assert "soil drainage (93%)" in text.lower()
    assert "Very heavy clay (62%)" in text
    assert "yards.accept_base" in text
    assert "east side" in text  # the driest part, though no part is good
    assert "1 ft deep" in text  # as the handbook gives it
    assert "$" in text
    told = render(found.messages, "us", "landowner")
    assert "$" not in told
    assert "`" not in told
    assert next(iter(forbidden_shares(stack))) == "drainage"


def test_a_plan_may_accept_the_base(ground):
    g = ground(cells=60, plan={"accept_base": True})
    g.spoil("clay_pct", g.x > 0, 62).spoil("drainage_class", g.x > 0, 6)
    found, _, _ = g.find(100)
    assert (found.yards["base"] == "gravel").all()
    assert (found.yards["base_depth_m"] > 0.3).all()
    for yard in found.yards.itertuples():
        assert (yard.base_message.key, yard.base_message.values["depth"]) == ("base.deep", yard.base_depth_m)
        needs = next(m for m in yard.reason.values["sentences"] if m.key == "yard.base")
        assert needs.values == {"base": yard.base_message, "cost": yard.base_cost_laid, "cost_a_year": yard.base_cost}
        assert "$" not in render(needs, "us", "landowner")


def test_ground_that_no_base_cures(ground):
    g = ground(cells=40)
    g.spoil("flooding_class", g.x > 0, 5)
    found, _, _ = g.find(100)
    assert "no_ground.not_mitigable" in [m.key for m in found.messages]


def test_allowed_but_too_small(ground):
    g = ground(cells=60, plan={"min_bales": 100})
    g.spoil("slope_pct", ~((np.abs(g.x - 150) < 8) & (np.abs(g.y - 150) < 8)), 15)
    found, _, _ = g.find(100)
    assert len(found.yards) == 0
    assert "no_ground.small" in [m.key for m in found.messages]


def test_a_place_the_grower_named_is_tried_and_its_refusal_explained(ground):
    g = ground()
    g.add("yards", shapely.box(100, 100, 160, 160), name="By the creek").add(
        "yards", shapely.Point(450, 450), name="Knoll"
    )
    g.spoil("ponding_m", g.y < 200, 0.5)
    found, _, _ = g.find(150)
    creek = next(m for m in found.messages if m.key == "named_place.refused")
    assert creek.values["place"].values["name"] == "By the creek"
    assert creek.values["why"].key == "ponding.refused"
    named = found.yards[found.yards["reason"].map(str).str.contains("You named this place: Knoll.", regex=False)]
    assert len(named) == 1
    assert g.local(named.geometry.iloc[0]).distance(shapely.Point(450, 450)) < 40


def test_turned_rows_hold_more_in_a_turned_strip(ground):
    def held(rows):
        g = ground(plan={"rows": rows, "most": 1})
        turned = shapely.affinity.rotate(shapely.box(50, 280, 550, 310), 35)
        g.spoil("slope_pct", ~shapely.contains_xy(turned, g.x, g.y), 15)
        return g.find(3000)[0].yards

    straight, best = held("north-south"), held("best angle")
    assert best["capacity_bales"].sum() > 1.05 * straight["capacity_bales"].sum()
    assert "rows.max_bales" in keys(best["reason"].iloc[0])


def test_rows_down_the_slope(ground):
    g = ground(plan={"rows": "down slope"})
    g.spoil("aspect_deg", g.x > 0, 120)
    found, _, _ = g.find(150)
    assert found.yards["rows_deg"].iloc[0] == pytest.approx(120, abs=0.1)
    row = shapely.get_parts(found.stacks.geometry.iloc[0])[0]
    x, y = shapely.get_coordinates(row.minimum_rotated_rectangle)[:4].T
    sides = sorted(zip(np.hypot(np.diff(x), np.diff(y)), np.diff(x), np.diff(y), strict=True))
    _, dx, dy = sides[-1]
    assert np.degrees(np.arctan2(dx, dy)) % 180 == pytest.approx(120, abs=0.2)


def test_conflicts_of_direction_are_explained(ground):
    g = ground(plan={"wind_from_deg": 0})
    g.spoil("aspect_deg", g.x > 0, 90)
    found, _, _ = g.find(150)
    assert {"rows.across_slope", "rows.along_wind"} <= keys(found.yards["reason"].iloc[0])


@pytest.mark.parametrize(("rows", "cap"), [("north-south", 20.0), ("best angle", 60.0), ("north-south", 2.0)])
def test_stacks_stay_under_the_plans_mass(ground, rows, cap):
    found, _, _ = ground(plan={"rows": rows, "stack_max": f"{cap} t"}).find(600)
    assert found.stacks["mass_mg"].max() <= cap + 1e-6
    assert found.stacks["mass_mg"].max() > 0.75 * cap


@pytest.mark.parametrize("pattern", ["single row", "touching rows", "mushroom", "pyramid"])
def test_every_pattern_is_laid(ground, pattern):
    g = ground(cells=80)
    coefficients = load_handbook()
    stack, ratings = rate_ground(g.stack(), g.surroundings(), Yards(), g.bale, coefficients, Report(), pattern=pattern)
    found = find_yards(stack, ratings, 300, Yards(), g.bale, coefficients)
    per_bale = {"single row": 1.524 * 1.8288, "touching rows": 1.524 * 1.8288}
    per_bale |= {"mushroom": 1.8288**2 / 2, "pyramid": 1.524 * 3 * 1.8288 / 6}
    laid = found.stacks.geometry.area.sum() / found.stacks["bales"].sum()
    assert laid == pytest.approx(per_bale[pattern], rel=1e-6)


def test_large_squares_stand_on_bases_that_carry_their_height(ground):
    bale = Bale.model_validate({"shape": "square", "width": "4 ft", "height": "3 ft", "length": "8 ft"})
    found, _, _ = ground(cells=80, bale=bale).find(400)
    for stack in found.stacks.itertuples():
        for row in shapely.get_parts(stack.geometry):
            west, south, east, north = row.bounds
            assert stack.height_m <= 1.5 * min(east - west, north - south) + 1e-9
    assert (found.yards["pattern"] == "squares").all()


def test_base_is_priced_by_what_is_laid(ground):
    g = ground(cells=60)
    g.spoil("drainage_class", g.x > 0, 4)
    found, _, _ = g.find(100)
    yard = found.yards.iloc[0]
    coefficients = load_handbook()
    assert yard["base"] == "gravel"
    assert yard["base_depth_m"] == pytest.approx(0.1524)
    pad = yard["stone_mg"] * 1000 / coefficients.value("yards.base.stone_density") / 0.1524
    rows = shapely.union_all(found.stacks[found.stacks["yard_id"] == "Y1"].geometry.to_numpy())
    assert rows.area < pad < 2 * rows.area
    ground_price = coefficients.value("yards.base.spread_price") + coefficients.value("yards.base.fabric_price")
    laid = yard["stone_mg"] * coefficients.value("yards.base.stone_price") + pad * ground_price
    assert yard["base_cost_laid"] == pytest.approx(laid)
    assert yard["base_cost"] == pytest.approx(laid / coefficients.value("yards.base.gravel_life"))


def test_whats_near_is_measured_from_the_stacks(ground):
    g = ground()
    g.add("wells", shapely.Point(300, 300), name="House well").add("roads", shapely.LineString([(0, 0), (600, 0)]))
    found, _, _ = g.find(150)
    near = found.near[(found.near["layer"] == "wells") & (found.near["yard_id"] == "Y1")].iloc[0]
    stacks = found.stacks[found.stacks["yard_id"] == "Y1"].geometry.union_all()
    assert near["name"] == "House well"
    assert near["distance_m"] == pytest.approx(g.local(stacks).distance(shapely.Point(300, 300)), rel=1e-9)


def test_a_distance_is_one_value_in_the_rating_and_among_what_is_near(ground):
    g = ground()
    for layer, shape in {
        "wells": shapely.Point(300, 300),
        "dwellings": shapely.box(-60.3, 290, -50, 310),
        "roads": shapely.LineString([(-40.7, -50), (-40.7, 650)]),
        "trees": shapely.box(280, 0, 290, 11.1),
    }.items():
        g.add(layer, shape, height_m=9.0)
    found, _, _ = g.find(150)
    rated = found.ratings.set_index(["yard_id", "criterion"])["message"]
    seen = found.near[found.near["layer"].isin(["wells", "dwellings", "roads", "trees"])]
    assert len(seen) == 4 * len(found.yards)
    for near in seen.itertuples():
        told = rated[near.yard_id, f"setback_{near.layer}"]
        assert told.values["value"] == near.distance_m
        for system in UNIT_SYSTEMS:
            assert f" is {quantity('length', near.distance_m, system)} away;" in render(told, system)


def test_the_road_beside_is_named_and_no_way_is_shorter_than_a_straight_line(ground):
    g = ground()
    road = shapely.LineString([(3, -50), (3, 650)])
    g.add("roads", road, name="Mill road").spoil("slope_pct", g.x > 150, 9.0)
    found, _, _ = g.find(300)
    stacks = found.stacks.dissolve("yard_id").geometry
    for yard in found.yards.itertuples():
        straight = g.local(stacks[yard.yard_id]).distance(road)
        assert straight - 1e-6 <= yard.road_m <= 1.1 * straight + 10
        assert ("Beside Mill road." in render(yard.reason, "us")) == (straight <= 100)
        told = found.ratings.set_index(["yard_id", "criterion"]).loc[(yard.yard_id, "access"), "message"]
        assert told.values["value"] == yard.road_m
    assert any("yard.beside" in keys(reason) for reason in found.yards["reason"])
    for apron in found.apron.itertuples():
        assert apron.road_m >= g.local(apron.geometry).distance(road) - 1e-6


@pytest.mark.parametrize("cells", [1, 2, 7])
def test_tiny_grids_do_not_break(ground, cells):
    found, _, _ = ground(cells=cells).find(100)
    assert len(found.messages) >= 1


def test_more_forbidden_ground_never_gives_more_capacity(ground):
    held = []
    for edge in (600, 400, 200, 100):
        g = ground(plan={"most": 40, "min_bales": 40})
        g.spoil("slope_pct", g.x > edge, 15)
        held.append(int(g.find(100_000)[0].yards["capacity_bales"].sum()))
    assert held == sorted(held, reverse=True)
    assert held[-1] > 0


def test_yards_behind_the_first_say_in_what(ground):
    g = ground(plan={"most": 2})
    g.spoil("slope_pct", g.y < 600, 12).spoil("slope_pct", g.y < 180, 3)
    g.spoil("slope_pct", (abs(g.y - 500) < 25) & (abs(g.x - 300) < 15), 3)
    g.spoil("sun_fraction", g.y < 180, 0.75)
    found, _, _ = g.find(150)
    assert str(found.yards["reason"].iloc[1]).endswith("Behind Y1 most in: sun in the storage season.")
    assert "yard.behind" not in keys(found.yards["reason"].iloc[0])


def test_sun_of_the_months_and_of_the_season_are_of_the_same_ground(ground):
    g = ground(cells=60)
    g.spoil("sun_fraction", g.x > np.median(g.x), 0.5)
    found, stack, _ = g.find(100)
    season = stack["sun_fraction"]
    open_kwh_m2 = np.array([40.0, 60.0])[:, None, None]
    share = np.stack([season - 0.1, season + 0.1 * 40 / 60])  # together the season's
    months = xr.Dataset(
        {"sun_kwh_m2": (("month", "y", "x"), share * open_kwh_m2), "sun_fraction": (("month", "y", "x"), share)},
        coords={"month": ["2026-11", "2026-12"]},
    )
    table = sun_months(found.cells, months)
    assert list(table["yard_id"].unique()) == list(found.yards["yard_id"])
    energy = table.groupby("yard_id", sort=False)["sun_kwh_m2"].sum().to_numpy()
    np.testing.assert_allclose(energy / 100, found.yards["sun_fraction"], rtol=1e-6)
    assert set(table["month"]) == {11, 12}
    assert set(table["year"]) == {2026}
