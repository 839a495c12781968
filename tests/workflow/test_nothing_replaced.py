"""No command replaces a file of the user's: every name that it writes is refused where something stands."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import pytest
from as_user import ask, write_plan
from made_weather import made_days, station_file
from shapely.geometry import box, mapping
from small_farm import CRS, SOUTH, WEST, write_small_farm

from stovergeo.cli import app
from stovergeo.report import ANSWER_NAMES, NAMES

#: command -> what it is given; {farm} holds a plan, an answer and a finished plan, {out} is the user's folder
WORDS = {
    "plan": ("{farm}/plan.toml", "--out", "{out}"),
    "answer": ("{farm}/plan.toml", "{farm}/answer.geojson", "--out", "{out}"),
    "compare": ("{farm}/one", "{farm}/one", "--out", "{out}/both.html"),
    "new": ("{out}",),
    "check": ("{farm}/plan.toml",),
    "window": ("{farm}/plan.toml",),
    "handbook": ("tillage",),
    "rules": (),
    "versions": (),
}
WRITES = {"plan": set(NAMES), "answer": set(ANSWER_NAMES), "compare": {"both.html"}, "new": {"plan.toml"}}
MINE = b"written by hand"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    plan = write_small_farm(folder, side_m=250.0, cell_m=10.0)
    plan["layers"]["weather"] = {"path": station_file(folder, made_days()).name, "form": "ghcn"}
    write_plan(plan, folder)
    place = gpd.GeoSeries([box(WEST + 100, SOUTH + 100, WEST + 130, SOUTH + 130)], crs=CRS).to_crs(4326)[0]
    mark = {"type": "Feature", "properties": {"kind": "no_go", "note": "old well"}, "geometry": mapping(place)}
    answer = {"type": "FeatureCollection", "stovergeo_answer": 1, "features": [mark]}
    (folder / "answer.geojson").write_text(json.dumps(answer), "utf-8")
    code, _, err = ask("plan", folder / "plan.toml", "--out", folder / "one")
    assert code in (0, 3), err
    return folder


def run(name: str, farm: Path, out: Path, *more: str) -> tuple[int, str, str]:
    return ask(name, *(word.format(farm=farm, out=out) for word in WORDS[name]), *more)


def test_every_command_is_looked_at() -> None:
    assert {c.name or c.callback.__name__ for c in app.registered_commands} == set(WORDS)


@pytest.mark.parametrize("name", WORDS)
def test_a_command_writes_what_is_listed_and_nothing_else(name: str, farm: Path, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    before = {p: p.read_bytes() for p in farm.rglob("*") if p.is_file()}
    out = tmp_path / "mine"
    assert run(name, farm, out)[0] in (0, 3)
    assert {str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if p.is_file()} == {
        f"mine/{written}" for written in WRITES.get(name, ())
    }
    assert {p: p.read_bytes() for p in farm.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize(
    ("name", "mine"), [(name, mine) for name, written in WRITES.items() for mine in sorted(written)]
)
def test_a_file_of_that_name_is_refused_and_left_as_it_is(name: str, mine: str, farm: Path, tmp_path: Path) -> None:
    (tmp_path / mine).write_bytes(MINE)
    code, _, err = run(name, farm, tmp_path)
    assert code == 2, err
    assert "out.exists" in err
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {mine: MINE}


@pytest.mark.parametrize("name", ["answer", "compare", "plan"])
def test_it_is_replaced_where_that_is_asked_for(name: str, farm: Path, tmp_path: Path) -> None:
    for mine in WRITES[name]:
        (tmp_path / mine).write_bytes(MINE)
    (tmp_path / "notes.txt").write_bytes(MINE)
    assert run(name, farm, tmp_path, "--overwrite")[0] in (0, 3)
    assert {p.name for p in tmp_path.iterdir() if p.read_bytes() == MINE} == {"notes.txt"}


def test_a_layer_of_refused_places_is_never_written_through_a_link(farm: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere.geojson").write_bytes(MINE)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "no_go.geojson").symlink_to(tmp_path / "elsewhere.geojson")
    code, _, err = run("answer", farm, tmp_path / "mine", "--overwrite")
    assert code == 2, err
    assert "out.not_folder" in err
    assert (tmp_path / "elsewhere.geojson").read_bytes() == MINE
