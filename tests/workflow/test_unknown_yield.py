"""A field whose yield is not known says so wherever a reader looks, and is no field from which nothing may leave."""

from __future__ import annotations

import csv
import json
import re
import tomllib
from html import unescape
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from as_user import ask, write_plan
from long_run import first_short
from shapely.geometry import box
from small_farm import CRS, SOUTH, WEST, write_small_farm

from stovergeo.workflow import sample_plan_path

SAMPLE = sample_plan_path()
FIELD = "Knoll Field"
DECISIONS = ("left alone", "all stover stays", "none,", "no baling", "No bales leave")


def spoilt(points: pd.DataFrame, mine: np.ndarray, how: str) -> pd.DataFrame:
    """The sample's points with those of one field spoilt, each time in another way."""
    points = points.copy()
    if how == "moisture":
        points.loc[mine, "moist_pct"] = 0
    elif how == "header":
        points.loc[mine, "head"] = points.loc[mine, "head"].map({"down": "up", "up": "down"})
    elif how == "seconds":
        points.loc[mine, "sec"] = 30
    elif how == "none":
        points = points[~mine]
    elif how == "half":
        points = points[~(mine & (points["lon"] < points.loc[mine, "lon"].median()))]
    return points


def planned(folder: Path, how: str) -> tuple[Path, str, str]:
    """Plan the sample farm with one field's points spoilt: results, and what the command printed on both streams."""
    data = tomllib.loads(SAMPLE.read_text("utf-8"))
    for layer in data["layers"].values():
        layer["path"] = str(SAMPLE.parent / layer["path"])
    points = pd.read_csv(data["layers"]["yield_points"]["path"])
    fields = gpd.read_file(data["layers"]["fields"]["path"])
    ground = fields.loc[fields["name"] == FIELD, "geometry"].iloc[0]
    mine = gpd.GeoSeries(gpd.points_from_xy(points["lon"], points["lat"])).within(ground).to_numpy()
    spoilt(points, mine, how).to_csv(folder / "points.csv", index=False)
    data["layers"]["yield_points"]["path"] = str(folder / "points.csv")
    data["odds"] = {"samples": 20}
    data["need"]["contract"][0]["price"] = "130 $/ton"  # so that the ground of every field is worth gathering
    data["yields"] = {"accept_losses": [FIELD]}
    code, out, err = ask("plan", write_plan(data, folder), "--out", folder / "out")
    assert code in (0, 3), err
    return folder / "out", out, err


