"""Map, answer, plan again, map that names the change: the whole loop, through the command and the browser."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
from small_farm import PLAN as FARM_PLAN
from small_farm import command, write_small_farm

pytestmark = pytest.mark.browser

PLAN = (
    FARM_PLAN.replace('"small"', '"small <b>farm</b>"')
    + """
[crop]
rotation = "continuous corn"
tillage = ["planter_no_till"]
harvest_years = "1 of 2"
manure_c_mg_ha = 1.0
[[need.herd]]
name = "herd"
head = 20
"""
)


def test_a_refused_yard_is_free_on_the_next_map(visit, tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    said = command("plan", tmp_path / "plan.toml", "--out", tmp_path / "first")
    assert said.returncode in (0, 3), said.stderr
    page = visit(tmp_path / "first" / "map.html").page
    assert page.inner_text("#farm-name") == "small <b>farm</b>"
    used = gpd.read_file(tmp_path / "first" / "plan.gpkg", layer="hauls")["yard_id"].iloc[0]
    page.check(f"input[name='yard-{used}'][value=no]")
    page.fill(f"input[aria-label='Note on yard {used}']", "<img src=x onerror=window.hit=1>{{7*7}}")
    with page.expect_download() as download:
        page.click("#save-answer")
    download.value.save_as(tmp_path / "answer.geojson")

    said = command("answer", tmp_path / "plan.toml", tmp_path / "answer.geojson", "--out", tmp_path / "second")
    assert said.returncode in (0, 3), said.stderr
    refused = gpd.read_file(tmp_path / "first" / "plan.gpkg", layer="yards").set_index("yard_id").geometry[used]
    stacks = gpd.read_file(tmp_path / "second" / "plan.gpkg", layer="stacks")
    assert stacks.intersection(refused.buffer(-0.5)).area.sum() == 0
    assert used not in set(stacks["stack_id"].str.split("-").str[0])  # another place bears another name

    page = visit(tmp_path / "second" / "map.html").page
    assert page.locator("#words section").first.inner_text().startswith("What changed since the last map")
    assert f"No longer a stack yard: {used}" in page.inner_text("#words")
    assert "Ground kept free" in page.inner_text("#legend")
    page.focus(f"path[aria-label='Before: yard {used}. Open details.']")
    page.keyboard.press("Enter")
    assert "You answered: no." in page.inner_text("#panel-body")
    before = gpd.read_file(tmp_path / "second" / "plan.gpkg", layer="yards_before").set_index("yard_id")
    assert before.geometry[used].symmetric_difference(refused).area < 1
    assert before["answer"][used] == "no"
    assert page.evaluate("window.hit === undefined")
