"""Whatever an answer file holds, it is read or refused with named problems, and what is read can be planned with.

A few examples here; `--fuzz-minutes 30` runs each harness for half an hour.
"""

from __future__ import annotations

import copy
import json

import geopandas as gpd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from long_run import harness
from sound_answer import GOOD

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan.layers import Layer
from stovergeo.inputs.vector import read_layer
from stovergeo.report import add_answer, read_answer


@pytest.fixture
def judged(result, tmp_path):
    """Take a file's bytes through every step of an answer: read near the farm, added to the plan, read as its layer."""

    def judge(written: bytes) -> None:
        path = tmp_path / "answer.geojson"
        path.write_bytes(written)
        report = Report()
        try:
            answer = read_answer(path, report, near=result.fields, plan_key="0123456789ab")
        except InputError:
            answer = None
        assert (answer is None) == bool(report.refused)
        if answer is None:
            return
        assert set(answer.yards["answer"]) <= {"yes", "no", "maybe", ""}
        assert answer.no_go.geometry.is_valid.all()
        assert answer.yards.geometry.is_valid.all()
        assert all("\x00" not in line for line in map(str, answer.messages()))
        layer = tmp_path / "no_go.geojson"
        layer.unlink(missing_ok=True)
        plan = add_answer(result.plan, answer, layer, Report())
        refused = answer.refused()
        assert layer.exists() == (len(refused) > 0)
        if len(refused):
            back = read_layer(Layer(path=plan.landowner.no_go), plan, "no_go", Report())
            # rounding can lay a corner across the line that it touches; that moves no ground
            ground = gpd.GeoSeries(refused.geometry.to_numpy(), crs=4326).to_crs(result.crs).make_valid()
            assert back.to_crs(result.crs).make_valid().union_all().symmetric_difference(ground.union_all()).area < 1.0

    return judge


leaf = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
tree = st.recursive(
    leaf,
    lambda below: st.lists(below, max_size=4) | st.dictionaries(st.text(max_size=8), below, max_size=4),
    max_leaves=12,
)


@harness(150, given(data=st.data()))
def test_anything_json_can_hold_at_any_places(judged, data):
    """One to three places of a sound answer are replaced, doubled or taken out."""
    answer = copy.deepcopy(GOOD)
    for _ in range(data.draw(st.integers(1, 3))):
        place = answer
        while True:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = data.draw(st.sampled_from(keys))
            if isinstance(place[key], dict | list) and place[key] and data.draw(st.booleans()):
                place = place[key]
                continue
            do = data.draw(st.sampled_from(["replace", "double", "drop"]))
            if do == "replace":
                place[key] = data.draw(tree)
            elif do == "drop":
                del place[key]
            elif isinstance(place, list):
                place.append(copy.deepcopy(place[key]))
            break
    judged(json.dumps(answer).encode())


@harness(
    100,
    given(
        flips=st.lists(
            st.tuples(st.integers(0, 9999), st.sampled_from(b"0123456789") | st.integers(0, 255)),
            min_size=1,
            max_size=2,
        ),
        cut=st.integers(0, 9).flatmap(lambda n: st.floats(0, 1) if n == 9 else st.none()),
        encoding=st.sampled_from(["utf-8"] * 6 + ["utf-8-sig", "utf-16"]),
    ),
)
def test_a_few_wrong_bytes_in_a_sound_answer(judged, flips, cut, encoding):
    written = bytearray(json.dumps(GOOD).encode(encoding))
    for place, byte in flips:
        written[place % len(written)] = byte
    judged(bytes(written if cut is None else written[: int(cut * len(written))]))


near = st.tuples(st.floats(-93.66, -93.60), st.floats(42.03, 42.08))
grid = st.tuples(st.integers(0, 4), st.integers(0, 4)).map(lambda p: (-93.64 + p[0] * 1e-3, 42.05 + p[1] * 1e-3))
odd = st.tuples(st.floats(allow_nan=True, allow_infinity=True), st.floats(-90, 90))
position = st.one_of(grid, near).map(list)
loop = st.lists(position, min_size=3, max_size=9).map(lambda line: [*line, line[0]])
torn = st.lists(st.one_of(position, odd.map(list)), max_size=5)
ring = st.integers(0, 19).flatmap(lambda n: torn if n == 19 else loop)
polygon = st.lists(ring, min_size=1, max_size=3)
mark = st.one_of(
    st.tuples(st.just("no_go"), polygon.map(lambda c: {"type": "Polygon", "coordinates": c})),
    st.tuples(
        st.just("yard"),
        st.lists(polygon, min_size=1, max_size=3).map(lambda c: {"type": "MultiPolygon", "coordinates": c}),
    ),
    st.tuples(st.just("pin"), position.map(lambda c: {"type": "Point", "coordinates": c})),
)


@pytest.mark.surprise("An outline drawn on one spot, with a hole elsewhere, was an error of the geometry library.")
def test_an_outline_of_one_spot_with_a_hole_elsewhere(result, tmp_path):
    spot, hole = [[-93.639, 42.05]] * 4, [[-93.64, 42.05], [-93.64, 42.051], [-93.639, 42.051], [-93.64, 42.05]]
    shape = {"type": "Polygon", "coordinates": [spot, hole]}
    feature = {"type": "Feature", "properties": {"kind": "no_go", "note": ""}, "geometry": shape}
    (tmp_path / "answer.geojson").write_text(json.dumps({**GOOD, "features": [feature]}), "utf-8")
    with pytest.raises(InputError, match="cannot be repaired"):
        read_answer(tmp_path / "answer.geojson", Report(), near=result.fields, plan_key="0123456789ab")


@harness(150, given(marks=st.lists(st.tuples(mark, st.text(max_size=30)), min_size=1, max_size=4)))
def test_any_shape_a_finger_or_a_forger_could_draw(judged, marks):
    """Bow ties, spikes, holes outside, rings of one point, numbers no place has."""
    features = [
        {
            "type": "Feature",
            "properties": {"kind": kind, "note": note, "yard_id": f"Y{number}", "answer": "no"},
            "geometry": geometry,
        }
        for number, ((kind, geometry), note) in enumerate(marks)
    ]
    judged(json.dumps({**GOOD, "features": features}).encode("utf-8", "surrogatepass"))
