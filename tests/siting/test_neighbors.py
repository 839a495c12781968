"""Neighbors by distance, number and wind; only those off the property count."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

HOUSE = shapely.box(690, 290, 710, 310)  # 90 m beyond the property line in the east
REACH = 500.0


def farm(ground, *houses, **plan):
    g = ground(plan={"weights": {"neighbors": 2.0}, **plan})
    g.add("property", shapely.box(-100, -100, 610, 700))
    for house in houses:
        g.add("dwellings", house)
    return g


def at(g, ratings, x, y):
    """Score, value and message of the cell round a point."""
    i, j = int((g.side - y) / g.cell_m), int(x / g.cell_m)
    r = ratings.of("neighbors")
    middle = shapely.Point(g.x[i, j], g.y[i, j])
    return middle, float(r.rating.score.values[i, j]), float(r.rating.value.values[i, j]), r.message_at(i, j)


def test_one_neighbor_counts_by_the_distance_to_its_walls(ground):
    g = farm(ground, HOUSE)
    _, ratings = g.rate()
    for x, y in [(595, 300), (400, 100), (300, 500)]:
        middle, score, value, told = at(g, ratings, x, y)
        assert value == pytest.approx(middle.distance(HOUSE), abs=1e-3)
        assert score == pytest.approx(middle.distance(HOUSE) / REACH, abs=1e-5)
        assert (told.key, told.values["value"]) == ("neighbors.nearest", value)
    _, score, value, told = at(g, ratings, 100, 300)
    assert score == 1
    assert np.isnan(value)
    assert (told.key, told.values["limit"]) == ("neighbors.none", REACH)


def test_more_neighbors_multiply_and_a_farmstead_is_one(ground):
    other, barn = shapely.Point(700, 600), shapely.box(720, 290, 740, 330)
    g = farm(ground, HOUSE, other)
    g.add("buildings", barn, height_m=8.0)  # 10 m from the house: the same place
    _, ratings = g.rate()
    middle, score, _, told = at(g, ratings, 590, 440)
    assert score == pytest.approx(middle.distance(HOUSE) / REACH * middle.distance(other) / REACH, abs=1e-5)
    assert told.key == "neighbors.others"


def test_the_growers_own_dwelling_is_no_neighbor(ground):
    g = farm(ground, shapely.box(300, 300, 320, 320))
    _, ratings = g.rate()
    r = ratings.of("neighbors").rating
    assert (r.score.values == 1).all()
    assert np.isnan(r.value.values).all()


def test_wind_towards_a_neighbor_counts_whole_and_from_it_half(ground):
    scores = {}
    for wind in (270, 90, 0):  # from the west: toward the house; from the east; across
        g = farm(ground, HOUSE, wind_from_deg=wind)
        _, ratings = g.rate()
        middle, scores[wind], value, told = at(g, ratings, 400, 300)
        near = 1 - value / REACH
        assert told.key == ("neighbors.nearest" if wind == 270 else "neighbors.upwind")
    assert scores[270] == pytest.approx(1 - near, abs=1e-4)
    assert scores[90] == pytest.approx(1 - near * 0.5, abs=1e-4)
    assert scores[0] == pytest.approx(scores[90], abs=0.01)
    # half way between: the part of the wind that blows toward it
    g = farm(ground, HOUSE, wind_from_deg=315)
    _, ratings = g.rate()
    middle, score, _, _ = at(g, ratings, 400, 300)
    turn = np.cos(np.radians(45) - np.arctan2(middle.y - 300, 700 - middle.x))
    assert score == pytest.approx(1 - near * (0.5 + 0.5 * turn), abs=1e-3)


def test_the_yard_goes_away_from_the_neighbors(ground):
    house = shapely.Point(630, 300)
    far, _, _ = farm(ground, house, weights={"neighbors": 4.0}, most=1).find(150)
    stacks = far.stacks.geometry.union_all()
    assert stacks.distance(shapely.Point(500_630, 4_650_300)) > REACH
    said = far.ratings.set_index("criterion").loc["neighbors", "message"]
    assert said.key == "neighbors.none"


@pytest.mark.parametrize(("without", "word"), [(("property",), "`property`"), (("dwellings", "buildings"), "`dwell")])
def test_what_is_lacking_is_reported(ground, without, word):
    g = ground(plan={"weights": {"neighbors": 1.0}}, without=without)
    _, ratings = g.rate()
    assert word in str(ratings.not_checked["neighbors"])
