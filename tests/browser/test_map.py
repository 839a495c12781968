"""The landowner's map in a real browser with the network cut."""

from __future__ import annotations

import json
import math

import hostile
import made_up
import numpy as np
import pytest
from folds import open_tables, unfold

from stovergeo.core.printing import KINDS, UNIT_SYSTEMS, quantity, read_unit_system
from stovergeo.report.map_page import landowner_page
from stovergeo.report.plan_numbers import ledger_of

pytestmark = pytest.mark.browser

DESK = {"width": 1280, "height": 850}
PHONE = {"width": 390, "height": 800, "has_touch": True, "is_mobile": True}


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_first_screen_says_it_in_plain_words(visit, pages, size):
    page = visit(pages / "plain.html", **size).page
    words = page.inner_text("#words")
    for said in (
        "213.5\u00a0ac of 243.2\u00a0ac",
        "430 round bales",
        "Home quarter: 260 bales",
        "Yard Y1: 260 bales in 5 stacks",
        "November 5, 2026 until about August 10, 2027",
        "about 66% stays on the ground",
        "Tile lines: No layer of drain tile was given",
        "Pat Example, 555-0100",
        "lease and on state law",
    ):
        assert said in words, said
    assert words.index("What changed since the last map") < words.index("What is proposed")
    assert "Yard Y3: no (<b>too wet</b>)." in words
    assert page.title() == "Two Hills farm, stover plan 2026"
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    first = page.locator("#words section").first.bounding_box()
    assert first["y"] < 300


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_touch_on_a_yard_opens_its_panel(visit, pages, size):
    page = visit(pages / "plain.html", **size).page
    page.locator("path[aria-label^='Yard Y1']").scroll_into_view_if_needed()
    box = page.locator("path[aria-label^='Yard Y1']").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] * 0.8)
    panel = page.locator("#panel")
    panel.wait_for()
    assert page.inner_text("#panel-title") == "Yard Y1"
    assert "Drains well, in the sun, 394\u00a0ft from the gate." in panel.inner_text()
    assert panel.locator("svg.drawing path.d-row").count() == 5
    page.click("#panel-close")
    assert panel.is_hidden()


def test_a_touch_on_a_zone_shows_numbers_reasons_and_the_ground_there(visit, pages):
    page = visit(pages / "plain.html").page
    page.locator("path[aria-label^='Zone F1-b']").click(position={"x": 60, "y": 60})
    page.locator("#panel >> text=The ground at the place you touched").wait_for()
    panel = page.inner_text("#panel")
    assert "Zone F1-b of Home quarter" in panel
    assert "Cover after planting asks for 2.1" in panel  # 4.8 Mg/ha is 2.14 short tons an acre
    assert "50 bales, 1,398\u00a0lb each as-is" in panel
    assert "Slope" in panel
    page.click("summary:has-text('Each rule in words')")
    assert "sets the limit on 70% of the zone" in page.inner_text("#panel")


def test_the_ground_read_at_a_click_is_the_stack(visit, pages):
    """The values behind the picture agree with the raster they were made from, within their step."""
    stack = made_up.made_stack()
    page = visit(pages / "plain.html").page
    page.click("input[value=metric]")
    page.select_option("#goto", "farm")
    # a place beside the fields, at the farm's 700 m east, 900 m north
    at = page.evaluate("(() => { const p = map_farm.latLngToContainerPoint([900, 705]); return [p.x, p.y]; })()")
    page.locator("#map_farm").click(position={"x": at[0], "y": at[1]})
    page.locator("#panel td").first.wait_for()
    rows = dict(
        page.eval_on_selector_all("#panel tbody tr", "rows => rows.map(r => [...r.cells].map(c => c.innerText))")
    )
    here = stack.sel(x=made_up.WEST + 705, y=made_up.SOUTH + 900, method="nearest")
    assert float(rows["Slope"].rstrip("%")) == pytest.approx(float(here["slope_pct"]), abs=0.11)
    assert float(rows["Height of the ground"].split()[0]) == pytest.approx(float(here["elevation_m"]), abs=0.6)
    assert rows["Why no yard here"] == "Nothing forbids a yard"


