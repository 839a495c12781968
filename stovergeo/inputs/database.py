"""SQLite databases (GeoPackages, soil surveys): looked through before a library opens them, and read as text."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pandas as pd

from stovergeo.inputs.place import Place
from stovergeo.inputs.text import clean_text

#: virtual tables that only index what the same file holds
_OWN_INDEXES: Final = ("rtree", "fts3", "fts4", "fts5", "gpkg_rtree")
_CHUNK: Final = 500  # SQLite allows at least 999 parameters in a query


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    base = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
    # text in another encoding than the file claims is kept, its letters marked as lost, and reported on cleaning
    base.text_factory = lambda given: given.decode("utf-8", "replace")
    try:
        base.execute("PRAGMA trusted_schema = OFF")
        base.execute("PRAGMA query_only = ON")
        yield base
    finally:
        base.close()


def check_database(path: Path, at: Place) -> None:
    """Refuse a database that is damaged, or whose tables reach beyond the file.

    Raises
    ------
    InputError
        ``file.unreadable``, ``file.signature``.
    """
    try:
        with _opened(path) as base:
            texts = [str(sql) for (sql,) in base.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")]
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the second where the message itself quotes damaged text
        raise at.refuse("file.unreadable", f"{path.name}: {clean_text(error)}.") from None
    for text in texts:
        words = text.lower().split()
        if words[:3] == ["create", "virtual", "table"]:
            module = text.lower().split(" using ", 1)[-1].strip().split("(")[0].strip()
            if module not in _OWN_INDEXES:
                said = f"{path.name} holds a virtual table ({clean_text(module)[:40]}) that can read other files."
                raise at.refuse("file.signature", said)
        if words[:2] == ["create", "view"] and "recursive" in words:
            raise at.refuse("file.signature", f"{path.name} holds a view that may never end.")


def table_names(path: Path) -> set[str]:
    """Return the names of the plain tables of a database, in lower case."""
    try:
        with _opened(path) as base:
            return {str(n).lower() for (n,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except (sqlite3.Error, UnicodeDecodeError):
        return set()


def read_rows(path: Path, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
    """Return chosen columns of the rows whose key is among the values, everything as text.

    Columns the table lacks are left out. `table`, `columns` and `key` come from this package, never from a file.
    """
    with _opened(path) as base:
        there = {str(row[1]).lower() for row in base.execute(f'PRAGMA table_info("{table}")')}
        taken = [c for c in columns if c in there]
        if key not in there:
            return pd.DataFrame(columns=columns)
        chosen = ", ".join(f'"{c}"' for c in taken)
        rows: list[tuple] = []
        for start in range(0, len(values), _CHUNK):
            part = values[start : start + _CHUNK]
            marks = ", ".join("?" * len(part))
            # a key may be kept as number or text: it is compared as text
            rows += base.execute(f'SELECT {chosen} FROM "{table}" WHERE CAST("{key}" AS TEXT) IN ({marks})', part)
    return pd.DataFrame(rows, columns=taken, dtype=object)
