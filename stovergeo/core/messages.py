"""Messages: the key of a template and the SI values that go into it.

A package that has something to say returns a `Message`, never text. The templates of a package stand in
``messages.toml`` beside its code. `stovergeo.core.printing` turns messages into text, once, where a page,
a file or the terminal is written.

A template is plain text with fields in braces:

=======================  ==========================================================================
``{name}``               text as it is, a whole number with its thousands marked, a date, or another message
``{slope:percent1}``     a number in SI, printed as that kind of quantity in the reader's units
``{titles:and}``         several texts or messages, joined: ``a, b and c`` (``or`` likewise)
``{title:capital}``      text with its first letter large; ``lower`` with it small
``{month:month}``        the name of a month, from its number
``{bales|bale|bales}``   the first word for exactly one, else the second
=======================  ==========================================================================

An entry that is a table holds ``text`` for the grower and ``landowner`` for the landowner's page, where keys
of the plan file would mean nothing; and ``elsewhere`` for both where the farm lies outside the United States, if the
text names what is only there.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any, Final, Literal, get_args

Reader = Literal["grower", "landowner"]
Text = "str | Message | Sequence[Text]"

_FIELD: Final = re.compile(r"\{(?P<name>\w+)(?::(?P<spec>\w+))?(?:\|(?P<one>[^{}|]*)\|(?P<many>[^{}|]*))?\}")


@dataclass(frozen=True, slots=True)
class Field:
    """A place in a template that a value fills."""

    name: str
    spec: str = ""  #: kind of quantity, or how text is joined or written
    words: tuple[str, str] | None = None  #: for one, and for any other number


@dataclass(frozen=True, slots=True)
class Template:
    """A template taken apart once: plain text and fields, for each reader."""

    grower: tuple[str | Field, ...]
    landowner: tuple[str | Field, ...]
    elsewhere: tuple[str | Field, ...] | None = None  #: outside the United States, where that is another

    def parts(self, reader: Reader, elsewhere: bool = False) -> tuple[str | Field, ...]:
        """Return the template for this reader, of a farm in the United States or elsewhere."""
        if elsewhere and self.elsewhere is not None:
            return self.elsewhere
        return self.landowner if reader == "landowner" else self.grower

    @property
    def names(self) -> frozenset[str]:
        """The values it needs."""
        return frozenset(p.name for p in (*self.grower, *self.landowner) if isinstance(p, Field))


@dataclass(frozen=True)
class Message:
    """One thing to say: a template and its values in SI.

    Parameters
    ----------
    package : str
        Import name of the package whose ``messages.toml`` holds the template.
    key : str
        Of the template, ``group.name``.
    values : mapping
        Name to value: a number in SI, a whole number, text, a date, a message, or several of these.
    """

    package: str
    key: str
    values: Mapping[str, Any]

    @property
    def template(self) -> Template:
        """The template the values go into."""
        return templates(self.package)[self.key]

    def __str__(self) -> str:
        """Return it in both unit systems, for a table in a notebook; no file or page is written this way."""
        from stovergeo.core.printing import BOTH, render  # printing imports this module

        return render(self, BOTH)


class Catalog:
    """Makes the messages of one package.

    Examples
    --------
    >>> from stovergeo.core.messages import Catalog
    >>> from stovergeo.core.printing import render
    >>> message = Catalog("stovergeo.core")
    >>> text = message("unknown", what="Slope")
    >>> text.values["what"], render(text, "us")
    ('Slope', 'Slope: not known here.')
    """

    def __init__(self, package: str) -> None:
        self.package = package

    def __call__(self, key: str, **values: Any) -> Message:
        """Return a message.

        Raises
        ------
        KeyError
            When the package has no such template.
        TypeError
            When a value that the template needs is missing, or one is given that it does not use.
        """
        template = templates(self.package)[key]
        if template.names != values.keys():
            lacking, unused = sorted(template.names - values.keys()), sorted(values.keys() - template.names)
            raise TypeError(f"message {self.package}:{key} lacks {lacking} and does not use {unused}")
        return Message(self.package, key, values)


@cache
def templates(package: str) -> dict[str, Template]:
    """Return the templates of a package by key, read from its ``messages.toml``.

    Raises
    ------
    ValueError
        When a template holds a brace that is no field.
    """
    table = tomllib.loads(files(package).joinpath("messages.toml").read_text("utf-8"))
    found: dict[str, Template] = {}
    _collect(table, (), found)
    return found


def _collect(table: Mapping[str, Any], path: tuple[str, ...], found: dict[str, Template]) -> None:
    for name, entry in table.items():
        key = ".".join((*path, name))
        if isinstance(entry, str):
            parts = _parts(entry, key)
            found[key] = Template(parts, parts)
        elif isinstance(entry.get("text"), str):
            abroad = _parts(entry["elsewhere"], key) if "elsewhere" in entry else None
            landowner = _parts(entry.get("landowner", entry["text"]), key)
            found[key] = Template(_parts(entry["text"], key), landowner, abroad)
        else:
            _collect(entry, (*path, name), found)


def _parts(text: str, key: str) -> tuple[str | Field, ...]:
    parts: list[str | Field] = []
    end = 0
    for match in _FIELD.finditer(text):
        parts.append(text[end : match.start()])
        words = None if match["one"] is None else (match["one"], match["many"])
        parts.append(Field(match["name"], match["spec"] or "", words))
        end = match.end()
    parts.append(text[end:])
    if any(isinstance(p, str) and ("{" in p or "}" in p) for p in parts):
        raise ValueError(f"message {key}: a brace stands outside a field: {text!r}")
    return tuple(p for p in parts if p != "")


def check_message(value: object) -> None:
    """Raise an error unless a value is a message that can be printed for every reader in every unit system.

    Raises
    ------
    TypeError
        When it is no message.
    Exception
        Whatever its template or its values make go wrong.
    """
    from stovergeo.core.printing import parts  # printing imports this module

    if not isinstance(value, Message):
        raise TypeError(f"a message is needed, not {type(value).__name__}")
    for reader in get_args(Reader):
        parts(value, reader)


def is_text(value: object) -> bool:
    """Tell whether a value is something to say: text, a message, or several of these."""
    if isinstance(value, str | Message):
        return True
    return isinstance(value, tuple | list) and bool(value) and all(is_text(v) for v in value)


def is_date(value: object) -> bool:
    """Tell whether a value is a day."""
    return isinstance(value, date)
