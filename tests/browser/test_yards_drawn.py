"""What is drawn of yards: lanes and aprons to scale, ground kept clear, and the yards of the plan before."""

from __future__ import annotations

import pytest
from folds import open_tables, unfold

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}
BEFORE = "path[aria-label='Before: yard Y3. Open details.']"


def fill_of(page, pane: str) -> list[str]:
    return page.eval_on_selector_all(f".leaflet-{pane}-pane path", "all => all.map(e => e.getAttribute('fill'))")


def test_lanes_and_apron_are_drawn_and_in_the_legend(visit, pages):
    page = visit(pages / "plain.html").page
    fills = fill_of(page, "yards")
    assert fills.count("#ece4cd") == 2  # a lane round the stacks of each yard
    assert sum(f.startswith("url(#pat-grid-cfd6dd") for f in fills) == 2  # an apron each
    assert "where trucks load and turn" in page.inner_text("#legend")
    page.select_option("#goto", "yard Y1")
    assert "where trucks load and turn, 59\u00a0ft each way" in page.inner_text("#panel")
    assert page.locator("#panel .d-lane").count() == 1
    assert "trucks" in page.locator("#panel svg.drawing").text_content()


def test_ground_kept_clear_is_shown_when_asked_for(visit, pages):
    page = visit(pages / "plain.html").page
    assert fill_of(page, "clear") == []
    assert "Clear of wells" not in page.inner_text("#legend")
    page.click(".layers summary")
    page.check("input[data-layer=kept-clear]")
    fills = fill_of(page, "clear")
    assert len(fills) == len(set(fills)) == 2  # each distance its own look
    assert "Clear of wells" in page.inner_text("#legend")
    page.uncheck("input[data-layer=kept-clear]")
    assert fill_of(page, "clear") == []
    open_tables(page)
    table = page.locator("table:has(caption:text-is('Ground kept clear of stacks'))").inner_text()
    assert "250\u00a0ft" in table  # 76.2 m
    assert "not on it" in table


def test_a_yard_of_the_plan_before_is_pale_dashed_and_named(visit, pages):
    page = visit(pages / "plain.html").page
    assert page.get_attribute(BEFORE, "stroke-dasharray") == "3 5"
    assert page.locator(".label-before").all_inner_texts() == ["Y3 before"]  # Y1 stands there still
    assert "yard of the plan before" in page.inner_text("#legend")
    page.click(".layers summary")
    page.uncheck("input[data-layer=before]")
    assert page.locator(BEFORE).count() == page.locator(".label-before").count() == 0
    page.check("input[data-layer=before]")
    assert page.locator(BEFORE).count() == 1
    open_tables(page)
    table = page.locator("table:has(caption:text-is('Yards of the plan before'))")
    assert table.locator("tbody tr").all_inner_texts() == ["Y3\t430\tno\tno bales", "Y1\t120\t–\tyard Y1"]


def test_a_yard_of_the_plan_before_is_reached_by_keys(visit, pages):
    page = visit(pages / "plain.html").page
    page.focus(BEFORE)
    page.keyboard.press("Enter")
    assert page.inner_text("#panel-title") == "Yard Y3 of the plan before"
    said = page.inner_text("#panel-body")
    for words in ("would have put 430 bales here", "You answered: no.", "Now: no bales stand here."):
        assert words in said
    page.keyboard.press("Escape")
    page.select_option("#goto", "before:Y1")
    assert "Now: yard Y1 stands here." in page.inner_text("#panel-body")


def test_a_first_map_speaks_of_no_plan_before(visit, first_map):
    page = visit(first_map).page
    assert page.locator("input[data-layer=before]").count() == 0
    assert "plan before" not in page.inner_text("body")


@pytest.fixture(scope="module")
def first_map(tmp_path_factory):
    import dataclasses

    import made_up

    from stovergeo.report.map_page import landowner_page
    from stovergeo.report.plan_numbers import ledger_of

    folder = tmp_path_factory.mktemp("first")
    made = made_up.made_result(folder)
    result = dataclasses.replace(made, yards_before=made.yards_before.iloc[:0])
    (folder / "map.html").write_text(landowner_page(result, ledger_of(result)), "utf-8")
    return folder / "map.html"


def test_the_name_of_a_yard_can_be_touched(visit, pages):
    """A yard is a few millimeters on a phone; a finger needs its name, at least 44 pixels each way."""
    page = visit(pages / "plain.html", **PHONE).page
    name = page.locator(".label-yard span").first
    name.scroll_into_view_if_needed()
    box = name.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] - 6)  # above the letters, still within reach
    page.locator("#panel").wait_for()
    assert page.inner_text("#panel-title") == f"Yard {name.inner_text()}"


def test_names_of_fields_stand_on_the_map(visit, pages):
    page = visit(pages / "plain.html").page
    assert page.locator(".label-field").all_inner_texts() == ["Home quarter", "East eighty"]


def test_whatever_is_touched_is_large_enough(visit, pages):
    """WCAG 2.2 asks for 24 CSS pixels (2.5.8); 44 (2.5.5) is what an old finger needs."""
    page = visit(pages / "plain.html", **PHONE).page
    unfold(page)
    small = page.evaluate(
        """[...document.querySelectorAll('button, select, summary, input[type=text], label:has(input), a.main-button')]
        .filter(e => e.offsetParent).map(e => [e.id || e.textContent.slice(0, 20), e.getBoundingClientRect().height])
        .filter(pair => pair[1] < 44)"""
    )
    assert small == []
