"""No bale stands on a road or within its clear distance, however a road lies to the grid.

Roads are narrower than a cell, on the border or the middle of cells, diagonal, ending in the site, crossing
themselves, without length. Measured with shapely from the drawn rows to the road as it was given.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from stovergeo.core.coefficients import load_handbook
from stovergeo.siting.criteria import setbacks

HALF = load_handbook().value("setbacks.road_half_width")
SIDE = 150.0
ROADS = {
    "on the border of cells": shapely.LineString([(70, -20), (70, 170)]),
    "on the middle of cells": shapely.LineString([(72.5, -20), (72.5, 170)]),
    "a hair beside the border": shapely.LineString([(70 + 1e-9, -20), (70 - 1e-9, 170)]),
    "diagonal": shapely.LineString([(-20, -20), (170, 170)]),
    "nearly along the rows": shapely.LineString([(66, -20), (74, 170)]),
    "through corners of cells": shapely.LineString([(0, 150), (150, 0)]),
    "ending in the site": shapely.LineString([(-20, 71.3), (72.1, 71.3)]),
    "ending on a corner of cells": shapely.LineString([(-20, 40), (70, 70)]),
    "wholly inside one cell": shapely.LineString([(71, 71), (73, 72)]),
    "without length": shapely.LineString([(71, 71), (71, 71)]),
    "there and back": shapely.LineString([(20, 75), (130, 75), (20, 75)]),
    "crossing itself": shapely.LineString([(20, 20), (130, 130), (130, 20), (20, 130)]),
    "a loop": shapely.LineString([(40, 40), (110, 40), (110, 110), (40, 110), (40, 40)]),
    "in pieces": shapely.MultiLineString([[(70, -20), (70, 60)], [(70, 90), (70, 170)]]),
    "a strip of half a meter": shapely.box(70.2, -20, 70.7, 170),
    "a strip without width": shapely.Polygon([(70, 0), (70, 150), (70, 0)]),
    "a slanting strip": shapely.LineString([(-20, 30), (170, 110)]).buffer(0.4, cap_style="flat"),
}


def pressed(ground, road, rows, asked, cell_m):
    """A strip of ground round a road, full of bales; gives rows of bales, and the distance they must keep."""
    g = ground(cells=round(SIDE / cell_m), cell_m=cell_m)
    g.plan = {"rows": rows, "setbacks": {"road": f"{asked} m"}, "min_bales": 10, "fire_gap": "7 m", "most": 6}
    g.add("roads", road)
    g.spoil("slope_pct", shapely.distance(shapely.points(g.x, g.y), road) > 30 + asked, 15.0)
    found, _, _ = g.find(bales=2000)
    drawn = np.array([g.local(row) for row in shapely.get_parts(found.stacks.geometry.to_numpy())], dtype=object)
    return drawn, asked + (0.0 if "Polygon" in road.geom_type else HALF)


@pytest.mark.parametrize("name", ROADS)
@pytest.mark.parametrize(("rows", "asked", "cell_m"), [("north-south", 0.0, 5.0), ("best angle", 0.0, 10.0)])
def test_no_bale_on_a_road_nor_within_its_clear_distance(ground, name, rows, asked, cell_m):
    drawn, clear = pressed(ground, ROADS[name], rows, asked, cell_m)
    away = shapely.distance(drawn, ROADS[name])
    assert away.min() >= clear - 1e-6
    assert not shapely.intersects(drawn, ROADS[name]).any()
    assert len(drawn) > 10
    assert away.min() < clear + 3 * cell_m  # the rows are pressed against it: this could fail


@pytest.mark.parametrize("name", ["diagonal", "nearly along the rows", "ending in the site", "a strip of half a meter"])
@pytest.mark.parametrize("asked", [0.5, 3.7, 10.0584])
def test_the_plans_own_clear_distance_is_kept(ground, name, asked):
    drawn, clear = pressed(ground, ROADS[name], "down slope", asked, 3.0)
    assert shapely.distance(drawn, ROADS[name]).min() >= clear - 1e-6
    assert len(drawn) > 10


def test_a_road_through_degrees_and_back_is_kept_clear(ground):
    g = ground(cells=30, plan={"setbacks": {"road": "0 m"}, "min_bales": 10})
    g.add("roads", ROADS["diagonal"])
    around = g.surroundings()
    exact = around["roads"].geometry.iloc[0]
    around["roads"] = gpd.GeoDataFrame(around["roads"].to_crs(4326).to_crs(around["roads"].crs))
    g.surroundings = lambda: around
    found, _, _ = g.find(bales=2000)
    assert shapely.distance(shapely.get_parts(found.stacks.geometry.to_numpy()), exact).min() >= HALF - 1e-6


@pytest.mark.parametrize("name", ["diagonal", "on the border of cells", "a loop"])
def test_rows_are_measured_once_more_should_the_drawn_distance_fail(ground, name, monkeypatch):
    monkeypatch.setattr(setbacks, "around", lambda shapes, distance: shapely.Polygon())
    drawn, clear = pressed(ground, ROADS[name], "north-south", 0.0, 5.0)
    assert len(drawn) > 10
    assert shapely.distance(drawn, ROADS[name]).min() >= clear
