"""Background pictures: only where the plan asks, from that host alone, laid truly, and not needed."""

from __future__ import annotations

import dataclasses
import io
import re
from pathlib import Path

import made_up
import numpy as np
import pytest
from PIL import Image
from pyproj import Transformer

pytestmark = pytest.mark.browser

HOST = "https://pictures.example.test"
TEMPLATE = HOST + "/ground/{z}/{x}/{y}.png"


@pytest.fixture(scope="module")
def tiled(tmp_path_factory) -> Path:
    from stovergeo.inputs.plan.farm import ReportOptions
    from stovergeo.report.map_page import landowner_page
    from stovergeo.report.plan_numbers import ledger_of

    folder = tmp_path_factory.mktemp("tiled")
    made = made_up.made_result(folder)
    share = ReportOptions(tiles=TEMPLATE, tiles_credit="Made-up pictures <b>2026</b>")
    plan = made.plan.model_copy(update={"report": share})
    (folder / "tiled.html").write_text(landowner_page(dataclasses.replace(made, plan=plan), ledger_of(made)), "utf-8")
    return folder / "tiled.html"


def picture() -> bytes:
    held = io.BytesIO()
    Image.fromarray(np.full((256, 256, 3), 90, np.uint8)).save(held, "PNG")
    return held.getvalue()


@pytest.fixture
def opened(browser, tiled):
    """Open the page with every request of the network answered here; give the page and what it asked for."""
    contexts = []

    def open_page(answer: bool):
        context = browser.new_context(viewport={"width": 1280, "height": 850})
        contexts.append(context)
        asked: list[str] = []

        def reply(route):
            asked.append(route.request.url)
            if answer:
                route.fulfill(body=picture(), content_type="image/png")
            else:
                route.abort()

        context.route(re.compile("^https?:"), reply)
        page = context.new_page()
        page.goto(tiled.as_uri())
        page.wait_for_timeout(600)
        return page, asked

    yield open_page
    for context in contexts:
        context.close()


def test_only_that_host_is_asked_and_the_page_says_so(opened):
    page, asked = opened(answer=True)
    assert asked
    assert all(re.fullmatch(re.escape(HOST) + r"/ground/\d+/\d+/\d+\.png", url) for url in asked)
    assert len(asked) <= 40
    assert page.locator("img.tile.came").count() == len(asked)
    note = page.inner_text("#tiles-note")
    assert note.startswith("Opening this page asks pictures.example.test for background pictures")
    assert page.inner_text("#tiles-credit") == "Background pictures: Made-up pictures <b>2026</b>"
    policy = page.get_attribute("meta[http-equiv=Content-Security-Policy]", "content")
    assert f"img-src data: blob: {HOST};" in policy
    assert "default-src 'none'" in policy


def test_the_policy_stops_every_other_host(opened):
    page, asked = opened(answer=True)
    before = len(asked)
    stopped = page.evaluate(
        """() => new Promise(done => { const i = new Image(); i.onload = () => done('came');
        i.onerror = () => done('stopped'); i.src = 'https://elsewhere.example.test/a.png'; })"""
    )
    assert stopped == "stopped"
    assert len(asked) == before  # the request was never made


def test_the_map_works_the_same_when_no_picture_comes(opened):
    page, asked = opened(answer=False)
    assert asked
    assert page.locator("img.tile.came").count() == 0
    assert "No picture has come" in page.inner_text("#tiles-note")
    page.select_option("#goto", "yard Y1")
    assert page.inner_text("#panel-title") == "Yard Y1"
    page.select_option("#ground", "slope_pct")
    page.locator("img.ground").wait_for(state="attached")
    page.check("input[name='yard-Y2'][value=yes]")
    assert "yes" in page.locator(".label-yard").all_inner_texts()[1]


def test_taking_them_off_asks_for_no_more(opened):
    page, asked = opened(answer=True)
    page.click(".layers summary")
    page.uncheck("input[data-layer=tiles]")
    assert page.locator("img.tile").count() == 0
    before = len(asked)
    page.select_option("#goto", "yard Y1")
    page.wait_for_timeout(300)
    assert len(asked) == before


def test_pictures_lie_where_they_belong(opened):
    """The corner of each picture, by PROJ, against where the page lays it: within a pixel of the screen."""
    page, _ = opened(answer=True)
    page.select_option("#goto", "yard Y1")  # near, where a misfit would show
    page.wait_for_timeout(500)
    laid = page.evaluate(
        """[...document.querySelectorAll('img.tile')].map(i => {
        const m = i.style.transform.match(/matrix\\(([^)]*)\\)/)[1].split(',').map(Number);
        const o = map_farm.getPixelOrigin();
        const at = (u, v) => map_farm.unproject(L.point(m[0]*u + m[2]*v + m[4], m[1]*u + m[3]*v + m[5]).add(o));
        return [i.src, at(0, 0), at(256, 256)].map(p => p.lat === undefined ? p : [p.lng, p.lat]); })"""
    )
    meters_a_pixel = page.evaluate("1 / Math.pow(2, map_farm.getZoom())")
    to_farm = Transformer.from_crs(3857, made_up.EPSG, always_xy=True)
    world = 2 * np.pi * 6_378_137.0
    assert len(laid) >= 2
    for url, north_west, south_east in laid:
        z, x, y = (int(n) for n in re.search(r"/(\d+)/(\d+)/(\d+)\.png", url).groups())
        for (col, row), found in (((x, y), north_west), ((x + 1, y + 1), south_east)):
            true = to_farm.transform((col / 2**z - 0.5) * world, (0.5 - row / 2**z) * world)
            away = np.hypot(found[0] + made_up.WEST - true[0], found[1] + made_up.SOUTH - true[1])
            assert away < max(meters_a_pixel, 0.5)


def test_without_the_setting_nothing_is_asked(visit, pages):
    page = visit(pages / "plain.html").page
    page.select_option("#goto", "yard Y1")
    page.wait_for_timeout(300)
    assert page.locator("img.tile").count() == 0
    assert page.locator("#tiles-note").is_hidden()