def test_units_switch_everywhere(visit, pages):
    page = visit(pages / "plain.html").page
    page.select_option("#goto", "yard Y1")
    page.click("input[value=metric]")
    assert "86.4\u00a0ha of 98.4\u00a0ha" in page.text_content("#words")
    assert "120\u00a0m from the gate" in page.text_content("#panel")
    assert "t/ha" in page.inner_text("#legend")
    assert page.inner_text(".leaflet-control-scale").endswith(" m")
    page.click("input[value=us]")
    assert "213.5\u00a0ac" in page.text_content("#words")
    assert page.inner_text(".leaflet-control-scale").endswith(" ft")


#: as a unit system of ``unit_systems.toml`` is written, with units of no reader's wish
THIRD = {
    "title": "Barley corn",
    "kinds": {
        **{name: {"unit": kind.si_unit, "decimals": 2} for name, kind in KINDS.items() if kind.dimension},
        "length": {"unit": "in", "label": "inches", "one": "inch", "decimals": 0},
        "road": {"unit": "mi", "label": "miles", "one": "mile", "decimals": 1},
        "area": {"unit": "ac", "label": "acres", "one": "acre", "decimals": 0},
    },
}


@pytest.fixture
def third(tmp_path, monkeypatch):
    monkeypatch.setitem(UNIT_SYSTEMS, "third", read_unit_system(THIRD))
    made = made_up.made_result(tmp_path)
    (tmp_path / "map.html").write_text(landowner_page(made, ledger_of(made)), "utf-8")
    return tmp_path / "map.html"


def test_every_unit_system_there_is_can_be_chosen(visit, third):
    page = visit(third).page
    assert page.locator("input[name=units]").count() == 3
    assert "Barley corn" in page.inner_text(".units")
    page.select_option("#goto", "yard Y1")
    page.click("input[value=third]")
    assert "213\u00a0acres of 243\u00a0acres" in page.text_content("#words")
    assert "4,724\u00a0inches from the gate" in page.text_content("#panel")
    assert "inches" in page.locator("#panel svg.drawing").text_content()
    assert page.inner_text(".leaflet-control-scale").endswith(" inches")
    assert "Mg/ha" in page.inner_text("#legend")


def test_the_page_prints_every_kind_as_the_printer_does(visit, third):
    """Live numbers, under the pointer and in legends, against `stovergeo.core.printing`: no digit may differ."""
    rng = np.random.default_rng(5)
    values = [0.0, -0.0, 1.0, -1.0, 0.5, 1.5, 2.5, -2.5, 0.125, 0.375, 0.25, 0.05, 0.35, 1.005, 2.675, 1e-9, -1e-9]
    values += [0.45359237, 0.90718474, 0.3048, 1609.344, 999.5, 999_999.5, 1_234_567.891, -40.0, 1e12, None]
    values += [*rng.normal(0, 50, 200), *rng.lognormal(0, 6, 200), *(rng.integers(-9999, 9999, 200) / 8)]
    page = visit(third).page
    for system in UNIT_SYSTEMS:
        page.click(f"input[value={system}]")
        shown = page.evaluate(
            "([kinds, values]) => kinds.map(k => values.map(v => quantity(k, v)))", [list(KINDS), [*map(plain, values)]]
        )
        for kind, texts in zip(KINDS, shown, strict=True):
            assert texts == [quantity(kind, math.nan if v is None else float(v), system) for v in values]


def plain(value):
    return None if value is None else float(value)


@pytest.mark.parametrize("theme", ["take", "limit", "rule", "method", "odds", "none"])
def test_every_theme_colors_zones_and_has_a_legend(visit, pages, theme):
    page = visit(pages / "plain.html").page
    page.select_option("#theme", theme)
    fills = page.eval_on_selector_all("path[aria-label^='Zone']", "all => all.map(e => e.getAttribute('fill'))")
    assert len(fills) == 4
    if theme != "none":
        assert len(set(fills)) >= 2
        assert page.locator("#legend h3").first.inner_text().startswith("Zones:")
    if theme in ("rule", "method"):  # never color alone
        assert any(f.startswith("url(#pat-") for f in fills)


def test_every_picture_of_the_ground_is_painted(visit, pages):
    page = visit(pages / "plain.html").page
    offered = page.eval_on_selector_all("#ground option", "all => all.map(o => o.value).filter(Boolean)")
    assert len(offered) >= 10
    for name in offered:
        page.select_option("#ground", name)
        page.locator("img.ground").wait_for(state="attached")
        page.wait_for_function("document.querySelectorAll('img.ground').length === 1")
        assert page.locator("#legend h3").first.inner_text().startswith("Ground:")


