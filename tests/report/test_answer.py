"""The landowner's answer is an untrusted file: what is sound is taken in, anything else refused with its reason."""

from __future__ import annotations

import copy
import json

import geopandas as gpd
import pytest
from sound_answer import GOOD

from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.report import add_answer, plan_key, read_answer


def changed(change) -> dict:
    answer = copy.deepcopy(GOOD)
    change(answer)
    return answer


def saved(tmp_path, answer) -> object:
    path = tmp_path / "answer.geojson"
    path.write_text(answer if isinstance(answer, str) else json.dumps(answer), "utf-8")
    return path


def test_a_sound_answer_is_read_whole(tmp_path):
    report = Report()
    answer = read_answer(saved(tmp_path, GOOD), report)
    assert len(report) == 0
    assert answer.said_by == "Robin"
    assert answer.season == 2026
    assert answer.yards[["yard_id", "answer", "note"]].to_numpy().tolist() == [["Y1", "no", "too near the house"]]
    assert list(answer.pins["note"]) == ["gate sticks"]
    assert [render(m, "us") for m in answer.messages()] == [
        "Yard Y1: no (too near the house).",
        "Ground to keep free: old well.",
        "A pin: gate sticks.",
    ]
    assert list(answer.refused()["name"]) == ["landowner: old well", "landowner: no to yard Y1"]
    assert list(answer.refused()["keep_clear_of"]) == ["", "stacks"]  # no to a yard says nothing of baling


def _set(path, value):
    def change(answer):
        place = answer
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value

    return change


GEOMETRY = ("features", 1, "geometry")
PROPERTIES = ("features", 0, "properties")
BAD = {
    "not an answer": _set(("stovergeo_answer",), 2),
    "another type": _set(("type",), "Feature"),
    "no features": _set(("features",), []),
    "features not a list": _set(("features",), {"a": 1}),
    "feature not a dict": _set(("features", 0), 7),
    "too many marks": lambda a: a["features"].extend([a["features"][2]] * 600),
    "unknown kind": _set((*PROPERTIES, "kind"), "wish"),
    "kind is a list": _set((*PROPERTIES, "kind"), ["yard"]),
    "no properties": _set(PROPERTIES, None),
    "note is a number": _set((*PROPERTIES, "note"), 5),
    "note is markup in a list": _set((*PROPERTIES, "note"), ["<script>"]),
    "no yard id": _set((*PROPERTIES, "yard_id"), ""),
    "yard id too long": _set((*PROPERTIES, "yard_id"), "Y" * 41),
    "answer unknown": _set((*PROPERTIES, "answer"), "never"),
    "answer is true": _set((*PROPERTIES, "answer"), True),
    "geometry missing": _set(GEOMETRY, None),
    "geometry of another kind": _set(GEOMETRY, {"type": "Point", "coordinates": [0, 0]}),
    "geometry collection": _set(GEOMETRY, {"type": "GeometryCollection", "geometries": []}),
    "geometry type is a list": _set((*GEOMETRY, "type"), []),
    "coordinates empty": _set((*GEOMETRY, "coordinates"), []),
    "coordinates text": _set((*GEOMETRY, "coordinates"), "POLYGON((0 0,1 1,1 0,0 0))"),
    "position of three": _set((*GEOMETRY, "coordinates", 0, 0), [-93.6, 42.0, 5]),
    "position of text": _set((*GEOMETRY, "coordinates", 0, 0), ["-93.6", "42.0"]),
    "position of true": _set((*GEOMETRY, "coordinates", 0, 0), [True, False]),
    "position off the globe": _set((*GEOMETRY, "coordinates", 0, 0), [-93.6, 442.0]),
    "two corners": _set((*GEOMETRY, "coordinates"), [[[-93.6, 42.0], [-93.6, 42.1]]]),
    "no ground enclosed": _set((*GEOMETRY, "coordinates"), [[[-93.6, 42.0]] * 4]),
    "too many corners": _set((*GEOMETRY, "coordinates"), [[[-93.6 + k * 1e-6, 42.0] for k in range(3000)]]),
    "a yard twice": lambda a: a["features"].append(a["features"][0]),
}


@pytest.mark.parametrize("name", BAD)
def test_a_changed_answer_is_refused_with_its_place(tmp_path, name):
    with pytest.raises(InputError) as refused:
        read_answer(saved(tmp_path, changed(BAD[name])), Report())
    first = refused.value.problems[0]
    assert first.code == "answer.unreadable"
    assert first.where.startswith("answer file answer.geojson")


TEXTS = {
    "not json": "yes to all",
    "cut off": json.dumps(GOOD)[:300],
    "NaN": json.dumps(GOOD).replace("42.05]", "NaN]"),
    "Infinity": json.dumps(GOOD).replace("42.05]", "Infinity]"),
    "huge number": json.dumps(GOOD).replace("42.05]", "1e999]"),
    "deep": "[" * 100_000,
    "a list": "[]",
    "a page": "<!doctype html><script>alert(1)</script>",
    "big": " " * 1_000_001,
    "long integer": json.dumps(GOOD).replace("2026,", "1" * 6000 + ",", 1),
}


