"""The farm's ground as ways: slope, water, roads, gates and refused places on small made-up ground."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from odc.geo.geobox import GeoBox
from shapely.geometry import LineString, Point, box

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.schemas import check_table
from stovergeo.core.stack import new_stack, put
from stovergeo.supply import haul_distances, haul_ground, haul_lines, haul_options

CRS = "EPSG:26915"
WEST, NORTH = 450_000.0, 4_650_000.0
OPTIONS = haul_options(load_handbook())


def at(x: float, y: float) -> tuple[float, float]:
    """Meters east and south of the north-west corner."""
    return WEST + x, NORTH - y


def frame(*shapes) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"name": [""] * len(shapes)}, geometry=list(shapes), crs=CRS)


def patch(x0: float, y0: float, x1: float, y1: float):
    (left, top), (right, bottom) = at(x0, y0), at(x1, y1)
    return box(left, bottom, right, top)


@pytest.fixture
def stack():
    grid = GeoBox.from_bbox((WEST, NORTH - 800, WEST + 1200, NORTH), CRS, resolution=5)
    shape = tuple(grid.shape)
    return put(new_stack(grid), slope_pct=np.full(shape, 2.0), concentrated_flow=np.zeros(shape))


ZONES = frame(patch(40, 300, 240, 500)).assign(zone_id=["F1-a"])
YARDS = frame(patch(1040, 380, 1080, 420)).assign(yard_id=["Y1"])


def way(stack, surroundings=None, **kw) -> float:
    ground = haul_ground(stack, surroundings or {}, OPTIONS, **kw)
    return float(haul_distances(ZONES, YARDS, ground)[0, 0])


def test_on_open_ground_the_way_is_nearly_straight(stack):
    # mean distance from points spread over a 200 m square to a point 920 m from its middle
    rng = np.random.default_rng(0)
    x, y = rng.uniform(40, 240, 4000), rng.uniform(300, 500, 4000)
    straight = np.hypot(x - 1060, y - 400).mean()
    assert straight * 0.985 <= way(stack) <= straight * 1.03


def test_mapped_water_is_gone_round_and_a_road_bridges_it(stack):
    creek = frame(LineString([at(600, -10), at(600, 700)]))
    round_it = way(stack, {"water": creek})
    # round its end at the south: two legs of 460 m by 310 m, from the middle of the zone
    assert round_it == pytest.approx(2 * np.hypot(460, 310), rel=0.05)
    whole = frame(LineString([at(600, -10), at(600, 820)]))
    assert np.isinf(way(stack, {"water": whole}))
    road = frame(LineString([at(0, 400), at(1200, 400)]))
    assert way(stack, {"water": whole, "roads": road}) == pytest.approx(way(stack), rel=0.1)


def test_gathered_water_is_crossed_only_where_it_saves(stack):
    flow = np.zeros(stack["slope_pct"].shape, np.float32)
    flow[:130, 120] = 1  # a waterway, open at the south
    grassed = stack.assign(concentrated_flow=(("y", "x"), flow))
    assert way(grassed) == pytest.approx(way(stack), rel=0.05)  # twenty meters of it cost less than the round


def test_steep_ground_is_not_crossed(stack):
    slope = np.full(stack["slope_pct"].shape, 2.0, np.float32)
    slope[:, 118:126] = 30.0
    assert np.isinf(way(stack.assign(slope_pct=(("y", "x"), slope))))
    slope[140:, 118:126] = 6.0
    assert np.isfinite(way(stack.assign(slope_pct=(("y", "x"), slope))))


def test_a_field_with_a_gate_is_left_through_it(stack):
    fields = frame(patch(20, 200, 500, 600))
    gate = frame(Point(at(20, 400)))  # on the side away from the yard
    through = way(stack, {"gates": gate}, fields=fields)
    assert through > way(stack) + 200
    far = frame(Point(at(1100, 50)))  # a gate of somewhere else closes nothing
    assert way(stack, {"gates": far}, fields=fields) == pytest.approx(way(stack))


def test_refused_ground_is_gone_round(stack):
    refused = frame(patch(580, 100, 640, 800))
    assert way(stack, no_go=refused) > way(stack) * 1.05


def test_a_road_over_refused_ground_is_shut_and_one_along_its_edge_is_open(stack):
    creek = frame(LineString([at(600, -10), at(600, 820)]))
    road = frame(LineString([at(0, 400), at(1200, 400)]))
    around = {"water": creek, "roads": road}
    assert np.isfinite(way(stack, around))
    assert np.isinf(way(stack, around, no_go=frame(patch(580, 360, 620, 440))))
    assert np.isfinite(way(stack, around, no_go=frame(patch(500, 404, 700, 800))))


def test_unknown_slope_counts_as_flat_stubble(stack):
    blank = stack.assign(slope_pct=stack["slope_pct"] * np.nan)
    assert way(blank) == pytest.approx(way(stack))


def test_lines_join_zone_and_yard_and_follow_the_schema(stack):
    creek = frame(LineString([at(600, -10), at(600, 700)]))
    ground = haul_ground(stack, {"water": creek}, OPTIONS)
    flows = pd.DataFrame({"zone_id": ["F1-a"], "yard_id": ["Y1"], "bales": [9], "distance_m": [1200.0], "cost": [40.0]})
    lines = haul_lines(flows, ZONES, YARDS, ground)
    check_table(lines, "hauls", "the test")
    line = lines.geometry.iloc[0]
    assert line.distance(ZONES.geometry.iloc[0]) == 0
    assert line.distance(YARDS.geometry.iloc[0]) == 0
    assert line.disjoint(creek.geometry.iloc[0])
    assert lines.crs == ZONES.crs


@pytest.mark.parametrize("creek_m", [None, 700, 500])
def test_the_line_is_as_long_as_what_is_stated_though_a_zone_has_no_one_start(stack, creek_m):
    around = {"water": frame(LineString([at(600, -10), at(600, creek_m)]))} if creek_m else {}
    ground = haul_ground(stack, around, OPTIONS)
    corner = shapely.union_all([patch(40, 300, 540, 340), patch(40, 300, 80, 780)])  # its middle is far from the mean
    zones = frame(corner, patch(700, 20, 900, 700)).assign(zone_id=["F1-a", "F1-b"])
    stated = haul_distances(zones, YARDS, ground)[:, 0]
    rows = {"zone_id": zones["zone_id"], "yard_id": "Y1", "bales": 9, "distance_m": stated, "cost": 40.0}
    lines = haul_lines(pd.DataFrame(rows), zones, YARDS, ground)
    assert lines.length.to_numpy() == pytest.approx(stated, abs=OPTIONS.cell_m)
    assert all(line.distance(zone) == 0 for line, zone in zip(lines.geometry, zones.geometry, strict=True))


def test_a_zone_smaller_than_a_cell_and_no_yards(stack):
    ground = haul_ground(stack, {}, OPTIONS)
    tiny = frame(patch(101, 101, 103, 103))
    assert np.isfinite(haul_distances(tiny, YARDS, ground)).all()
    assert haul_distances(ZONES, YARDS.iloc[:0], ground).shape == (1, 0)


def test_a_standing_crop_is_gone_round(stack):
    crop = frame(patch(400, 100, 700, 780)).assign(crop_stands=True)
    free = way(stack, fields=crop.assign(crop_stands=False))
    round_it = way(stack, fields=crop)
    assert round_it > free * 1.02
    ground = haul_ground(stack, {}, OPTIONS, fields=crop)
    flows = pd.DataFrame(
        [("F1-a", "Y1", 10, round_it, 1.0)], columns=["zone_id", "yard_id", "bales", "distance_m", "cost"]
    )
    line = haul_lines(flows, ZONES, YARDS, ground).geometry.iloc[0]
    assert line.intersection(crop.geometry.iloc[0].buffer(-15)).is_empty
