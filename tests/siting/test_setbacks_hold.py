"""No drawn bale, and no outline of a yard, comes nearer to a hazard than its clear distance.

Measured with shapely on the tables that come out, against the layers that went in; the
search itself is not asked.
"""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook

SIDE = 240.0
BALE_HEIGHT = 6 * 0.3048
COEFFICIENTS = load_handbook()
EPS = 1e-6

#: surveyed to the decimetre, as layers are; not to a millionth of an atom
decimetres = st.integers(-200, round(10 * SIDE) + 200).map(lambda d: d / 10)
places = st.tuples(decimetres, decimetres)


@st.composite
def shapes(draw, kind):
    x, y = draw(places)
    if kind == "point":
        return shapely.Point(x, y)
    if kind == "line":
        more = [draw(places) for _ in range(draw(st.integers(1, 3)))]
        return shapely.LineString([(x, y), *more])
    size = draw(st.floats(2, 50))
    corners = draw(st.integers(3, 7))
    turn = draw(st.floats(0, 6.28))
    angle = turn + np.arange(corners) * 2 * np.pi / corners
    return shapely.Polygon(np.c_[x + size * np.cos(angle), y + size * np.sin(angle) * draw(st.floats(0.2, 1))])


HAZARDS = {
    "wells": ("well", "point"),
    "dwellings": ("dwelling", "area"),
    "buildings": ("building", "area"),
    "water": ("water", "line"),
    "roads": ("road", "line"),
    "overhead_lines": ("overhead_line", "line"),
    "trees": ("trees", "area"),
}


@st.composite
def landscapes(draw):
    hazards = {}
    for layer, (_, kind) in HAZARDS.items():
        hazards[layer] = [draw(shapes(kind)) for _ in range(draw(st.integers(0, 2)))]
    # the plan may lower or raise any clear distance
    own = {key: draw(st.one_of(st.none(), st.integers(0, 600).map(lambda d: d / 10))) for key, _ in HAZARDS.values()}
    margin = draw(st.integers(-400, 300)) / 10
    return {
        "hazards": hazards,
        "own": {k: v for k, v in own.items() if v is not None},
        "property": shapely.box(margin, margin, SIDE - margin, SIDE),
        "no_go": draw(st.one_of(st.none(), shapes("area"))),
        "rows": draw(st.sampled_from(["north-south", "best angle", "down slope"])),
        "aspect": draw(st.floats(0, 359)),
        "cell_m": draw(st.sampled_from([3.0, 5.0, 10.0])),
        "wet": draw(st.tuples(places, st.floats(0, 100))),
        "fire_gap": draw(st.floats(6.5, 40)),
    }


def clear_of(layer: str, own: dict[str, float]) -> float:
    key, _ = HAZARDS[layer]
    asked = own.get(key, COEFFICIENTS.value(f"setbacks.{key}"))
    if layer == "overhead_lines":
        return asked + BALE_HEIGHT
    return max(asked, BALE_HEIGHT) if layer == "buildings" else asked


@settings(
    max_examples=examples(25, long=250),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking would run thousands of searches
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(landscape=landscapes())
def test_no_bale_violates_a_setback(ground, landscape):
    own = landscape["own"]
    g = ground(cells=round(SIDE / landscape["cell_m"]), cell_m=landscape["cell_m"])
    g.plan = {
        "rows": landscape["rows"],
        "setbacks": {k: f"{v!r} m" for k, v in own.items()},
        "fire_gap": f"{landscape['fire_gap']!r} m",
        "min_bales": 12,
        "most": 4,
    }
    for layer, found in landscape["hazards"].items():
        for shape in found:
            g.add(layer, shape, height_m=9.0)
    g.add("property", landscape["property"])
    if landscape["no_go"] is not None:
        g.add("no_go", landscape["no_go"])
    (wet_x, wet_y), radius = landscape["wet"]
    wet = np.hypot(g.x - wet_x, g.y - wet_y) < radius
    g.spoil("ponding_m", wet, 0.5).spoil("aspect_deg", g.x > -1, landscape["aspect"])
    inside = shapely.contains_xy(landscape["property"], g.x, g.y)
    g.spoil("inside_property", ~inside, 0)

    found, stack, _ = g.find(bales=120)

    rows = np.array([g.local(row) for row in shapely.get_parts(found.stacks.geometry.to_numpy())], dtype=object)
    yards = np.array([g.local(yard) for yard in found.yards.geometry], dtype=object)
    for layer, hazards in landscape["hazards"].items():
        for hazard in hazards:
            asked = clear_of(layer, own)
            assert (shapely.distance(rows, hazard) >= asked - EPS).all(), layer
            assert (shapely.distance(yards, hazard) >= asked - EPS).all(), f"outline and {layer}"
            assert not shapely.intersects(rows, hazard).any(), f"{layer}: on the thing itself"
    line = landscape["property"].boundary
    assert (shapely.distance(rows, line) >= COEFFICIENTS.value("setbacks.property_line") - EPS).all()
    assert shapely.contains_properly(landscape["property"], rows).all()
    if landscape["no_go"] is not None:
        assert not shapely.intersects(rows, landscape["no_go"]).any()
        assert not shapely.intersects(yards, landscape["no_go"]).any()
    half = g.cell_m / 2
    forbidden = stack["yard_allowed"].values < 1
    cells = shapely.box(g.x - half, g.y - half, g.x + half, g.y + half)[forbidden]
    tree = shapely.STRtree(cells)
    for row in rows:
        touched = cells[tree.query(row)]
        assert shapely.area(shapely.intersection(touched, row)).sum() < 1e-4

    # stacks stand a fire gap apart, also those of different yards, and hold what the table says
    for k, one in enumerate(found.stacks.geometry):
        for other in found.stacks.geometry[k + 1 :]:
            assert one.distance(other) >= landscape["fire_gap"] - EPS
    per_bale = 1.524 * 1.8288
    assert np.allclose(found.stacks.geometry.area, found.stacks["bales"] * per_bale, rtol=1e-6)
    assert (found.stacks["mass_mg"] <= 90.718474 + EPS).all()
    held = found.stacks.groupby("yard_id")["bales"].sum()
    assert (held.reindex(found.yards["yard_id"]) == found.yards["capacity_bales"].to_numpy()).all()