def zones_of(out: Path) -> list[dict[str, str]]:
    with (out / "zones.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def crew_page(out: Path, name: str) -> str:
    articles = re.findall(r"<article.*?</article>", (out / "crew.html").read_text("utf-8"), flags=re.DOTALL)
    mine = next(a for a in articles if f"<h1>{name}</h1>" in a)
    return unescape(re.sub("<[^>]+>", " ", mine))


def page_of(out: Path) -> dict:
    text = re.search(
        r"<script[^>]*application/json[^>]*>(.*?)</script>", (out / "map.html").read_text("utf-8"), re.DOTALL
    )
    return json.loads(text[1])


def texts(value: object) -> str:
    """All texts of a piece of page data, in order."""
    if isinstance(value, dict):
        return " ".join(texts(v) for v in value.values())
    if isinstance(value, list):
        return " ".join(map(texts, value))
    return value if isinstance(value, str) else ""


@pytest.mark.parametrize(
    ("how", "reason"),
    first_short(
        [
            ("moisture", "8,529 of 8,529 yield records were left out: Moisture "),
            ("header", "8,529 of 8,529 yield records were left out: Header up "),
            ("seconds", "8,529 of 8,529 yield records were left out: Speed "),
            ("none", "No yield record lies on it"),
        ],
        1,
    ),
)
def test_a_field_without_usable_records_is_not_known_everywhere(tmp_path, how, reason) -> None:
    out, said, told = planned(tmp_path, how)
    code = "yield.unknown" if how == "none" else "yield.left_out"
    warned = re.search(rf"warn +{code} .*{FIELD}.*\n.*", told)
    assert warned
    assert reason.lower() in warned[0].lower()

    row = next(line for line in said.splitlines() if line.startswith("│ " + FIELD))
    assert "not known: no usable yield data" in row
    assert row.count("not known") == 4
    assert f"{FIELD}: not known: no usable yield data. {reason}" in said
    assert "The farm's totals leave this field out." in said

    mine = [z for z in zones_of(out) if z["field_name"] == FIELD]
    assert mine
    for zone in mine:
        assert zone["method"] == "unknown"
        assert reason in zone["reason"]
        for column in (
            "stover_mg_ha",
            "removable_mg_ha",
            "removal_mg",
            "bales",
            "n_kg",
            "p50_mg_ha",
            "compliance_probability",
        ):
            assert zone[column] == ""

    record = json.loads((out / "plan.json").read_text("utf-8"))
    shown = [z["properties"] for z in record["zones"]["features"] if z["properties"]["zone_id"].startswith("F2-")]
    assert {z["method"] for z in shown} == {"unknown"}
    assert {z["removal_mg"] for z in shown} == {None}
    assert record["totals"]["unknown_ha"] == pytest.approx(sum(float(z["area_ha"]) for z in mine), rel=1e-6)
    assert code in {p["code"] for p in record["problems"]}

    page = page_of(out)
    first = {section["id"]: [texts(line) for line in section["lines"]] for section in page["first"]}
    assert reason in first["unknown"][0]
    assert f"{FIELD}: not known; there are no usable yield data." in first["bales"]
    for zone in page["zones"]:
        if zone["field"] == "F2":
            assert (zone["take"], zone["limit"], zone["bales"], zone["odds"]) == (None, None, None, None)
            assert reason in texts(zone["panel"])
            assert not any(word in texts(zone["panel"]) for word in ("May leave", "Would leave", "stays"))

    crew = crew_page(out, FIELD)
    assert reason in crew
    assert "154.9 ac, bales not known: no usable yield data." in crew
    for place in (
        row,
        crew.replace("Hatched: no baling", ""),
        " ".join(line for line in first["bales"] if FIELD in line),
    ):
        assert not any(word in place for word in DECISIONS)


@pytest.mark.long
def test_of_a_field_known_in_part_the_rest_is_not_known(tmp_path) -> None:
    out, said, _ = planned(tmp_path, "half")
    assert re.search(rf"{FIELD}: not known on 7\d\.\d ac: no usable yield data there.", said)
    mine = [z for z in zones_of(out) if z["field_name"] == FIELD]
    assert {"unknown"} < {z["method"] for z in mine}
    assert sum(float(z["area_ha"]) for z in mine if z["method"] == "unknown") == pytest.approx(62.7 / 2, rel=0.1)
    bales = [texts(line) for s in page_of(out)["first"] if s["id"] == "bales" for line in s["lines"]]
    assert any(
        re.fullmatch(rf"{FIELD}: \d+ bales\. Part of it is not known: there are no usable yield data\.", b)
        for b in bales
    )
    assert re.search(r"\d+ bales; part not known: no usable yield data", crew_page(out, FIELD))


def two_squares(folder: Path, known: tuple[bool, bool]) -> dict:
    """The small farm cut in two fields, the yield map empty on those not known; its plan as data."""
    plan = write_small_farm(folder, side_m=300.0, cell_m=10.0)
    halves = [box(WEST + k * 150, SOUTH, WEST + (k + 1) * 150, SOUTH + 300) for k in (0, 1)]
    (folder / "fields.gpkg").unlink()
    gpd.GeoDataFrame({"name": ["west", "east"]}, geometry=halves, crs=CRS).to_file(folder / "fields.gpkg")
    with rasterio.open(folder / "yield.tif", "r+") as file:
        grain = file.read(1)
        x = file.transform.c + (np.arange(file.width) + 0.5) * file.transform.a
        for k, is_known in enumerate(known):
            if not is_known:
                grain[:, (x > WEST + k * 150 - 20 * (k == 0)) & (x < WEST + (k + 1) * 150)] = np.nan
        file.write(grain, 1)
    return plan


def test_a_field_off_the_yield_map_is_not_known(tmp_path) -> None:
    plan = write_plan(two_squares(tmp_path, (True, False)), tmp_path)
    code, said, told = ask("plan", plan, "--out", tmp_path / "out")
    assert code in (0, 3)
    assert re.search(r"warn +yield.unknown .*east.*\n.*the yield map holds nothing on it", told)
    assert "east: not known: no usable yield data. The yield map holds nothing on it." in said
    assert {z["field_name"]: z["method"] for z in zones_of(tmp_path / "out")}["east"] == "unknown"
    # the plan and itself, side by side: not known on both sides, and the farm's sums hold
    code, out, _ = ask("compare", tmp_path / "out", tmp_path / "out", "--json")
    assert code == 0
    lines = {(line["place"], line["what"]): line["one"] for line in json.loads(out)}
    assert lines["east", "Bales"] is None
    assert lines["east", "Baling method"] == "not known: no usable yield data"
    assert lines["Whole farm", "Dry stover removed"] is not None


def test_a_farm_of_unknown_fields_only_is_refused(tmp_path) -> None:
    data = two_squares(tmp_path, (False, True))
    (tmp_path / "fields.gpkg").unlink()
    west = gpd.GeoDataFrame({"name": ["west"]}, geometry=[box(WEST, SOUTH, WEST + 130, SOUTH + 300)], crs=CRS)
    west.to_file(tmp_path / "fields.gpkg")
    code, _, told = ask("plan", write_plan(data, tmp_path), "--out", tmp_path / "out")
    assert code == 2
    assert "yield.none" in told
    assert not (tmp_path / "out").exists()


def test_most_records_of_an_earlier_harvest_left_out_are_reported(tmp_path) -> None:
    plan = write_small_farm(tmp_path, side_m=300.0, cell_m=10.0)
    x, y = (a.ravel() for a in np.meshgrid(WEST + np.arange(4.0, 300, 8), SOUTH + np.arange(1.0, 300, 3)))
    # the clock runs in thirds of a second, but seconds are declared: far too fast for a combine
    table = {
        "x": x,
        "y": y,
        "bu": 190 + 10 * np.sin(x / 30),
        "way": 3.0,
        "swath": 8.0,
        "s": np.where(y > SOUTH + 100, 0.3, 2.0),
    }
    pd.DataFrame(table).to_csv(tmp_path / "earlier.csv", index=False)
    columns = {"x": "x", "y": "y", "yield": "bu", "distance": "way", "swath": "swath", "seconds": "s"}
    units = {"yield": "bu/ac at 15.5 %", "distance": "m", "swath": "m", "seconds": "s"}
    plan["layers"]["earlier_points"] = [
        {"path": "earlier.csv", "crs": CRS, "year": 2024, "columns": columns, "units": units}
    ]
    _, _, told = ask("plan", write_plan(plan, tmp_path), "--out", tmp_path / "out")
    warned = re.search(r"warn +yield.left_out +harvest of 2024, field 'square'\n.*", told)
    assert warned
    assert "left out: Speed " in warned[0]


def test_the_sample_farm_has_no_unknown_field(sample_record) -> None:
    # nothing was weighed there: the one thing that is not known
    assert sample_record["words"]["unknown"] == ["The level of the yields could not be checked; give a weighed total."]
    assert sample_record["totals"]["unknown_ha"] == 0
    assert not {p["code"] for p in sample_record["problems"]} & {"yield.left_out", "yield.unknown", "points.no_time"}
