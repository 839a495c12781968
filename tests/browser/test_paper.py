"""On paper: one page for the farm and one for each yard in use, whatever the names and however much there is to say."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import made_up
import pytest
from folds import unfold

pytestmark = pytest.mark.browser

DESK = {"width": 1280, "height": 850}
PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}
LONG = "The very long name that a family gave its farm three generations ago " * 6
UNBROKEN = "Wolkenkuckucksheim" * 20


def pages_of(pdf: bytes) -> int:
    """Pages of a PDF as Chromium writes it, one object each."""
    return pdf.count(b"/Type /Page\n")


@pytest.fixture(scope="module")
def wordy(tmp_path_factory) -> Path:
    """The made-up season with long names, many fields and much that was not checked."""
    folder = tmp_path_factory.mktemp("wordy")
    made = made_up.made_result(folder, lambda text: f"{text} {LONG} {UNBROKEN}")
    some = made.fields.iloc[[0] * 40].assign(
        field_id=[f"F{k + 1}" for k in range(40)], name=[f"{k} {LONG} {UNBROKEN}" for k in range(40)]
    )
    result = dataclasses.replace(
        made,
        fields=some,
        not_checked={f"{k} {LONG}": f"{UNBROKEN} was not given." for k in range(30)},
    )
    from stovergeo.report.map_page import landowner_page
    from stovergeo.report.plan_numbers import ledger_of

    (folder / "wordy.html").write_text(landowner_page(result, ledger_of(result)), "utf-8")
    return folder / "wordy.html"


@pytest.mark.parametrize("paper", ["Letter", "A4"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_one_page_a_farm_and_one_a_yard(visit, pages, paper, size):
    page = visit(pages / "plain.html", **size).page
    assert pages_of(page.pdf(format=paper)) == 3


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_long_names_and_many_words_spill_over_no_page(visit, wordy, paper):
    page = visit(wordy).page
    assert pages_of(page.pdf(format=paper)) == 3


def test_what_is_cut_is_reported_and_cautions_stay(visit, wordy):
    page = visit(wordy).page
    page.emulate_media(media="print")
    page.locator("body.on-paper").wait_for(state="attached")
    shown = page.inner_text("#farm-page")
    assert "more, on the page on the screen" in shown
    assert "This is planning guidance" in shown
    assert "lease and on state law" in shown
    page.emulate_media(media="screen")
    page.locator("body.on-paper").wait_for(state="detached")
    again = page.inner_text("#words")
    assert "on the page on the screen" not in again
    assert all(f"{k} The very long name" in again for k in range(40))


def test_letters_are_as_large_as_the_page_allows(visit, pages, wordy):
    sizes = []
    for path in (pages / "plain.html", wordy):
        page = visit(path).page
        page.emulate_media(media="print")
        page.locator("body.on-paper").wait_for(state="attached")
        sizes.append(float(page.evaluate("parseFloat(document.getElementById('farm-page').style.fontSize)")))
    assert sizes[0] >= 8.5  # points
    assert sizes[1] < sizes[0]


def test_paper_shows_what_is_read_and_hides_what_is_pressed(visit, pages):
    page = visit(pages / "plain.html").page
    page.emulate_media(media="print")
    page.locator("body.on-paper").wait_for(state="attached")
    for gone in ("#answer", ".tools", ".units", ".leaflet-control-zoom"):
        assert page.locator(gone).first.is_hidden(), gone
    for there in ("#guidance", ".leaflet-control-scale", ".north", "#legend"):
        assert page.locator(there).first.is_visible(), there
    assert page.locator(".print-yard").count() == 2
    assert page.locator(".print-yard .where-yard").count() == 2
    assert page.locator(".print-yard .d-row").count() == 9
    assert page.locator(".print-yard .d-apron").count() == 2
    # nothing of the legend is cut off by the map's height
    legend = page.locator("#legend").bounding_box()
    last = page.locator("#legend li").last.bounding_box()
    assert last["y"] + last["height"] <= legend["y"] + legend["height"] + 1


def test_long_names_widen_no_screen(visit, wordy):
    page = visit(wordy, **PHONE).page
    unfold(page)
    page.select_option("#goto", "yard Y1")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    names = page.locator(".label-field").all_inner_texts()
    assert all(len(name) <= 26 for name in names)
