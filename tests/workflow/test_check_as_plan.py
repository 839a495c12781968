"""What a plan file and its layers have wrong, `check` refuses as `plan` does, before any work."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from as_user import ask, standing, write_plan
from shapely.geometry import LineString, box
from small_farm import CRS, SOUTH, WEST, write_small_farm

Spoil = Callable[[dict[str, Any], Path], object]


def put(section: str, **values: Any) -> Spoil:
    """Set keys of a section of the plan."""
    return lambda plan, folder: plan.setdefault(section, {}).update(values)


def without(layer: str, then: Spoil) -> Spoil:
    return lambda plan, folder: (plan["layers"].pop(layer), then(plan, folder))


def refused_places(shape: object) -> Spoil:
    """Name a layer of places that the landowner refuses."""

    def spoil(plan: dict[str, Any], folder: Path) -> None:
        gpd.GeoDataFrame({"name": ["x"]}, geometry=[shape], crs=CRS).to_file(folder / "no.gpkg")
        plan["landowner"] = {"no_go": "no.gpkg"}

    return spoil


def points(width_m: float, count: int = 60, **columns: Any) -> Spoil:
    """Give the farm yield points, a pass of so many records, in place of its yield map and outlines."""

    def spoil(plan: dict[str, Any], folder: Path) -> None:
        table = {"x": WEST + 100, "y": [SOUTH + 2.0 * k for k in range(count)], "bu": 180.0, "way": 2.0, "s": 1.0}
        pd.DataFrame(table | columns).to_csv(folder / "points.csv", index=False)
        names = {"x": "x", "y": "y", "yield": "bu", "distance": "way", "seconds": "s"}
        units = {"yield": "bu/ac at 15.5 %", "distance": "m", "seconds": "s"}
        layer = {"path": "points.csv", "crs": CRS, "columns": names, "units": units, "swath": f"{width_m} m"}
        plan["layers"]["yield_points"] = layer
        for key in ("fields", "yield_raster", "property", "elevation"):
            plan["layers"].pop(key)

    return spoil


def herds(*names: str, **values: Any) -> Spoil:
    return put("need", herd=[{"name": name, "head": 20, **values} for name in names])


FAR = box(WEST + 50_000, SOUTH, WEST + 50_100, SOUTH + 100)
CASES: dict[str, tuple[Spoil, set[tuple[str, str]]]] = {
    "a tillage pass with a hyphen": (
        put("crop", tillage=["no-till"]),
        {("residue.unknown_pass", "plan file, crop.tillage")},
    ),
    "two wrong tillage passes": (
        put("crop", tillage=["chisel", "plough"]),
        {("residue.unknown_pass", "plan file, crop.tillage")},
    ),
    "a misspelt rule": (put("limits", rules=["soil_carbn"]), {("residue.unknown_rule", "plan file, limits.rules")}),
    "no rule at all": (put("limits", rules=[]), {("residue.no_rule", "plan file, limits.rules")}),
    "a rule that the plan puts out of force": (
        put("limits", rules=["nutrient_floor"]),
        {("residue.no_rule", "plan file, limits.rules")},
    ),
    "a rule whose layer was not given": (
        without("elevation", put("limits", rules=["concentrated_flow", "steep_ground"])),
        {("residue.no_rule", "plan file, limits.rules")},
    ),
    "a misspelt criterion": (
        put("yards", criteria=["sunn"]),
        {("yards.unknown_criterion", "plan file, yards.criteria")},
    ),
    "a weight for no criterion": (
        put("yards", weights={"sunn": 2}),
        {("yards.unknown_criterion", "plan file, yards.weights")},
    ),
    "bales too wet for any stack": (
        put("bale", moisture_pct=45),
        {
            ("bale.none_can_be_kept", f"plan file, gather.methods, {name}")
            for name in ("single_pass", "second_pass", "rake_bale", "chop_and_rake")
        },
    ),
    "one method, too wet": (
        put("gather", methods=["single_pass"]),
        {("bale.none_can_be_kept", "plan file, gather.methods, single_pass")},
    ),
    "square bales in net outside": (
        lambda plan, folder: (
            plan.update(bale={"shape": "square"}, wrap={"kind": "net"}),
            plan["gather"].update(methods=["rake_bale"]),
        ),
        {("bale.none_can_be_kept", "plan file, gather.methods, rake_bale")},
    ),
    "an unknown handbook key": (
        put("handbook", **{"tillage.chissel_straight": 0.5}),
        {("plan.unknown_key", "plan file, handbook.tillage.chissel_straight")},
    ),
    "a negative share of clay": (
        put("handbook", **{"storage.heavy_clay_pct": -40}),
        {("plan.bad_value", "plan file, handbook.storage.heavy_clay_pct")},
    ),
    "a bale without a density": (
        put("handbook", **{"bale.density.round": 0}),
        {("plan.bad_value", "plan file, handbook.bale.density.round")},
    ),
    "more sunshine than daylight": (
        put("storage", sunshine_h=[15] * 12),
        {("plan.bad_value", "plan file, storage.sunshine_h")},
    ),
    "sunshine of a farm without heights": (
        without("elevation", put("storage", sunshine_h=[15] * 12)),
        {("plan.bad_value", "plan file, storage.sunshine_h")},
    ),
    "the 31st of February": (
        put("storage", baled="02-31"),
        {("plan.bad_value", "plan file plan.toml, storage.baled")},
    ),
    "rain in inches": (
        put("storage", rain_mm=[2.5] * 12),
        {("plan.bad_value", "plan file plan.toml, storage.rain_mm")},
    ),
    "a month that does not exist": (
        herds("cows", months=["Jan", "Febr"]),
        {("plan.bad_value", "plan file plan.toml, need.herd.0.months.1")},
    ),
    "bedding in a feeder": (
        herds("cows", use="bedding", housing="ring_feeder"),
        {("plan.bad_value", "plan file plan.toml, need.herd.0")},
    ),
    "a herd and a contract of one name": (
        put("need", herd=[{"name": "cows", "head": 20}], contract=[{"name": "cows", "dry_mass": "8 ton"}]),
        {("plan.bad_value", "plan file plan.toml, need")},
    ),
    "an answer layer elsewhere": (refused_places(FAR), {("answer.far_away", "no_go")}),
    "an answer layer of lines": (
        refused_places(LineString([(WEST, SOUTH), (WEST + 90, SOUTH + 90)])),
        {("geom.type", "no_go")},
    ),
    "a working crs in degrees": (put("farm", crs="EPSG:4326"), {("crs.not_meters", "plan file, farm.crs")}),
    "points of too little ground for an outline": (
        points(width_m=3.0),
        {("fields.not_drawn", "yield_points")},
    ),
    "several at once": (
        lambda plan, folder: (
            plan.update(handbook={"soil.kk": 1}, yards={"criteria": ["sunn"]}, limits={"rules": ["soil_carbn"]}),
            plan["layers"]["fields"].update(path="gone.gpkg"),
        ),
        {
            ("plan.unknown_key", "plan file, handbook.soil.kk"),
            ("yards.unknown_criterion", "plan file, yards.criteria"),
            ("residue.unknown_rule", "plan file, limits.rules"),
            ("file.missing", "fields"),
        },
    ),
}


@pytest.fixture
def farm(tmp_path: Path) -> tuple[dict[str, Any], Path]:
    plan = write_small_farm(tmp_path, side_m=200.0, cell_m=10.0)
    plan["odds"] = {"samples": 5}
    return plan, tmp_path


@pytest.mark.parametrize("case", CASES)
def test_check_refuses_what_plan_refuses(farm: tuple[dict[str, Any], Path], case: str) -> None:
    plan, folder = farm
    spoil, expected = CASES[case]
    spoil(plan, folder)
    path = write_plan(plan, folder)
    before = standing(folder)

    code, said, _ = ask("check", path, "--json")
    found = {(p["code"], p["where"]) for p in json.loads(said)["problems"] if p["severity"] == "refuse"}
    assert code == 2
    assert standing(folder) == before

    code, _, said = ask("plan", path, "--out", folder / "out")
    refused = {tuple(line) for line in re.findall(r"^refuse  (\S+)  (.*?)\s*$", said, re.MULTILINE)}
    assert code == 2
    assert standing(folder) == before

    assert found == refused
    assert expected <= found


@pytest.mark.parametrize(
    ("section", "values", "said"),
    [
        ("crop", {"tillage": ["no-till"]}, 'Unknown value "no-till". Did you mean "planter_no_till"?'),
        ("limits", {"rules": ["Soil Carbn"]}, 'Unknown value "Soil Carbn". Did you mean "soil_carbon"?'),
        ("yards", {"criteria": ["sunn"]}, 'Unknown value "sunn". Did you mean "sun"?'),
        ("storage", {"place": "open-shed"}, 'Unknown value "open-shed". Did you mean "open shed"?'),
        ("wrap", {"kind": "nets"}, 'Unknown value "nets". Did you mean "net"?'),
        ("wrap", {"kind": "qqq"}, 'Unknown value "qqq".'),
        ("handbook", {"tillage.chissel_straight": 1}, 'Did you mean "tillage.chisel_straight"?'),
    ],
)
def test_an_unknown_value_suggests_the_nearest(
    farm: tuple[dict[str, Any], Path], section: str, values: dict[str, Any], said: str
) -> None:
    plan, folder = farm
    plan.setdefault(section, {}).update(values)
    _, out, _ = ask("check", write_plan(plan, folder), "--json")
    (problem,) = [p for p in json.loads(out)["problems"] if p["severity"] == "refuse"]
    assert problem["what"].endswith(said)
    assert problem["cure"]


def test_check_lists_the_warnings_of_the_plan_once(farm: tuple[dict[str, Any], Path]) -> None:
    plan, folder = farm
    plan["yards"] = {"setbacks": {"well": "1 ft"}}
    plan["crop"]["soil_conditioning_index"] = 0.01
    plan["gather"]["methods"] = ["single_pass", "rake_bale"]
    path = write_plan(plan, folder)
    _, out, _ = ask("check", path, "--json")
    told = [p["code"] for p in json.loads(out)["problems"]]
    expected = ("yards.short_setback", "residue.conditioning_low", "bale.cannot_be_kept")
    assert [told.count(code) for code in expected] == [1, 1, 1]
    code, _, err = ask("plan", path, "--out", folder / "out")
    assert code == 0, err
    assert [err.count(code) for code in expected] == [1, 1, 1]


def test_too_few_heights_of_the_combine_leave_the_ground_unknown(farm: tuple[dict[str, Any], Path]) -> None:
    plan, folder = farm
    rows = [(WEST + 4 + 8 * k, SOUTH + 2.0 * i) for k in range(25) for i in range(100)]
    x, y = zip(*rows, strict=True)
    heights = [300.0 if k < 5 else None for k in range(len(rows))]
    points(8.0, len(rows), x=x, y=y, z=heights)(plan, folder)
    plan["layers"]["yield_points"]["columns"]["height"] = "z"
    plan["layers"]["yield_points"]["units"]["height"] = "m"
    path = write_plan(plan, folder)
    assert ask("check", path)[0] == 0
    code, _, err = ask("plan", path, "--out", folder / "out")
    assert code in (0, 3), err
    record = json.loads((folder / "out" / "plan.json").read_text("utf-8"))
    assert "Slope, ponding, flow paths and sun" in record["not_checked"]
