"""Sentences whose figures stand in the ledger too: there they may print one step of the last digit off, to add up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from stovergeo.core.messages import Field, Message
from stovergeo.core.units import Quantity
from stovergeo.report.ledger import Ledger
from stovergeo.result import SeasonResult

Held = dict[tuple[str, float], Quantity]  #: number by its kind and value


def with_figures_of(result: SeasonResult, ledger: Ledger) -> SeasonResult:
    """Return a season whose messages print their figures as the ledger does, where it holds them."""
    held = _held(ledger)
    changed: dict[str, Any] = {}
    for name in result.__dataclass_fields__:
        value = getattr(result, name)
        if isinstance(value, pd.DataFrame):
            columns = {c: value[c].map(lambda v: _told(v, held)) for c in value.columns if _says(value[c])}
            changed |= {name: value.assign(**columns)} if columns else {}
    words = {topic: _told(lines, held) for topic, lines in result.words.items()}
    return replace(result, **changed, words=words, not_checked=_told(result.not_checked, held))


def _held(ledger: Ledger) -> Held:
    """Return the numbers that print other than by themselves; of those that print in two ways none."""
    held: Held = {}
    twice = set()
    for _, entry in ledger:
        if entry.value.printed:
            key = (entry.kind, float(entry.value))
            if held.setdefault(key, entry.value).printed != entry.value.printed:
                twice.add(key)
    return {key: value for key, value in held.items() if key not in twice}


def _says(column: pd.Series) -> bool:
    return column.dtype.kind == "O" and any(isinstance(v, Message | tuple) for v in column)


def _told(said: Any, held: Held) -> Any:
    if isinstance(said, Message):
        kinds = {p.name: p.spec for p in said.template.grower if isinstance(p, Field)}
        values = {
            name: held.get((kinds.get(name, ""), value), value) if isinstance(value, float) else _told(value, held)
            for name, value in said.values.items()
        }
        return replace(said, values=values)
    if isinstance(said, tuple | list):
        return type(said)(_told(one, held) for one in said)
    if isinstance(said, dict):
        return {key: _told(one, held) for key, one in said.items()}
    return said
