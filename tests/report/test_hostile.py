"""Text from untrusted files stays text: in the page's data island, the crew sheet, the tables and the terminal."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from page_tags import Tags
from rich.console import Console

from stovergeo.report import grower_table
from stovergeo.report.crew import crew_sheet
from stovergeo.report.map_page import landowner_page
from stovergeo.report.page_data import island, page_data
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.tables import guarded, sources_table, write_csv, yards_table, zones_table


def split_island(page: str) -> tuple[str, str]:
    start = page.index('<script type="application/json" id="plan-data">')
    end = page.index("</script>", start)
    return page[:start] + page[end:], page[start:end].partition(">")[2]


@pytest.fixture(scope="module")
def joined(hostile_strings):
    return " ".join(hostile_strings)


@pytest.fixture(scope="module")
def wild(farm, joined, tmp_path_factory):
    return farm.made_result(tmp_path_factory.mktemp("plan"), lambda text: f"{text} {joined}")


def test_there_are_sixty_strings_and_they_reach_every_text(wild, joined, hostile_strings):
    assert len(set(hostile_strings)) >= 60
    data = json.dumps(page_data(wild, ledger_of(wild)), ensure_ascii=False)
    assert data.count("onerror=alert(1)") >= 60  # far more than sixty places


def test_outside_the_island_the_page_holds_no_untrusted_text(result, wild):
    plain, _ = split_island(landowner_page(result, ledger_of(result)))
    hostile, inside = split_island(landowner_page(wild, ledger_of(wild)))
    assert hostile == plain  # not one byte of it is outside
    for mark in "<>&'\u2028\u2029\u202e":
        assert mark not in inside


def test_the_island_gives_back_every_string(wild, joined):
    _, inside = split_island(landowner_page(wild, ledger_of(wild)))
    back = json.loads(inside)
    assert back["farm"] == f"Two Hills farm {joined}"
    assert back == json.loads(json.dumps(page_data(wild, ledger_of(wild))))


@given(st.text())
@settings(max_examples=examples(200))
def test_any_text_survives_the_island_and_cannot_leave_it(text):
    inside = island({"text": text})
    assert json.loads(inside) == {"text": text}
    assert not set("<>&'\u2028\u2029") & set(inside)


def test_crew_sheet_has_the_same_tags_with_hostile_text(result, wild, joined):
    plain, hostile = Tags(crew_sheet(result, ledger_of(result))), Tags(crew_sheet(wild, ledger_of(wild)))
    assert hostile.seen == plain.seen
    assert "<img src=x onerror=alert(1)>{{7*7}}${1}" in hostile.text


def test_no_cell_of_a_table_can_start_a_formula(wild, tmp_path):
    ledger = ledger_of(wild)
    tables = {"zones": zones_table(wild, ledger), "yards": yards_table(wild, ledger), "sources": sources_table(wild)}
    for name, table in tables.items():
        write_csv(table, tmp_path / name)
        with (tmp_path / name).open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
        if "longitude" in table:  # numbers are never guarded
            at = rows[0].index("longitude")
            assert all(float(row[at]) < 0 for row in rows[1:])
        assert len({len(r) for r in rows}) == 1
        for cell in (c for row in rows for c in row):
            if cell[:1] in "=+-@\t\r" and cell:
                float(cell)  # only a true number may begin so


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", " =", "＝", "\u202e=", "\x00="])
def test_text_that_a_spreadsheet_would_run_is_guarded(start):
    """The starts named by OWASP's page on CSV injection (read second-hand), with full-width and hidden variants."""
    assert guarded(start + "1+1").startswith("'")


def test_terminal_shows_markup_as_text(wild):
    out = io.StringIO()
    console = Console(file=out, width=4000)
    for part in grower_table(wild):
        console.print(part)
    assert "[bold red]x[/]" in out.getvalue()
