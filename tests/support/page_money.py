"""Every amount of money on a landowner's page, however it is written."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

_KINDS = {"money", "money2", "per_mass", "per_area"}
_WRITTEN = re.compile(r"\$\s?([\d,]*\.?\d+)|([\d,]*\.?\d+)(?:\s\([^)]*\))?\s?\$")


def money_in(page: str) -> set[float]:
    """Return the amounts in the page's data, as quantities or in words, and those written outside of them."""
    head, _, rest = page.partition('id="plan-data">')
    island, _, tail = rest.partition("</script>")
    found = {round(v, 6) for v in _amounts(json.loads(island))}
    without_scripts = re.sub(r"<(script|style).*?</\1>", "", head + tail, flags=re.DOTALL)
    return found | set(_written(without_scripts))


def _amounts(value: Any) -> Iterator[float]:
    if isinstance(value, str):
        yield from _written(value)
    elif isinstance(value, dict) and value.get("k") in _KINDS:
        yield float(value["v"])
    elif isinstance(value, dict | list):
        for below in value.values() if isinstance(value, dict) else value:
            yield from _amounts(below)


def _written(text: str) -> Iterator[float]:
    for before, after in _WRITTEN.findall(text):
        yield float((before or after).replace(",", ""))
