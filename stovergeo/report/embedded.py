"""Sentences inside sentences: where one stands after a colon or a word it begins with a small letter."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from stovergeo.core.messages import Catalog, Field, Message

_message = Catalog("stovergeo.report")


def without_inner_capitals(value: Any) -> Any:
    """Return a message, or several, in which no message inside another keeps its capital unless it is a name."""
    if isinstance(value, tuple | list):
        return type(value)(map(without_inner_capitals, value))
    if not isinstance(value, Message):
        return value
    values = {name: without_inner_capitals(inner) for name, inner in value.values.items()}
    before = ""
    for part in value.template.landowner:
        if isinstance(part, Field):
            if part.spec in ("", "and", "or") and before[-1:].isalnum() | before.endswith((":", ",", ";")):
                values[part.name] = _small(values[part.name])
            before = part.name
        else:
            before = part.rstrip() or before
    return replace(value, values=values)


def _small(value: Any) -> Any:
    """Return a message that begins with a small letter; what begins with a value of its own, as a name, stays."""
    if isinstance(value, tuple | list) and value:
        return type(value)([_small(value[0]), *value[1:]])
    if not isinstance(value, Message):
        return value
    start = value.template.landowner[0]
    if isinstance(start, Field) or not start[:1].isupper() or start[1:2].isupper():
        return value
    return _message("embedded.lower", text=value)
