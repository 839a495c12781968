"""A season as it is printed: with its ledger, and with the ledger's numbers in its tables and sentences.

A figure of a sentence may print one step of its last digit off in the ledger, so that columns add up.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from stovergeo.core.messages import Field, Message
from stovergeo.core.units import Quantity
from stovergeo.report.embedded import without_inner_capitals
from stovergeo.report.ledger import Ledger
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.report.plan_tables import AMOUNTS, TABLES, TOTALS
from stovergeo.result import SeasonResult

Figures = dict[tuple[str, float], Quantity]  #: number by its kind and value


def as_printed(result: SeasonResult) -> tuple[SeasonResult, Ledger]:
    """Return a season whose sentences print their figures as its ledger does, and that ledger."""
    ledger = ledger_of(result)
    return with_figures_of(result, ledger), ledger


def with_numbers_of(result: SeasonResult, ledger: Ledger) -> SeasonResult:
    """Return a season whose tables and totals hold the ledger's numbers, where it has them."""
    changed: dict[str, pd.DataFrame] = {}
    tables = result.tables()
    for read in TABLES:
        table = tables.get(read.name)
        if table is None or not len(table):
            continue
        whose = [" ".join([read.of, *map(str, k)]) for k in table[list(read.keys)].itertuples(index=False, name=None)]
        columns = {c: what for c, (what, _) in read.columns.items()} | (AMOUNTS if read.keys == ("zone_id",) else {})
        numbers = {c: [float(ledger[of, what]) for of in whose] for c, what in columns.items() if c in table}
        changed[read.name] = table.assign(**{c: pd.Series(v, table.index, table[c].dtype) for c, v in numbers.items()})
    totals = {
        key: ("farm", TOTALS[key]) if key in TOTALS else (f"step {key.removeprefix('cost_')}", "cost")
        for key in result.totals
    }
    found = {key: float(ledger[of]) for key, of in totals.items() if of in ledger}
    return replace(result.with_tables(**changed), totals={**result.totals, **found})


def with_figures_of(result: SeasonResult, ledger: Ledger) -> SeasonResult:
    """Return a season whose messages print their figures as the ledger does, where it holds them."""
    figures = _figures(ledger)
    changed: dict[str, pd.DataFrame] = {}
    for name, table in result.tables().items():
        columns = {c: table[c].map(lambda v: _adjusted(v, figures)) for c in table.columns if _has_text(table[c])}
        changed |= {name: table.assign(**columns)} if columns else {}
    return replace(
        result.with_tables(**changed),
        words=_adjusted(result.words, figures),
        not_checked=_adjusted(result.not_checked, figures),
    )


def _figures(ledger: Ledger) -> Figures:
    """Return the numbers that print other than by themselves; of those that print in two ways none."""
    figures: Figures = {}
    twice = set()
    for _, entry in ledger:
        if entry.value.printed:
            key = (entry.kind, float(entry.value))
            if figures.setdefault(key, entry.value).printed != entry.value.printed:
                twice.add(key)
    return {key: value for key, value in figures.items() if key not in twice}


def _has_text(column: pd.Series) -> bool:
    return column.dtype.kind == "O" and any(isinstance(v, Message | tuple) for v in column)


def _adjusted(value: Any, figures: Figures) -> Any:
    """Return a message, or several, with the ledger's figures in it."""
    if isinstance(value, Message):
        kinds = {p.name: p.spec for p in value.template.grower if isinstance(p, Field)}
        values = {
            name: figures.get((kinds.get(name, ""), v), v) if isinstance(v, float) else _adjusted(v, figures)
            for name, v in value.values.items()
        }
        return without_inner_capitals(replace(value, values=values))
    if isinstance(value, tuple | list):
        return type(value)(_adjusted(one, figures) for one in value)
    if isinstance(value, dict):
        return {key: _adjusted(one, figures) for key, one in value.items()}
    return value
