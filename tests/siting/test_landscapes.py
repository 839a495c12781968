"""Landscapes whose best place is known: it is found, and a point that was passed over is explained.

Each case says where the best yard must stand (all its bales), and for a runner-up point
the words that must tell why it is worse. All ground is made up.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from stovergeo.core.printing import render

TREE_LINE = shapely.box(0, 295, 600, 305)
CASES = {}


def case(function):
    CASES[function.__name__] = function
    return function


def _road(g, x=20.0):
    return g.add("roads", shapely.LineString([(x, -50), (x, 650)]))


@case
def bench_above_a_valley(g):
    g.spoil("slope_pct", g.y < 600, 14.0).spoil("slope_pct", (g.y > 300) & (g.y < 400), 3.0)
    g.spoil("slope_pct", g.y < 100, 0.8).spoil("drainage_height_m", g.y < 100, 0.2).spoil(
        "flooding_class", g.y < 100, 4
    )
    return shapely.box(0, 300, 600, 400), (300, 50), "flood"


@case
def south_of_a_tree_line_not_north_of_it(g):
    g.add("trees", TREE_LINE, height_m=20.0)
    g.spoil("sun_fraction", (g.y > 305) & (g.y < 600), 0.7)
    return shapely.box(0, 0, 600, 295), (300, 340), "sun"


@case
def gravel_knoll_in_a_clay_flat(g):
    g.spoil("clay_pct", g.y < 600, 62.0).spoil("drainage_class", g.y < 600, 6)
    knoll = np.hypot(g.x - 400, g.y - 200) < 90
    g.spoil("clay_pct", knoll, 12.0).spoil("drainage_class", knoll, 2)
    return shapely.Point(400, 200).buffer(95), (100, 500), "soak"


@case
def wire_across_the_only_dry_ground(g):
    g.spoil("drainage_class", (g.y < 200) | (g.y > 400), 7)
    g.add("overhead_lines", shapely.LineString([(200, 0), (200, 600)]))
    clear = 15.24 + 1.8288  # 50 ft and a bale's height
    wire = shapely.LineString([(200, 0), (200, 600)])
    return shapely.box(0, 200, 600, 400).difference(wire.buffer(clear)), (210, 300), "overhead line"


@case
def hollow_in_the_middle(g):
    g.spoil("ponding_m", np.hypot(g.x - 300, g.y - 300) < 200, 0.4)
    return shapely.box(0, 0, 600, 600).difference(shapely.Point(300, 300).buffer(195)), (300, 300), "hollow"


@case
def bottom_ground_beside_a_stream(g):
    g.add("water", shapely.LineString([(0, 0), (0, 600)])).spoil("drainage_height_m", g.x < 300, 0.3)
    return shapely.box(300, 0, 600, 600), (200, 300), "Bottom ground"


@case
def a_well_where_it_would_be_handiest(g):
    _road(g).add("wells", shapely.Point(60, 300))
    g.spoil("slope_pct", (g.y < 180) | (g.y > 420), 9.0)
    return shapely.box(0, 180, 600, 420).difference(shapely.Point(60, 300).buffer(76)), (80, 300), "well"


@case
def a_neighbors_house(g):
    g.add("dwellings", shapely.box(290, 290, 310, 310))
    return shapely.box(0, 0, 600, 600).difference(shapely.box(290, 290, 310, 310).buffer(91)), (330, 330), "dwelling"


@case
def beside_the_road_but_clear_of_it(g):
    _road(g, 300.0)
    g.plan["weights"] = {"access": 3}
    return shapely.box(175, 0, 425, 600).difference(shapely.box(266, 0, 334, 600)), (310, 300), "road"


@case
def only_the_east_half_is_ours(g):
    g.spoil("inside_property", g.x < 300, 0).add("property", shapely.box(300, 0, 700, 600))
    return shapely.box(315.2, 0, 600, 600), (100, 300), "Outside"


@case
def the_best_place_is_refused(g):
    g.spoil("sun_fraction", (g.x < 300), 0.8)
    g.add("no_go", shapely.box(300, 0, 600, 600))
    return shapely.box(0, 0, 300, 600), (450, 300), "said no"


@case
def the_shoulder_not_the_flat_top(g):
    g.spoil("slope_pct", g.x < 400, 0.7).spoil("slope_pct", g.x > 500, 7.5)
    return shapely.box(395, 0, 505, 600), (200, 300), "flat"


@case
def the_slope_to_the_south(g):
    g.spoil("aspect_deg", g.y > 300, 0.0)
    return shapely.box(0, 0, 600, 305), (300, 500), "north"


@case
def good_island_that_no_machine_reaches(g):
    _road(g)
    g.add("water", shapely.Point(420, 420).buffer(120).boundary)
    g.plan["setbacks"] = {"water": "10 ft"}
    g.spoil("clay_pct", np.hypot(g.x - 420, g.y - 420) > 120, 35)
    return shapely.box(0, 0, 600, 600).difference(shapely.Point(420, 420).buffer(119)), (420, 420), "No route"


@case
def good_top_behind_steep_sides(g):
    _road(g)
    away = np.hypot(g.x - 420, g.y - 300)
    g.spoil("slope_pct", (away > 90) & (away < 120), 30.0).spoil("sun_fraction", away > 90, 0.85)
    return shapely.box(0, 0, 600, 600).difference(shapely.Point(420, 300).buffer(90)), (420, 300), "No route"


@case
def where_the_water_table_is_deep(g):
    g.spoil("water_table_cm", g.x < 350, 60)
    return shapely.box(345, 0, 600, 600), (100, 100), "Water comes within 60 cm"


@case
def well_drained_before_somewhat_poorly(g):
    g.spoil("drainage_class", g.y > 200, 5)
    return shapely.box(0, 0, 600, 205), (300, 500), "Somewhat poorly drained"


@case
def clear_of_a_waterway(g):
    g.spoil("concentrated_flow", np.abs(g.x - g.y) < 8, 1)
    return (
        shapely.box(0, 0, 600, 600).difference(shapely.LineString([(0, 0), (600, 600)]).buffer(30)),
        (300, 310),
        "waterway",
    )


@case
def not_on_hydric_soil(g):
    g.spoil("hydric", g.x < 400, 1)
    return shapely.box(395, 0, 600, 600), (200, 200), "wetland"


@case
def the_pad_nearer_to_the_field(g):
    g.spoil("field_number", g.x < 100, 0)
    g.spoil("slope_pct", (g.x > 100) & (g.x < 480), 9.0)
    g.spoil("slope_pct", (g.x > 110) & (g.x < 190), 3.0)
    g.plan["weights"] = {"haul": 3, "field_edge": 0}
    return shapely.box(0, 0, 190, 600), (550, 300), "come from"


@case
def the_edge_of_the_field_not_its_middle(g):
    g.spoil("field_number", (g.x > 10) & (g.x < 590) & (g.y > 10) & (g.y < 590), 0)
    g.plan["weights"] = {"haul": 0}
    return shapely.box(0, 0, 600, 600).difference(shapely.box(100, 100, 500, 500)), (300, 300), "in the way of planting"


@case
def out_of_the_snow_drift(g):
    g.add("trees", TREE_LINE, height_m=12.0)
    g.plan["wind_from_deg"] = 0
    return shapely.box(0, 305, 600, 600), (300, 220), "drifts"


@case
def the_growers_own_place(g):
    g.add("yards", shapely.box(380, 100, 480, 200), name="Old yard")
    return shapely.box(380, 100, 480, 200), (100, 500), "New place"


@case
def out_of_reach_of_tall_trees(g):
    g.add("trees", shapely.box(0, 0, 300, 600), height_m=40.0)
    return shapely.box(340, 0, 600, 600), (320, 300), "falling tree"


@case
def drier_by_the_lie_of_the_ground(g):
    g.spoil("wetness", g.y < 600, 1.0)
    g.changes["wetness"] = 2 + g.x / 60
    return shapely.box(0, 0, 310, 600), (550, 300), "Water gathers"


@case
def a_headland_between_ditch_and_wood(g):
    g.plan["setbacks"] = {"water": "50 ft", "trees": "33 ft"}
    g.add("water", shapely.LineString([(100, 0), (100, 600)])).add(
        "trees", shapely.box(145, 0, 600, 600), height_m=10.0
    )
    g.spoil("slope_pct", g.x < 100, 11.0)
    return shapely.box(115.2, 0, 135, 600), (300, 300), "tree crown"


@case
def a_strip_along_the_south_road(g):
    g.add("roads", shapely.LineString([(-50, -20), (650, -20)])).spoil("slope_pct", g.y > 35, 9.0)
    g.plan["setbacks"] = {"road": "40 ft"}
    return shapely.box(0, 0, 600, 35), (300, 300), "Too steep"


@case
def out_of_sight_of_the_road_behind_a_rise(g):
    g.spoil("elevation_m", g.x > -1, 300.0).spoil("elevation_m", np.abs(g.x - 200) < 20, 306.0)
    g.add("roads", shapely.LineString([(20, 0), (20, 600)]))
    g.plan["weights"] = {"visibility": 3.0}
    return shapely.box(195, 0, 600, 600), (100, 300), "against the plan's wish"


@case
def in_view_of_the_house_against_thieves(g):
    g.spoil("elevation_m", g.x > -1, 300.0).spoil("elevation_m", np.abs(g.x - 300) < 20, 306.0)
    g.add("buildings", shapely.box(40, 290, 60, 310), height_m=6.0)
    g.plan |= {"weights": {"visibility": 3.0}, "visibility": {"wish": "in view", "from": ["buildings"]}}
    return shapely.box(0, 0, 321, 600).difference(shapely.box(40, 290, 60, 310).buffer(30)), (500, 300), "Out of sight"


@case
def away_from_the_neighbors_farmstead(g):
    g.add("property", shapely.box(-100, -100, 640, 700)).add("dwellings", shapely.box(690, 290, 710, 310))
    g.plan |= {"weights": {"neighbors": 4.0}, "wind_from_deg": 270}
    house = shapely.box(690, 290, 710, 310)
    return shapely.box(0, 0, 600, 600).difference(house.buffer(480)), (560, 300), "nearest neighbor's house"


@pytest.mark.parametrize("name", CASES)
def test_best_place_is_found_and_the_runner_up_explained(ground, name):
    g = ground()
    best, (x, y), said = CASES[name](g)
    found, stack, ratings = g.find(bales=150)
    assert len(found.yards), found.messages
    rows = found.stacks[found.stacks["yard_id"] == "Y1"].geometry.union_all()
    stray = g.local(rows).difference(best.buffer(1e-6)).area
    assert stray == pytest.approx(0, abs=1e-6), f"{g.local(rows).bounds} lies outside {best.bounds}"
    row, col = (round(float(n)) for n in ratings.site.row_col(np.array([[x + 500_000, y + 4_650_000]]))[0])
    told = [*(r.message_at(row, col) for r in ratings.rated), *ratings.not_checked.values()]
    assert any(said.lower() in render(message, "metric").lower() for message in told)
    first = found.yards.iloc[0]
    here = stack.isel(y=row, x=col)
    assert first["score"] >= float(here["yard_score"]) or not float(here["yard_allowed"])
    assert first["reason"].values["sentences"]


def test_there_are_at_least_twenty_landscapes():
    assert len(CASES) >= 20
