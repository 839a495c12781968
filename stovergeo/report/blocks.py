"""What the page is made of: texts in every unit system, and the blocks that it lays out.

A block is a dict with one key that names its kind: ``p`` (a text), ``ul`` (texts), ``table``, ``bars``, ``curves``,
``drawing``, ``more`` (blocks folded away). All texts are for the landowner.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import pandas as pd

from stovergeo.core.messages import Catalog, templates
from stovergeo.core.printing import UNIT_SYSTEMS, Parts, parts, quantity
from stovergeo.report.embedded import without_inner_capitals
from stovergeo.report.ledger import Ledger

Block = dict[str, Any]
Cell = Sequence[str | dict[str, str]]  #: plain text, or text whose quantities differ by unit system
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
message: Final = Catalog("stovergeo.report")


def text(value: Any) -> Parts:
    """Return a message, a plain text, or several one after the other, as the page holds them."""
    return parts(without_inner_capitals(value), "landowner")


def texts(values: Sequence[Any]) -> list[Parts]:
    """Return messages as texts of their own, without those that say nothing to a landowner."""
    return [one for one in map(text, values) if one]


def amount(kind: str, value: float) -> Parts:
    """Return a quantity as a whole text."""
    by_system = {system: quantity(kind, value, system) for system in UNIT_SYSTEMS}
    return list(set(by_system.values())) if len(set(by_system.values())) == 1 else [by_system]


def entry(ledger: Ledger, of: str, what: str) -> Parts:
    """Return a number of the plan as a whole text."""
    found = ledger.entries[of, what]
    return amount(found.kind, found.value)


def numbers(ledger: Ledger, of: str, *keys: str) -> list[Parts]:
    """Return several numbers of the plan, each as a whole text."""
    return [entry(ledger, of, what) for what in keys]


def numbers_about(ledger: Ledger, of: str, **keys: str) -> list[list[Cell]]:
    """Return rows of a label and a number of the plan: what it is in the ledger by the name of its label."""
    return [[label(name), entry(ledger, of, what)] for name, what in keys.items()]


def has_message(key: str) -> bool:
    """Return whether the report has a message under a key: of what a plug-in brings it has none."""
    return key in templates(message.package)


def plain(key: str, **values: Any) -> str:
    """Return a message as text that reads alike in every unit system."""
    return alike(message(key, **values))


def alike(text: Any) -> str:
    """Return a message without quantities as text.

    Raises
    ------
    TypeError
        When it holds a quantity, which prints by the reader's units.
    """
    return "".join(parts(text))  # type: ignore[arg-type]  # a part that differs by system is no text


def label(name: str, **values: str) -> str:
    """Return the label of a row or the head of a column."""
    return plain(f"label.{name}", **values)


def caption(name: str) -> str:
    """Return the title of a table, a picture, or of what is folded away."""
    return plain(f"caption.{name}")


def table(name: str, columns: str, rows: Sequence[Sequence[Cell]]) -> Block:
    """Return a block that is a table, with the names of its columns."""
    return {"table": {"caption": caption(name), "head": [label(c) for c in columns.split()], "rows": rows}}


def tables(name: str, columns: str, rows: Sequence[Sequence[Cell]]) -> list[Block]:
    """Return a table as a list of blocks, empty where it has no rows."""
    return [table(name, columns, rows)] if rows else []


def facts(name: str, rows: Sequence[Sequence[Cell]]) -> Block:
    """Return a table of what there is and how much."""
    return table(name, "what how_much", rows)


def more(name: str, *blocks: Block) -> list[Block]:
    """Return blocks folded away under a title, as a list that is empty where there are none."""
    return [{"more": {"title": caption(name), "blocks": blocks}}] if blocks else []


def bars(
    name: str, kind: str, rows: Sequence[tuple[str, float]], line: tuple[str, float] | None = None, whole: float = 0
) -> Block:
    """Return bars as shares of the longest, or of `whole` where that is more; each with its number beside it."""
    longest = max([whole, *(v for _, v in [*rows, *([line] if line else [])] if v == v)]) or 1.0

    def bar(title: str, value: float) -> list[Any]:
        return [title, round(value / longest, 4) if value == value else 0, amount(kind, value)]

    return {"bars": {"caption": caption(name), "rows": [bar(*r) for r in rows], "line": bar(*line) if line else None}}


def rows_of(frame: pd.DataFrame, column: str, value: str) -> Iterator[Any]:
    """Yield the rows of a table that belong to a zone or yard; none where the table is empty and has no columns."""
    return frame[frame[column] == value].itertuples() if len(frame) else iter(())