def test_every_layer_can_be_hidden_and_shown(visit, pages):
    page = visit(pages / "plain.html").page
    page.click(".layers summary")
    boxes = page.locator("#layers input")
    assert boxes.count() >= 12
    for k in range(boxes.count()):
        boxes.nth(k).uncheck()
    assert page.locator("#map_farm path").count() == 2 + page.locator(".north path").count() - 2
    for k in range(boxes.count()):
        boxes.nth(k).check()
    assert page.locator("path[aria-label^='Zone']").count() == 4


def test_a_whole_answer_without_a_mouse(visit, pages, tmp_path):
    """Keyboard alone: open a yard, say no, draw ground to keep free, set a pin, save the file."""
    page = visit(pages / "plain.html").page
    page.locator("path[aria-label^='Yard Y1']").focus()
    page.keyboard.press("Enter")
    assert page.inner_text("#panel-title") == "Yard Y1"
    assert page.evaluate("document.activeElement.id") == "panel-title"
    page.keyboard.press("Tab")  # the three answers follow in order
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.choose") == "no"
    page.keyboard.press("Enter")
    assert page.get_attribute("#panel [data-choose=no]", "aria-pressed") == "true"
    page.keyboard.press("Escape")
    assert page.locator("#panel").is_hidden()
    assert "no" in page.inner_text(".label-yard >> nth=0")

    page.focus("#start-area")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "map_farm"
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        page.focus("#map_farm")
        page.keyboard.press(key)
        page.wait_for_timeout(350)
        page.focus("#draw-add")
        page.keyboard.press("Enter")
    page.focus("#draw-done")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "mark-note-1"
    page.keyboard.type("old well here")
    page.focus("#start-pin")
    page.keyboard.press("Enter")
    page.focus("#draw-add")
    page.keyboard.press("Enter")
    page.keyboard.type("gate sticks")
    page.focus("#said-by")
    page.keyboard.type("Robin")
    page.focus("#save-answer")
    with page.expect_download() as download:
        page.keyboard.press("Enter")
    saved = tmp_path / "answer.geojson"
    download.value.save_as(saved)
    assert download.value.suggested_filename == "stover-answer-2026.geojson"
    answer = json.loads(saved.read_text("utf-8"))
    kinds = [f["properties"]["kind"] for f in answer["features"]]
    assert kinds == ["yard", "no_go", "pin"]
    assert answer["features"][1]["properties"]["note"] == "old well here"
    assert "Saved as" in page.inner_text("#answer-status")

    from stovergeo.core.errors import Report
    from stovergeo.report import read_answer

    report = Report()
    read = read_answer(saved, report)
    assert [p.code for p in report] == []
    assert read.said_by == "Robin"
    assert list(read.yards["answer"]) == ["no"]
    # the outline that comes back is the yard's own, to the page's decimetre
    yard = read.yards.to_crs(32615).geometry.iloc[0]
    assert yard.area == pytest.approx(60 * 140, rel=0.01)
    assert len(read.refused()) == 2


def test_copy_as_text_holds_the_same_answer(visit, pages):
    page = visit(pages / "plain.html").page
    page.click("#copy-answer")
    assert "There is no answer yet" in page.inner_text("#answer-status")
    page.check("input[name='yard-Y2'][value=maybe]")
    page.click("#copy-answer")
    text = json.loads(page.input_value("#answer-text"))
    assert text["features"][0]["properties"] == {"kind": "yard", "yard_id": "Y2", "answer": "maybe", "note": ""}


def test_drawing_by_touch_and_taking_it_back(visit, pages):
    page = visit(pages / "plain.html", **PHONE).page
    page.click("#start-area")
    page.wait_for_timeout(800)  # the page glides to the map
    box = page.locator("#map_farm").bounding_box()
    for x, y in ((0.3, 0.3), (0.6, 0.3), (0.6, 0.5)):
        page.touchscreen.tap(box["x"] + x * box["width"], box["y"] + y * box["height"])
    page.click("#draw-undo")
    page.click("#draw-done")
    assert "At least three corners" in page.inner_text("#draw-help")
    page.touchscreen.tap(box["x"] + 0.4 * box["width"], box["y"] + 0.5 * box["height"])
    page.click("#draw-done")
    assert page.locator("#marks li").count() == 1
    page.click("#marks button")
    assert page.locator("#marks li").count() == 0


