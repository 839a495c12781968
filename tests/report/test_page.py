"""What the page is made of: one file, small, with places that go back to longitude and latitude."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from dataclasses import replace

import geopandas as gpd
import made_up
import numpy as np
import pandas as pd
import pytest
from page_money import money_in, printed_money
from pyproj import CRS, Transformer
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from stovergeo.core.errors import Problem, Severity
from stovergeo.report.crew import TOPICS, crew_sheet, load_rows
from stovergeo.report.first_screen import first_screen
from stovergeo.report.map_page import landowner_page
from stovergeo.report.page_data import page_data
from stovergeo.report.pictures import UNKNOWN, backdrop, block_mean, packed
from stovergeo.report.places import STEP_M, Frame, transform_from_web, transform_to_lonlat
from stovergeo.report.plan_numbers import ledger_of

WEST_M, SOUTH_M = 447_000.0, 4_655_000.0  # the made-up farm's corner


@pytest.fixture(scope="module")
def page(result):
    return landowner_page(result, ledger_of(result))


def test_nothing_in_the_file_points_outside(page):
    assert not re.search(r"<(script|img|iframe)[^>]+src=", page)
    assert "<link" not in page
    assert not re.search(r"url\(['\"]?https?:", page)
    assert "@import" not in page
    assert len(page.encode()) < 3_000_000


def test_policy_names_the_hash_of_every_script_and_style(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)[1]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    bodies = re.findall(r"<script>(.*?)</script>", page, re.DOTALL) + re.findall(
        r"<style>(.*?)</style>", page, re.DOTALL
    )
    assert len(bodies) == 4 + 5
    for body in bodies:
        assert base64.b64encode(hashlib.sha256(body.encode()).digest()).decode() in policy


def test_no_handler_or_style_stands_in_the_markup(page):
    start = page.index("<body>")
    body = re.sub(r"<script.*?</script>", "", page[start:], flags=re.DOTALL)
    assert not re.search(r"\son\w+=", body)
    assert " style=" not in body


@pytest.mark.parametrize("epsg", [32615, 5070, 2154, 32755])
def test_marks_go_back_to_longitude_and_latitude(epsg):
    """The page's polynomial against PROJ, to 5 cm over 12 km."""
    crs = CRS.from_epsg(epsg)
    area = crs.area_of_use
    there = Transformer.from_crs(4326, crs, always_xy=True).transform(
        (area.west + area.east) / 2, (area.south + area.north) / 2
    )
    frame = Frame(there[0], there[1], 12_000, 7_000)
    fit = transform_to_lonlat(frame, crs)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-500, 12_500, 13), np.linspace(-500, 7_500, 11)))
    u, v = (x - fit["center"][0]) / fit["half"], (y - fit["center"][1]) / fit["half"]
    terms = np.stack([u**i * v**j for i, j in fit["powers"]], axis=1)
    lon, _ = Transformer.from_crs(crs, 4326, always_xy=True).transform(frame.west + x, frame.south + y)
    back = Transformer.from_crs(4326, crs, always_xy=True).transform(terms @ fit["lon"], terms @ fit["lat"])
    np.testing.assert_allclose(back, [frame.west + x, frame.south + y], atol=0.05)
    np.testing.assert_allclose(terms @ fit["lon"], lon, atol=1e-6)


@pytest.mark.parametrize("epsg", [32615, 5070, 2154, 32755])
def test_pictures_of_the_web_are_laid_to_the_decimeter(epsg):
    """The page's polynomial against PROJ's EPSG:3857, over 12 km: nothing that is seen beside a picture's own fuzz."""
    crs = CRS.from_epsg(epsg)
    area = crs.area_of_use
    there = Transformer.from_crs(4326, crs, always_xy=True).transform(
        (area.west + area.east) / 2, (area.south + area.north) / 2
    )
    fit = transform_from_web(Frame(there[0], there[1], 12_000, 7_000), crs)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 12_000, 13), np.linspace(0, 7_000, 11)))
    mx, my = Transformer.from_crs(crs, 3857, always_xy=True).transform(there[0] + x, there[1] + y)
    world = 2 * np.pi * 6_378_137
    p, q = (mx / world + 0.5 - fit["center"][0]) / fit["half"], (0.5 - my / world - fit["center"][1]) / fit["half"]
    terms = np.stack([p**i * q**j for i, j in fit["powers"]], axis=1)
    np.testing.assert_allclose(np.stack([terms @ fit["x"], terms @ fit["y"]]), [x, y], atol=0.1)


