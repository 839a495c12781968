"""Every number of every output comes from the ledger: none is printed that is not in it, and none is printed twice."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from printed_numbers import Number, figures_of, messages_of, of_csv, of_files, of_json, of_terminal, said_numbers

from stovergeo.core.printing import KINDS, UNIT_SYSTEMS, how_printed, number
from stovergeo.core.units import Quantity
from stovergeo.report import page_data as page
from stovergeo.report import write_outputs
from stovergeo.report.crew import crew_sheet
from stovergeo.report.figures import with_figures_of, with_numbers_of
from stovergeo.report.geo_files import gpkg_layers
from stovergeo.report.ledger import Entry, Ledger
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.plan_tables import TABLES
from stovergeo.report.record import plan_record
from stovergeo.report.tables import write_csv, yards_table, zones_table
from stovergeo.result import SeasonResult

LONG = ("sample", "shortage", "no_need", "two_wraps", "nothing_leaves", "square_bales", "refused_ground", "own_numbers")
FARMS = ["made", *(pytest.param(name, marks=pytest.mark.long) for name in (*LONG, "answered"))]
#: where numbers stand that are not the plan's: what they are
NOT_OF_THE_PLAN = {
    r"(coordinates|/shape|/at|/lanes|/apron|/yards/rows|/frame/.*|/lonlat/.*|/grid/.*|longitude|latitude)$": (
        "places on the ground, and the way from the page's meters to longitude and latitude"
    ),
    r"^map\.html /(north_turn|rasters/.*|storage/curves/series/mid|.*/bars/(rows|line))$": (
        "what a picture is drawn from: packed rasters, curves, the lengths of bars"
    ),
    r"^map\.html /zones/(area|take|limit|odds)$": "what zones are colored by; their prints stand beside",
    r"^map\.html /systems/": "unit systems, for the page's own script",
    r"<text\.d-small>$": "scale bars",
    r"(/season|year|month)$|^plan\.json /ledger/of$|/more/blocks/table/rows$|/bars/rows$": "years and months",
    r"(source|sources/.*|sources\.csv.*|/more/blocks/ul|note|sensitivity/meaning)$": (
        "handbook numbers in their own units, and citations"
    ),
    r"^plan\.json /plan/": "the plan file, as it was read",
    r"^plan\.json /(soils|surroundings)/": "layers as they were brought",
    r"problems/(what|why|cure|where)$": "what was found in the layers",
    r"^plan\.json /(made_by|working_crs|files_sha256)": "versions, names of reference systems, checksums",
}
SHEETS = {"crew.html", "map.html", "zones.csv"}
#: numbers that are changed, and the outputs that print them
NUDGED = {
    ("zone F2-a", "area"): SHEETS,
    ("zone F2-a", "bales"): SHEETS,
    ("zone F2-a", "removal_rate"): SHEETS,
    ("haul F2-a Y2", "distance"): {"crew.html", "map.html"},
    ("yard Y2", "capacity"): {"map.html", "yards.csv"},
    ("farm", "removal"): {"terminal", "map.html"},
}
NUDGED_LONG = {
    ("zone F2-a", "removal"): {"zones.csv"},
    ("zone F2-a", "bale_as_is_mass"): {"map.html", "zones.csv"},
    ("zone F2-a", "potash"): {"map.html", "zones.csv"},
    ("zone F2-a", "compliance_probability"): {"map.html", "zones.csv"},
    ("zone F1-a", "retention_rate"): {"map.html", "zones.csv"},
    ("field F2", "removal"): {"terminal", "map.html"},
    ("field F2", "area"): {"terminal", "crew.html", "map.html"},
    ("farm", "gathered_area"): {"map.html"},
    ("yard Y2", "sun_fraction"): {"map.html", "yards.csv"},
    ("yard Y2", "slope"): {"map.html", "yards.csv"},
    ("sun Y2 2026 12", "sun_fraction"): {"map.html"},
    ("farm", "cost"): set(),
    ("farm", "need"): {"terminal"},
}
NUDGES = [*NUDGED.items(), *(pytest.param(*case, marks=pytest.mark.long) for case in NUDGED_LONG.items())]


@pytest.fixture(scope="module", params=FARMS)
def season(request: pytest.FixtureRequest, season_of: Callable[[str], SeasonResult]) -> SeasonResult:
    return season_of(request.param)


@pytest.fixture(scope="module")
def ledger(season: SeasonResult) -> Ledger:
    return ledger_of(season)


class Known:
    """Numbers that may be printed: in SI, and as text in any unit system."""

    def __init__(self, season: SeasonResult, ledger: Ledger) -> None:
        self.si = np.unique([abs(float(e.value)) for _, e in ledger if e.value == e.value])
        self.printed = {e.text(system) for _, e in ledger for system in UNIT_SYSTEMS}
        self.cells = {cleaned(text) for text in self.printed}
        self.said = said_numbers(messages_of(season))

    def __contains__(self, found: Number) -> bool:
        if not found.raw:
            return found.text in self.printed or found.text in self.said
        if found.text.removesuffix(".0") in self.cells:
            return True
        at = np.searchsorted(self.si, abs(float(found.text)))
        near = self.si[max(at - 1, 0) : at + 1]
        return bool(np.isclose(near, abs(float(found.text)), rtol=1e-9, atol=0).any())


def test_no_number_is_written_that_is_not_in_the_ledger(
    season: SeasonResult, ledger: Ledger, tmp_path_factory: pytest.TempPathFactory
) -> None:
    known = Known(season, ledger)
    written = write_outputs(season, tmp_path_factory.mktemp("out"))
    foreign = re.compile("|".join(NOT_OF_THE_PLAN))
    found = [*of_terminal(season, ledger), *of_files(written)]
    strange = [n for n in found if n not in known and not foreign.search(n.where)]
    assert not strange, strange[:20]
    own = [n for n in found if not foreign.search(n.where)]
    assert len(own) > 1_000
    assert {n.where.split()[0] for n in own} >= {"terminal", "map.html", "crew.html", "zones.csv", "yards.csv"}


def test_a_figure_of_a_sentence_that_the_ledger_holds_prints_as_there(season: SeasonResult, ledger: Ledger) -> None:
    held: dict[tuple[str, float], set[tuple[str, ...]]] = {}
    for _, entry in ledger:
        texts = tuple(entry.text(system) for system in UNIT_SYSTEMS)
        held.setdefault((KINDS[entry.kind].si_unit + KINDS[entry.kind].column, float(entry.value)), set()).add(texts)
    compared = 0
    for message in messages_of(with_figures_of(season, ledger)):
        for kind, value in figures_of(message):
            if kind not in KINDS:
                continue
            same = held.get((KINDS[kind].si_unit + KINDS[kind].column, float(value)), set())
            decimals = {how_printed(kind, system).decimals for system in UNIT_SYSTEMS}
            alike = {t for t in same if {len(x.partition(".")[2]) for x in t} <= decimals}
            if alike:
                assert tuple(number(kind, value, system) for system in UNIT_SYSTEMS) in alike, (message.key, value)
                compared += 1
    assert compared > 20


def prints(season: SeasonResult, ledger: Ledger, folder: Path) -> dict[str, list[Number]]:
    """Return what each output prints that takes its numbers from the ledger."""
    tables = {"zones.csv": zones_table(season, ledger), "yards.csv": yards_table(season, ledger)}
    for name, table in tables.items():
        write_csv(table, folder / name)
    crew = re.sub(r"<svg.*?</svg>|<style>.*?</style>", "", crew_sheet(season, ledger), flags=re.DOTALL)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(page, "raster_layers", lambda *_: [])
        data = json.loads(page.island(page.page_data(season, ledger)))
    bar = re.compile(r"/bars/(rows|line)$")
    return {
        "terminal": list(of_terminal(season, ledger)),
        "crew.html": list(of_json("crew.html", re.split(r"<[^>]*>", crew))),
        "map.html": [n for n in of_json("map.html", data) if not (n.raw and bar.search(n.where))],
        **{name: list(of_csv(folder / name)) for name in tables},
    }


@pytest.fixture(scope="module")
def made(season_of: Callable[[str], SeasonResult]) -> SeasonResult:
    return season_of("made")


@pytest.fixture(scope="module")
def before(made: SeasonResult, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Number]]:
    return prints(made, ledger_of(made), tmp_path_factory.mktemp("before"))


@pytest.mark.parametrize(("key", "outputs"), NUDGES, ids=lambda v: " ".join(v) if isinstance(v, tuple) else "")
def test_a_number_that_changes_changes_in_every_print_of_it_and_nothing_else_does(
    made: SeasonResult, before: dict[str, list[Number]], key: tuple[str, str], outputs: set[str], tmp_path: Path
) -> None:
    ledger = ledger_of(made)
    old = ledger.entries[key]
    nudged = float(old.value) * 1.1 + (1 if old.kind == "count" else 0)
    new = Entry(old.kind, Quantity(round(nudged) if old.kind == "count" else nudged))
    after = prints(made, replace(ledger, entries=ledger.entries | {key: new}), tmp_path)
    became = dict(zip(texts(old), texts(new), strict=True))
    moved = set()
    for name, numbers in before.items():
        for one, two in zip(numbers, after[name], strict=True):
            if one != two:
                assert became[cleaned(one.text)] == cleaned(two.text), (one, two)
                moved.add(name)
    assert moved == outputs


def test_tables_of_the_record_and_the_geopackage_hold_the_ledgers_numbers(made: SeasonResult) -> None:
    """Every number of the ledger is moved: what it was filled from moves with it, in all tables that print it."""
    ledger = ledger_of(made)
    moved = {key: Entry(e.kind, Quantity(float(e.value) + 1)) for key, e in ledger.entries.items()}
    season = with_numbers_of(made, replace(ledger, entries=moved))
    record, layers = plan_record(season, replace(ledger, entries=moved)), gpkg_layers(season)
    compared = 0
    for read in TABLES:
        if read.name not in layers:
            continue
        rows = record[read.name]
        rows = [r["properties"] for r in rows["features"]] if isinstance(rows, dict) else rows
        before, after = (table.to_dict("records") for table in (made.tables()[read.name], layers[read.name]))
        for old, table, row in zip(before, after, rows, strict=True):
            for column in read.columns.keys() & row.keys():
                if math.isfinite(old[column]):
                    assert table[column] == row[column] == old[column] + 1, (read.name, column)
                    compared += 1
    assert compared > 200
    assert {k: v for k, v in record["totals"].items() if v is not None} == pytest.approx(
        {k: v + 1 for k, v in made.totals.items() if v == v}
    )
    numbers = {(e["of"], e["what"]): e["value"] for e in record["ledger"]}
    assert record["totals"]["cost"] == numbers["farm", "cost"]


def texts(entry: Entry) -> list[str]:
    """A number as it may stand in an output."""
    return [f"{float(entry.value):.10g}", *(cleaned(entry.text(system)) for system in UNIT_SYSTEMS)]


def cleaned(text: str) -> str:
    return text.replace(",", "").removesuffix(".0")


def test_a_number_that_two_tables_give_differently_stops_the_run(made: SeasonResult, tmp_path: Path) -> None:
    split = made.with_tables(hauls=made.supply.hauls.assign(distance_m=made.supply.hauls["distance_m"] * 1.001))
    with pytest.raises(ValueError, match="distance: entered as"):
        write_outputs(split, tmp_path / "out")
    assert not (tmp_path / "out").exists()
