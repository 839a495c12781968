"""Every number in the bytes of what a season writes: where it stands, and what it is."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd
import pyogrio
from rich.console import Console

from stovergeo.core.messages import Field, Message, Template
from stovergeo.core.printing import KINDS, UNIT_SYSTEMS, number
from stovergeo.report.figures import with_figures_of
from stovergeo.report.ledger import Ledger
from stovergeo.report.terminal import closing_lines
from stovergeo.result import SeasonResult

#: a number that stands for itself: not part of a name such as F1-a, a date, a version or a longer word
_NUMBER = re.compile(r"(?<![\w.,:/-])[-−]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?![\w:/]|[.,]\d|-\w)")


#: layers as they were brought
BROUGHT = ("yield_points", "soils", "surroundings")


class Number(NamedTuple):
    """A number in an output."""

    where: str  #: file, and where in it
    text: str  #: as it stands there
    raw: bool  #: a cell or a JSON number, not a figure in a text


def numbers_in(text: str) -> list[str]:
    """Return the numbers of a text, in order."""
    return [found[0].replace("−", "-") for found in _NUMBER.finditer(text)]


def _of_text(where: str, text: str) -> Iterator[Number]:
    yield from (Number(where, found, False) for found in numbers_in(text))


def _of_cell(where: str, cell: str) -> Iterator[Number]:
    try:
        float(cell)
    except ValueError:
        yield from _of_text(where, cell)
    else:
        yield Number(where, cell, True)


def of_terminal(result: SeasonResult, ledger: Ledger) -> Iterator[Number]:
    """Yield the numbers of the lines that end a run."""
    out = io.StringIO()
    console = Console(file=out, width=4000)
    for part in closing_lines(with_figures_of(result, ledger), ledger):
        console.print(part)
    yield from _of_text("terminal", out.getvalue())


def of_csv(path: Path) -> Iterator[Number]:
    """Yield the numbers of a table, by column."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        for row in csv.DictReader(file):
            for column, cell in row.items():
                yield from _of_cell(f"{path.name} {column}", cell)


def of_json(name: str, value: Any, path: str = "") -> Iterator[Number]:
    """Yield the numbers of plain JSON values, by the keys that lead to them."""
    if isinstance(value, dict):
        for key, below in value.items():
            yield from of_json(name, below, f"{path}/{key}")
    elif isinstance(value, list):
        for below in value:
            yield from of_json(name, below, path)
    elif isinstance(value, str):
        yield from _of_text(f"{name} {path}", value)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield Number(f"{name} {path}", repr(value), True)


class _Page(HTMLParser):
    """Visible text of a page, by the nearest tag, and its data island."""

    def __init__(self) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.texts: list[tuple[str, str]] = []
        self.island = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag not in ("meta", "link", "br", "input", "path", "img"):
            self.stack.append("island" if told.get("id") == "plan-data" else f"{tag}.{told.get('class') or ''}")
        self.texts += [(f"{tag}@{name}", told[name] or "") for name in ("aria-label", "title", "alt") if name in told]

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("meta", "link", "br", "input", "path", "img") and self.stack:
            self.stack.pop()

    def handle_data(self, data: str) -> None:
        top = self.stack[-1] if self.stack else ""
        if top == "island":
            self.island += data
        elif not top.startswith(("script", "style")):
            self.texts.append((top, data))


def of_html(path: Path) -> Iterator[Number]:
    """Yield the numbers of a page: of its visible text, and of the data its script shows."""
    page = _Page()
    page.feed(path.read_text("utf-8"))
    for tag, text in page.texts:
        yield from _of_text(f"{path.name} <{tag}>", text)
    if page.island:
        yield from of_json(path.name, json.loads(page.island))


def of_gpkg(path: Path) -> Iterator[Number]:
    """Yield the numbers of the tables and layers that are the plan's own, geometry left out."""
    for layer in (name for name, _ in pyogrio.list_layers(path) if not name.startswith(BROUGHT)):
        table = pd.DataFrame(pyogrio.read_dataframe(path, layer=layer, read_geometry=False))
        for column in table.columns:
            for cell in table[column]:
                where = f"{path.name} {layer}/{column}"
                if isinstance(cell, str):
                    yield from _of_text(where, cell)
                elif not isinstance(cell, bool) and cell == cell and cell is not None:
                    yield Number(where, repr(float(cell)), True)


def of_files(written: dict[str, Path]) -> Iterator[Number]:
    """Yield the numbers of every file but the rasters, which hold no text."""
    for name, path in written.items():
        if name.endswith(".csv"):
            yield from of_csv(path)
        elif name.endswith(".html"):
            yield from of_html(path)
        elif name.endswith(".json"):
            yield from of_json(name, json.loads(path.read_text("utf-8")))
        elif name.endswith(".gpkg"):
            yield from of_gpkg(path)


def messages_of(result: SeasonResult) -> Iterator[Message]:
    """Yield every message that a season holds, those inside others too."""
    for table in result.tables().values():
        for column in table.columns[[kind.kind == "O" for kind in table.dtypes]]:
            yield from _messages(list(table[column]))
    yield from _messages([result.words, result.not_checked])
    yield from _messages([p.what for p in result.problems])


def _messages(value: Any) -> Iterator[Message]:
    if isinstance(value, Message):
        yield value
        yield from _messages(value.values)
    elif isinstance(value, dict):
        yield from _messages(list(value.values()))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _messages(one)


def figures_of(message: Message) -> Iterator[tuple[str, Any]]:
    """Yield kind and value of each figure of a message."""
    template: Template = message.template
    for part in dict.fromkeys((*template.grower, *template.landowner)):
        if isinstance(part, Field) and part.words is None and isinstance(message.values[part.name], int | float):
            yield part.spec, message.values[part.name]


def said_numbers(messages: Iterable[Message]) -> set[str]:
    """Return every number that messages print, in every unit system: their figures, and those of the templates."""
    found: set[str] = set()
    for message in messages:
        template = message.template
        for text in (*template.grower, *template.landowner):
            if isinstance(text, str):
                found.update(numbers_in(text))
        for kind, value in figures_of(message):
            if kind in KINDS:
                found.update(number(kind, value, system) for system in UNIT_SYSTEMS)
                given = getattr(value, "given", None)
                found.update(() if given is None else (f"{given:g}", f"{given:,.10g}"))
            else:
                found.update((f"{value:,}", f"{value:,g}", str(value)))
        for value in message.values.values():
            if isinstance(value, str):
                found.update(numbers_in(value))
    return found