@pytest.mark.parametrize("name", TEXTS)
def test_a_file_that_is_no_answer_is_refused(tmp_path, name):
    with pytest.raises(InputError) as refused:
        read_answer(saved(tmp_path, TEXTS[name]), Report())
    assert refused.value.problems[0].code == "answer.unreadable"


@pytest.mark.parametrize(
    "path", ["http://example.test/a.geojson", "/vsicurl/http://example.test/a", "missing.geojson", "."]
)
def test_only_local_regular_files_are_opened(path):
    with pytest.raises(InputError):
        read_answer(path, Report())


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = tmp_path / "answer.geojson"
    path.write_bytes(b"\xff\xfe\x00{")
    with pytest.raises(InputError):
        read_answer(path, Report())


def test_all_problems_are_listed_at_once(tmp_path):
    answer = changed(BAD["answer unknown"])
    answer["features"][1]["geometry"] = None
    with pytest.raises(InputError) as refused:
        read_answer(saved(tmp_path, answer), Report())
    assert [p.where.rpartition(", ")[2] for p in refused.value.problems] == ["mark 1", "mark 2"]


def test_a_bow_tie_is_repaired_and_reported(tmp_path):
    tie = [[[-93.635, 42.05], [-93.634, 42.051], [-93.634, 42.05], [-93.635, 42.051], [-93.635, 42.05]]]
    report = Report()
    answer = read_answer(saved(tmp_path, changed(_set((*GEOMETRY, "coordinates"), tie))), report)
    assert [p.code for p in report] == ["answer.repaired"]
    assert answer.no_go.geometry.is_valid.all()


def test_marks_far_from_the_farm_are_refused(tmp_path, result):
    read_answer(saved(tmp_path, GOOD), Report(), near=result.fields)
    away = changed(_set(("features", 2, "geometry", "coordinates"), [-80.0, 42.0]))
    with pytest.raises(InputError) as refused:
        read_answer(saved(tmp_path, away), Report(), near=result.fields)
    assert refused.value.problems[0].code == "answer.far_away"


def test_an_answer_to_another_map_is_taken_with_a_warning(tmp_path, result):
    report = Report()
    read_answer(saved(tmp_path, GOOD), report, plan_key=plan_key(result))
    assert [p.code for p in report] == ["answer.other_plan"]


def test_hostile_notes_are_plain_text_without_hidden_characters(tmp_path, hostile_strings):
    for text in hostile_strings:
        answer = read_answer(saved(tmp_path, changed(_set((*PROPERTIES, "note"), text))), Report())
        note = answer.yards["note"].iloc[0]
        assert not set(note) & set("\u202e\u202c\u2028\x00\t") - set("\u2028")
        assert note.split()[:1] == text.replace("\u202e", "").replace("\u202c", "").split()[:1]


def test_refused_ground_is_added_to_the_plans_no_go_places(tmp_path, result):
    answer = read_answer(saved(tmp_path, GOOD), Report())
    layer = tmp_path / "no_go.geojson"
    plan = add_answer(result.plan, answer, layer, Report())
    assert plan.landowner.no_go == str(layer.resolve())
    assert result.plan.landowner.no_go is None  # the plan given stays as it was
    assert len(gpd.read_file(layer)) == 2
    # a second answer adds to the first; the same one again adds nothing
    again = add_answer(plan, answer, tmp_path / "both.geojson", Report())
    assert len(gpd.read_file(tmp_path / "both.geojson")) == 2
    other = read_answer(saved(tmp_path, changed(_set((*GEOMETRY, "coordinates", 0, 1), [-93.633, 42.05]))), Report())
    add_answer(again, other, tmp_path / "three.geojson", Report())
    three = gpd.read_file(tmp_path / "three.geojson")
    assert len(three) == 3
    assert sorted(three["keep_clear_of"].fillna("")) == ["", "", "stacks"]  # what was meant before is not lost


def test_ground_of_a_refused_yard_that_is_drawn_as_well_is_kept_clear_of_baling_too(tmp_path, result):
    first = add_answer(result.plan, read_answer(saved(tmp_path, GOOD), Report()), tmp_path / "one.geojson", Report())
    drawn = {
        **GOOD["features"][1],
        "geometry": {"type": "Polygon", "coordinates": GOOD["features"][0]["geometry"]["coordinates"][0]},
    }
    again = read_answer(saved(tmp_path, {**GOOD, "features": [drawn]}), Report())
    add_answer(first, again, tmp_path / "two.geojson", Report())
    assert len(gpd.read_file(tmp_path / "two.geojson")) == 3


def test_an_answer_without_a_refusal_changes_no_plan(tmp_path, result):
    yes = changed(lambda a: (a["features"].pop(1), _set((*PROPERTIES, "answer"), "yes")(a)))
    answer = read_answer(saved(tmp_path, yes), Report())
    layer = tmp_path / "no_go.geojson"
    assert add_answer(result.plan, answer, layer, Report()) is result.plan
    assert not layer.exists()