def test_coded_shapes_come_back_to_the_decimeter():
    shape = MultiPolygon(
        [box(10, 10, 20, 30).difference(box(12, 12, 14, 14)), Polygon([(40.26, 1), (50, 1.04), (45, 9)])]
    )
    code = Frame(5, 0, 100, 100).code(shape)
    assert code[0] == "P"
    rings = [np.cumsum(np.reshape(ring, (-1, 2)), axis=0) * STEP_M + (5, 0) for part in code[1:] for ring in part]
    assert len(rings) == 3
    back = MultiPolygon([Polygon(rings[0], [rings[1]]), Polygon(rings[2])])
    assert back.symmetric_difference(shape).area < 0.1 * shape.length


def test_packed_pictures_unpack_to_the_same_cells():
    rng = np.random.default_rng(3)
    codes = rng.integers(0, 256, (17, 23)).astype(np.uint8)
    steps = np.frombuffer(zlib.decompress(base64.b64decode(packed(codes))), np.uint8).reshape(codes.shape)
    np.testing.assert_array_equal(np.cumsum(steps, axis=1, dtype=np.uint8), codes)


def test_pictures_hold_the_stack_to_their_step(result):
    layers = {r["id"]: r for r in page_data(result, ledger_of(result))["rasters"]}
    slope = layers["slope_pct"]
    steps = np.frombuffer(zlib.decompress(base64.b64decode(slope["data"])), np.uint8).reshape(110, 140)
    codes = np.cumsum(steps, axis=1, dtype=np.uint8)
    values = slope["low"] + slope["step"] * codes
    assert (codes != UNKNOWN).all()
    np.testing.assert_allclose(values, result.stack["slope_pct"], atol=slope["step"] / 2 + 1e-6)
    keep = layers["retention_mg_ha"]
    codes = np.cumsum(
        np.frombuffer(zlib.decompress(base64.b64decode(keep["data"])), np.uint8).reshape(110, 140),
        axis=1,
        dtype=np.uint8,
    )
    np.testing.assert_array_equal(codes == UNKNOWN, np.isnan(result.stack["retention_mg_ha"]))


def test_blocks_average_only_known_cells():
    values = np.array([[1, np.nan, 5], [3, np.nan, 7]], np.float32)
    np.testing.assert_array_equal(block_mean(values, 2), [[2, 6]])
    np.testing.assert_array_equal(np.isnan(block_mean(np.full((2, 2), np.nan, np.float32), 2)), [[True]])


def test_shading_is_lit_from_the_north_west(farm):
    """A cone: its north-west side is brighter than its south-east side, as maps are shaded by custom."""
    stack = farm.made_stack().copy()
    y, x = np.mgrid[-55:55, -70:70]
    stack["elevation_m"] = (("y", "x"), (50 - np.hypot(x, y)).astype(np.float32))
    shade = backdrop(stack)[..., 0].astype(int)
    assert shade[55 - 20, 70 - 20] > shade[55 + 20, 70 + 20]
    assert backdrop(stack.drop_vars("elevation_m")) is None


def test_loads_fill_the_rows_and_lose_no_bale():
    hauls = pd.DataFrame([("Z1", "Y1", 70), ("Z2", "Y1", 60), ("Z2", "Y2", 5)], columns=["zone_id", "yard_id", "bales"])
    stacks = pd.DataFrame(
        [("Y1", "Y1-1", 50), ("Y1", "Y1-2", 50), ("Y2", "Y2-1", 50)], columns=["yard_id", "stack_id", "bales"]
    )
    loads = load_rows(hauls, stacks)
    assert loads["bales"].sum() == 135
    assert loads.to_numpy().tolist() == [
        ["Z1", "Y1", "Y1-1", 50],
        ["Z1", "Y1", "Y1-2", 20],
        ["Z2", "Y1", "Y1-2", 30],
        ["Z2", "Y1", "", 30],  # no space left in the drawn rows: the sheet says so
        ["Z2", "Y2", "Y2-1", 5],
    ]


def test_crew_sheet_says_what_matters(result):
    sheet = crew_sheet(result, ledger_of(result))
    assert set(result.bales.crew["topic"]) <= set(TOPICS)
    for words in (
        "Open the gate over at least five seconds",
        "Never skid it",
        "Take no more than 2.0 ton/ac, dry",  # 4.4 Mg/ha
        "18 in of overlap",  # 46 cm
        "Slopes of 6% to 9% have nothing to spare",
        "Overhead wires.</b> feeder, 0 ft from the field.",
        "Never try to stop one",
        "The local fire authority, the insurer",
    ):
        assert words in sheet, words
    assert "<script" not in sheet
    home = sheet.partition("East eighty")[0]
    assert "The west side of yard Y1 is soft" in home
    assert "The west side of yard Y1 is soft" not in sheet.partition("East eighty")[2]


