"""Which known name a misspelt one may stand for."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.core")
_LONGEST: Final = 80


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name most like a word; None where none is like it.

    Case, and whether words are joined by a space, ``-`` or ``_``, count for nothing.
    """
    plain = {_plain(name): name for name in reversed(list(known))}
    near = difflib.get_close_matches(_plain(word), plain, n=1, cutoff=0.5)
    return plain[near[0]] if near else None


def unknown_value(word: str, known: Iterable[str]) -> Message:
    """Return that a plan holds a value that nothing knows, with the nearest that is known."""
    shown = word if len(word) <= _LONGEST else f"{word[:_LONGEST]} ..."
    near = nearest(shown, known)
    if near is None:
        return message("unknown_value.alone", value=shown)
    return message("unknown_value.near", value=shown, near=near)


def _plain(word: str) -> str:
    return word.casefold().replace("-", "_").replace(" ", "_")
