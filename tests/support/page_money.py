"""Every amount of money on a landowner's page, as it is printed."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

from stovergeo.core.printing import UNIT_SYSTEMS, quantity

_WRITTEN = re.compile(r"\$\s?([\d,]*\.?\d+)|([\d,]*\.?\d+)(?:\s\([^)]*\))?\s?\$")


def money_in(page: str) -> set[str]:
    """Return the numbers beside a dollar sign in the page's data, and outside of them."""
    head, _, rest = page.partition('id="plan-data">')
    island, _, tail = rest.partition("</script>")
    without_scripts = re.sub(r"<(script|style).*?</\1>", "", head + tail, flags=re.DOTALL)
    return {*_amounts(json.loads(island)), *_written(without_scripts)}


def printed_money(amounts: Iterable[tuple[str, float]]) -> set[str]:
    """Return the numbers beside a dollar sign of amounts, each a kind of quantity and a value, in every unit system."""
    return {n for kind, value in amounts for system in UNIT_SYSTEMS for n in _written(quantity(kind, value, system))}


def _amounts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield from _written(value)
    elif isinstance(value, dict | list):
        for below in value.values() if isinstance(value, dict) else value:
            yield from _amounts(below)


def _written(text: str) -> list[str]:
    return [before or after for before, after in _WRITTEN.findall(text)]