def said(parts) -> str:
    """A text of the page in US units."""
    return parts if isinstance(parts, str) else "".join(p if isinstance(p, str) else p["us"] for p in parts)


def texts_of(block) -> str:
    """All words of a panel, quantities in US units."""
    if isinstance(block, str):
        return block
    below = block.values() if isinstance(block, dict) else block if isinstance(block, list | tuple) else ()
    parts = [v for v in below if isinstance(v, str) or (isinstance(v, dict) and "us" in v)]
    if isinstance(block, list) and below and len(parts) == len(block):
        return said(parts)
    return " | ".join(filter(None, map(texts_of, below)))


def test_panels_hold_what_the_tables_say(result):
    data = page_data(result, ledger_of(result))
    zone = texts_of(data["zones"][0]["panel"])
    for words in (
        "74.1 ac",
        "Takes more than may leave here",
        "Soybean",
        "1,984 lb",
        "between 1.7 ton/ac and 2.4 ton/ac",
    ):
        assert words in zone, words
    bars = next(b["bars"] for b in data["zones"][0]["panel"] if "bars" in b)
    shown = [(label, share, said(amount)) for label, share, amount in [*bars["rows"], bars["line"]]]
    assert shown == [
        ("Ground cover after planting", 0.3407, "1.4 ton/ac"),
        ("Soil carbon", 0.4615, "1.9 ton/ac"),
        ("Stover grown", 1.0, "4.1 ton/ac"),
    ]
    yard = data["yards"][0]["panel"]
    months = [b["bars"]["rows"] for b in yard if "bars" in b and b["bars"]["caption"].startswith("Sun by month")]
    assert [row[0] for row in months[0]] == ["Nov 2026", "Dec 2026", "Jan 2027", "Feb 2027"]
    assert "Stover for the grain" in texts_of(data["choice"])
    assert not any("another aim" in b.get("table", {}).get("caption", "") for b in data["choice"])
    curves = next(b["curves"] for b in data["storage"] if "curves" in b)
    assert {s["label"] for s in curves["series"]} == {"net on drained soil", "full cover on drained soil"}
    assert curves["x"] == ["Oct", "Nov", "Dec", "Jan", "Feb", "Mar"]


def test_a_layer_that_covers_a_county_is_cut_to_the_ground_shown(result):
    import dataclasses

    road = LineString([(WEST_M - 50_000, SOUTH_M + 30), (WEST_M + 50_000, SOUTH_M + 30)])
    far = LineString([(WEST_M - 50_000, SOUTH_M), (WEST_M - 40_000, SOUTH_M)])
    roads = gpd.GeoDataFrame({"name": ["near", "far"]}, geometry=[road, far], crs=result.crs)
    data = page_data(dataclasses.replace(result, surroundings={"roads": roads}), ledger_of(result))
    things = data["around"][0]["things"]
    assert [t["name"] for t in things] == ["near"]
    assert np.abs(np.cumsum(np.reshape(things[0]["shape"][1], (-1, 2)), axis=0)).max() <= 14_000


def lines_of(result, section: str) -> list[str]:
    """What one section of the first screen says, in US units."""
    sections = {s["id"]: s["lines"] for s in first_screen(result, ledger_of(result))}
    return [said(line) for line in sections.get(section, [])]


def test_not_checked_is_shown_once_and_without_keys(result):
    lacks = made_up.message("lacks", layers=(made_up.message("layer.trees"),))
    unchecked = {
        "trees": "Trees: their shade was not checked.",
        "Distance to the nearest tree crown": lacks,
        "Snow drifts": made_up.message("no_wind"),
    }
    assert lines_of(replace(result, not_checked=unchecked), "unchecked") == [
        "Trees: their shade was not checked.",
        "Snow drifts: the plan does not say from where the wind blows.",
    ]
    del unchecked["trees"]
    assert "no map of trees was given." in lines_of(replace(result, not_checked=unchecked), "unchecked")[0]


