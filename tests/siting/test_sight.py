"""Lines of sight against plane geometry and against a ray of its own for every cell; the criterion at work."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Transformer
from scipy.ndimage import gaussian_filter

from stovergeo.core.plugins import SITE_CRITERIA, load_plugins
from stovergeo.siting.sight import looking_places, places_max, seen_fraction

LOOK = {"eye_m": 1.7, "stack_m": 2.0, "reach_m": 400.0}


def wall(height: float, at: int, shape: tuple[int, int] = (41, 81)) -> tuple[np.ndarray, np.ndarray]:
    """Level ground with a wall across it, in the column `at`."""
    ground = np.zeros(shape, np.float32)
    surface = ground.copy()
    surface[:, at] = height
    return ground, surface


def test_open_level_ground_is_seen_wholly_and_less_with_distance():
    ground, _ = wall(0, 0)
    seen = seen_fraction(ground, ground, np.array([[20.0, 0.0]]), 5.0, **LOOK)
    assert seen[20, 0] == 1
    assert seen[20, 40] == pytest.approx(1 - 200 / 400)  # half as near counts half
    assert seen[20, 80] == 0  # at the reach


@pytest.mark.parametrize("height", [0.0, 0.9, 1.3, 1.7, 2.2, 12.0])
def test_a_wall_hides_what_two_similar_triangles_say(height):
    # CALC: the line from the eye over the wall, 1.7 + (h - 1.7) d / a, cuts the stack at its own distance
    at = 20
    ground, surface = wall(height, at)
    seen = seen_fraction(ground, surface, np.array([[20.0, 0.0]]), 5.0, **LOOK)[20]
    cells = np.arange(at + 1, 80)
    line = 1.7 + (height - 1.7) * cells / at
    expected = (1 - np.clip(line / 2.0, 0, 1)) * (1 - cells * 5 / 400)
    assert seen[cells] == pytest.approx(expected, abs=1e-6)
    assert seen[1:at] == pytest.approx(1 - np.arange(1, at) * 5 / 400)  # before it all is seen


def ray_of_its_own(ground, surface, place, cell, eye_m, stack_m, reach_m):
    """A ray from the place to each cell's middle, surface interpolated where it crosses the grid's lines."""
    i0, j0 = place
    z0 = ground[i0, j0] + eye_m
    out = np.zeros(ground.shape)
    for i, j in np.ndindex(ground.shape):
        di, dj = i - i0, j - j0
        n = max(abs(di), abs(dj))
        away = np.hypot(di, dj) * cell
        if away >= reach_m:
            continue
        slope = -np.inf
        for k in range(1, n):
            y, x = i0 + di * k / n, j0 + dj * k / n
            a, b = int(np.floor(y + 1e-9)), int(np.floor(x + 1e-9))
            p, q = y - a, x - b
            z = (
                surface[a, b] * (1 - p) * (1 - q)
                + surface[min(a + 1, len(surface) - 1), b] * p * (1 - q)
                + surface[a, min(b + 1, surface.shape[1] - 1)] * (1 - p) * q
            )
            slope = max(slope, (z - z0) / (cell * np.hypot(y - i0, x - j0)))
        hidden = 0.0 if n == 0 else np.clip((z0 + slope * away - ground[i, j]) / stack_m, 0, 1)
        out[i, j] = (1 - hidden) * (1 - away / reach_m)
    return out


@pytest.mark.parametrize("seed", range(6))
def test_rays_to_the_rim_see_what_a_ray_to_every_cell_sees(seed):
    rng = np.random.default_rng(seed)
    ground = gaussian_filter(rng.standard_normal((61, 61)), 6) * 120
    surface = ground + np.where(gaussian_filter(rng.standard_normal((61, 61)), 2) > 0.15, 8.0, 0.0)
    place = int(rng.integers(5, 56)), int(rng.integers(5, 56))
    options = {"eye_m": 1.7, "stack_m": 2.0, "reach_m": 300.0}
    ours = seen_fraction(
        ground.astype(np.float32), surface.astype(np.float32), np.array([place], float), 5.0, **options
    )
    exact = ray_of_its_own(ground, surface, place, 5.0, **options)
    # one place weighs less than a whole one, so the mean is its own view times its nearness
    assert 0.02 < exact.mean() < 0.6
    assert np.abs(ours - exact).mean() < 0.01
    i, j = place
    assert ours[i] == pytest.approx(exact[i], abs=1e-4)  # these rays are the same
    assert ours[:, j] == pytest.approx(exact[:, j], abs=1e-4)


def test_many_places_give_their_mean_by_nearness():
    ground, surface = wall(50.0, 40)
    places = np.array([[20.0, 10.0], [20.0, 70.0]])
    seen = seen_fraction(ground, surface, places, 5.0, **LOOK)
    near, far = 1 - 50 / 400, 1 - 250 / 400
    assert seen[20, 20] == pytest.approx(near / (near + far), abs=1e-6)  # only the one on its side of the wall sees it


def test_a_place_off_the_map_looks_in_and_one_too_far_does_not():
    ground, surface = wall(50.0, 40)
    seen = seen_fraction(ground, surface, np.array([[20.0, -20.0]]), 5.0, **LOOK)
    assert seen[20, 0] == pytest.approx(1 - 100 / 400)
    assert seen[20, 41] == 0
    assert not seen_fraction(ground, surface, np.array([[20.0, -200.0]]), 5.0, **LOOK).any()


def test_unknown_ground_is_not_called_hidden():
    ground, surface = wall(0.0, 40)
    ground[:, 60:], surface[:, 60:] = np.nan, np.nan
    seen = seen_fraction(ground, surface, np.array([[20.0, 10.0]]), 5.0, **LOOK)
    assert np.isnan(seen[:, 60:]).all()
    assert np.isfinite(seen[:, :60]).all()


def test_a_dwelling_looks_out_past_its_own_walls():
    house = shapely.box(0, 0, 10, 8)
    at = looking_places(
        np.array([house, shapely.Point(50, 50), shapely.LineString([(0, 90), (200, 90)])]), 50, 7.5, 900
    )
    away = shapely.distance(shapely.points(at), house)
    assert (away > 6.9).all()
    assert (away < 8).sum() >= 4
    assert [50, 50] in at.tolist()
    assert (at[:, 1] == 90).sum() == 4
    few = looking_places(np.array([shapely.LineString([(0, 0), (1e6, 0)])]), 50, 7.5, places_max(200))
    assert len(few) <= places_max(200)


def ridge_between(g, height):
    """Ground that rises to a ridge between the road in the west and the east half."""
    g.spoil("elevation_m", g.x > -1, 300.0)
    g.spoil("elevation_m", np.abs(g.x - 300) < 30, 300.0 + height)
    g.add("roads", shapely.LineString([(20, 0), (20, 600)]))
    return g


@pytest.mark.parametrize(("height", "hidden"), [(15.0, True), (0.0, False)])
def test_a_ridge_between_road_and_yard_hides_it(ground, height, hidden):
    g = ridge_between(ground(plan={"weights": {"visibility": 3.0}}), height)
    found, _, ratings = g.find(150)
    east = ratings.of("visibility").rating.value.values[g.x > 340]
    assert (east.max() == 0) == hidden
    if not hidden:
        assert east.min() > 0.2
    west = ratings.of("visibility").rating.value.values[g.x < 260]
    assert west.min() > 0.6
    first = found.stacks[found.stacks["yard_id"] == "Y1"].geometry.union_all()
    said = found.ratings[(found.ratings["yard_id"] == "Y1") & (found.ratings["criterion"] == "visibility")]
    if hidden:
        assert g.local(first).bounds[0] > 300  # behind the edge of the ridge
        assert said["message"].iloc[0].key == "visibility.hidden_wished"
    else:
        assert said["message"].iloc[0].key.startswith("visibility.seen")


def test_an_owner_may_wish_to_see_the_stacks(ground):
    plan = {"weights": {"visibility": 3.0}, "visibility": {"wish": "in view", "from": ["roads"]}}
    g = ridge_between(ground(plan=plan), 15.0)
    found, _, _ = g.find(150)
    assert g.local(found.yards.geometry.iloc[0]).bounds[2] < 300


def test_a_place_the_plan_names_looks_too(ground):
    to_lonlat = Transformer.from_crs("EPSG:32615", 4326, always_xy=True)
    lon, lat = to_lonlat.transform(500_000 + 500, 4_650_000 + 300)
    places = [{"name": "Kitchen window", "lat": lat, "lon": lon}]
    plan = {"weights": {"visibility": 3.0}, "visibility": {"from": [], "places": places}}
    g = ridge_between(ground(plan=plan), 15.0)
    _, _, ratings = g.find(150)
    value = ratings.of("visibility").rating.value.values
    assert value[g.x < 260].max() == 0
    assert value[(np.abs(g.x - 500) < 3) & (np.abs(g.y - 300) < 3)].max() > 0.99
    plan["visibility"]["places"] = [{"name": "Kitchen window", "lat": lat, "lon": -lon}]
    _, _, ratings = ridge_between(ground(plan=plan), 15.0).find(150)
    assert ratings.not_checked["visibility"].values["name"] == "Kitchen window"


def test_a_layer_looked_from_must_be_there(ground):
    g = ridge_between(ground(plan={"weights": {"visibility": 1.0}}, without=("dwellings",)), 15.0)
    _, ratings = g.rate()
    assert "`dwellings`" in str(ratings.not_checked["visibility"])


def test_both_options_stay_off_until_the_plan_weighs_or_names_them(ground):
    optional = {p.name for p in load_plugins(SITE_CRITERIA) if getattr(p.thing, "optional", False)}
    assert {"visibility", "neighbors"} <= optional
    _, ratings = ridge_between(ground(), 15.0).rate()
    assert not optional & ({r.name for r in ratings.rated} | set(ratings.not_checked))
    g = ridge_between(ground(plan={"weights": dict.fromkeys(optional, 1.0)}), 15.0)
    assert optional <= {r.name for r in g.rate()[1].rated}
    g = ridge_between(ground(plan={"criteria": ("slope", "visibility")}), 15.0)
    stack, ratings = g.rate()
    assert {r.name: r.weight for r in ratings.rated} == {"slope": 2.0, "visibility": 0.0}  # shown, not weighed
    assert np.ptp(stack["yard_score"].values) == 0


def test_places_of_a_read_only_column_are_found():
    column = np.array([shapely.Point(3, 4)], dtype=object)
    column.flags.writeable = False
    assert looking_places(column, 50, 7.5, places_max(200)).tolist() == [[3, 4]]