def test_keyboard_reaches_every_control_and_focus_shows(visit, pages):
    page = visit(pages / "plain.html").page
    reached = set()
    for _ in range(120):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                """(() => { const e = document.activeElement;
                const style = getComputedStyle(e), shape = e.namespaceURI.endsWith('svg');
                const lined = style.outlineStyle !== 'none' || e === document.body;
                const shown = shape ? parseFloat(style.strokeWidth) >= 6 : lined;
                return (e.id || e.getAttribute('aria-label') || e.name || e.tagName) + (shown ? '' : ' UNSEEN'); })()"""
            )
        )
    assert not [r for r in reached if r.endswith("UNSEEN")]
    wanted = {"theme", "ground", "goto", "map_farm", "start-area", "start-pin", "said-by", "save-answer", "copy-answer"}
    assert wanted <= reached
    assert {"Zone F1-a, 210 bales. Open details.", "Yard Y2, 170 bales. Open details."} <= reached


def test_tables_hold_everything_the_map_shows(visit, pages):
    page = visit(pages / "plain.html").page
    open_tables(page)
    captions = page.eval_on_selector_all("#tables caption", "all => all.map(c => c.innerText)")
    assert captions == [
        "Fields",
        "Zones",
        "Yards",
        "Hauls",
        "Yards of the plan before",
        "Lanes and truck aprons",
        "Ground kept clear of stacks",
        "Around the fields",
    ]
    text = page.inner_text("#tables")
    for name in ("Home quarter", "F2-b", "Y2", "house well", "north grove"):
        assert name in text


def test_hostile_strings_stay_text(visit, pages):
    page = visit(pages / "wild.html").page
    for choice in page.eval_on_selector_all("#goto option", "all => all.map(o => o.value).filter(Boolean)"):
        page.select_option("#goto", choice)
    page.click("#panel-close")
    for name in page.eval_on_selector_all("#ground option", "all => all.map(o => o.value)"):
        page.select_option("#ground", name)
    unfold(page)
    for unit in ("metric", "us"):
        page.click(f"input[value={unit}]")
    page.wait_for_timeout(300)
    assert page.evaluate("window.hit === undefined && ({}).hit === undefined")
    assert page.locator("script").count() == 5
    for new in (
        "iframe",
        "object",
        "embed",
        "form",
        "base",
        "link",
        "xmp",
        "math",
        "template",
        "img[src=x]",
        "img[src='x']",
    ):
        assert page.locator(new).count() == 0, new
    handlers = page.evaluate(
        """[...document.querySelectorAll('*')].flatMap(e => [...e.attributes])
        .map(a => a.name).filter(n => n.startsWith('on'))"""
    )
    assert handlers == []
    title = page.text_content("#farm-name")
    for string in hostile.HOSTILE:
        assert string in title, string
    words = page.text_content("#words")
    assert hostile.HOSTILE[0] in words
    # plain and hostile page have the same elements, one for one
    plain = visit(pages / "plain.html").page
    unfold(plain)
    count = "document.querySelectorAll('#words *, #tables *, #sources *, #answer *').length"
    assert plain.evaluate(count) == page.evaluate(count)


def test_hostile_crew_sheet_is_only_text(visit, pages):
    wild, plain = (visit(pages / f"{n}-crew.html").page for n in ("wild", "plain"))
    count = "document.querySelectorAll('*').length"
    assert wild.evaluate(count) == plain.evaluate(count)
    assert wild.evaluate("window.hit === undefined")
    assert "<img src=x onerror=alert(1)>{{7*7}}${1}" in wild.text_content("h1 >> nth=0")


def test_works_where_the_browser_cannot_unpack_pictures(visit, pages, browser):
    """An old browser still shows the plan; it says that the pictures cannot be read."""
    context = browser.new_context(offline=True)
    context.add_init_script("delete window.DecompressionStream;")
    page = context.new_page()
    page.goto((pages / "plain.html").as_uri())
    assert "430 round bales" in page.inner_text("#words")
    page.select_option("#ground", "slope_pct")
    page.wait_for_function("document.getElementById('answer-status').textContent.includes('too old')")
    context.close()