def test_a_season_that_takes_nothing_says_so(farm, tmp_path):
    import dataclasses

    made = farm.made_result(tmp_path)
    zones = made.zones.assign(method="leave", removal_mg_ha=0.0, removal_mg=0.0)
    none = dataclasses.replace(
        made.with_tables(
            stacks=made.siting.stacks.iloc[:0],
            hauls=made.supply.hauls.iloc[:0],
            bale_plan=made.bales.made.iloc[:0],
            zone_nutrients=made.residue.zone_nutrients.iloc[:0],
            odds=made.residue.odds.iloc[:0],
            need=made.supply.need.iloc[:0],
            wrap_table=made.bales.wrap_table.iloc[:0],
            yard_ratings=made.siting.ratings.iloc[:0],
            points=None,
            cleaning=None,
            crew=None,
        ),
        zones=zones,
        yards=made.yards.iloc[:0],
        surroundings={},
    )
    from stovergeo.report import grower_table, write_outputs

    written = write_outputs(none, tmp_path / "out")
    assert "no stover should leave: all of it stays on the ground" in written["map.html"].read_text("utf-8")
    assert "No bales leave this field" in written["crew.html"].read_text("utf-8")
    assert json.loads(written["plan.json"].read_text("utf-8"))["yards"]["features"] == []
    assert grower_table(none)


def test_the_page_is_silent_on_the_growers_money_wherever_it_stands(result):
    """Money is put wherever the grower's stands; only the offer and what replacing nutrients costs remain."""
    told = (made_up.message("costs", cost=7654.32, each=76.54),)
    rows = [
        ("yards", "fewest yards", 7654.0, 76.54, 0.04, 180.0, 1, 0.62, 12.0),
        ("cost", "cheapest", 7600.0, 76.0, 0.0, 181.0, 2, 0.9, 0.0),
    ]
    names = ["aim", "title", "cost", "cost_per_mg", "more_cost", "baled_mg", "yards", "near_limit", "shift_mg"]
    problem = Problem("plan.far_from_handbook", Severity.WARN, "plan file", "It says 76.54.", "It matters.", "Mend it.")
    offered = result.plan.landowner
    rich = replace(
        result.with_tables(
            yard_ratings=result.siting.ratings.assign(message=[told] * len(result.siting.ratings)),
            hauls=result.supply.hauls.assign(cost=7654.0),
            wrap_table=result.bales.wrap_table.assign(cost_bale=7654.0),
            alternatives=pd.DataFrame(rows, columns=names),
            trade_off=pd.DataFrame(rows, columns=names),
        ),
        words={**result.words, "grower": told, "yards": told},
        zones=result.zones.assign(cost_reason=[told] * len(result.zones)),
        yards=result.yards.assign(reason=[told] * 2, cost_reason=[told] * 2, base_cost=7654.0),
        problems=[problem],
        totals={**result.totals, "cost_bale": 7654.32, "cost_per_mg": 76.54},
    )
    page = landowner_page(rich, ledger_of(rich))
    assert not re.search(r"7,?654|76\.54|69\.44", page)  # the last: a short ton of it
    assert "Needs gravel." in page  # what stands beside the price
    own = {("per_mass", offered.price_per_mg), ("money", offered.price_per_mg * rich.zones["removal_mg"].sum())}
    food = {
        ("money", cost) for cost in [*rich.residue.zone_nutrients["cost"], rich.residue.zone_nutrients["cost"].sum()]
    }
    assert money_in(page) == printed_money(own | food)


def test_the_first_screen_names_no_key_of_the_plan_file(result):
    """Keys are the grower's to set; a landowner reads the same words without them."""
    none = replace(
        result.with_tables(stacks=result.siting.stacks.iloc[:0]),
        yards=result.yards.iloc[:0],
        words={"yards": [made_up.message("no_wind")]},
    )
    (said_so,) = lines_of(none, "yards")
    assert said_so == "The plan does not say from where the wind blows."
    assert "`" not in str(page_data(none, ledger_of(none)))


def test_one_number_prints_alike_in_sentence_table_and_label(result):
    data = page_data(result, ledger_of(result))
    tables = {b["table"]["caption"]: b["table"] for b in data["tables"]}
    for zone, row in zip(data["zones"], tables["Zones"]["rows"], strict=True):
        cells = dict(zip(tables["Zones"]["head"], row, strict=True))
        facts = dict(next(b["table"]["rows"] for b in zone["panel"] if "table" in b))
        assert cells["Would leave"] == facts["Would leave"] == zone["printed"]["take"]
        assert said(cells["Bales"]) == str(zone["bales"])
    bales = [int(said(row[5]).replace(",", "")) for row in tables["Zones"]["rows"]]
    assert lines_of(result, "bales")[0].startswith(f"{sum(bales)} round bales: ")
