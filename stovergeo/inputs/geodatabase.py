"""Tables of a file geodatabase, read by GDAL's own driver, everything as text."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pyogrio

from stovergeo.inputs.place import Place
from stovergeo.inputs.text import clean_text

DRIVER: Final = "OpenFileGDB"
_CHUNK: Final = 200


def layer_names(path: Path, at: Place) -> dict[str, str]:
    """Return the names of layers and tables: in lower case -> as they stand.

    Raises
    ------
    InputError
        ``file.unreadable``.
    """
    with _guarded(path, at):
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
    return {name.lower(): name for name in names}


def read_rows(path: Path, at: Place, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
    """Return chosen columns of the rows whose key is among the values.

    Columns the table lacks are left out. `table`, `columns` and `key` come from this package, never from a file.

    Raises
    ------
    InputError
        ``file.unreadable``.
    """
    name = layer_names(path, at).get(table)
    rows = pd.DataFrame(columns=columns)
    if name is None:
        return rows
    with _guarded(path, at):
        info = pyogrio.read_info(path, layer=name)
        there = dict(zip(map(str.lower, info["fields"]), info["fields"], strict=True))
        if key not in there:
            return rows
        kinds = dict(zip(info["fields"], info["dtypes"], strict=True))
        written = [_literal(v, np.dtype(kinds[there[key]])) for v in values]
        chosen = [text for text in written if text is not None]
        taken = {there[c]: c for c in columns if c in there}
        parts = [
            pyogrio.read_dataframe(
                path,
                layer=name,
                columns=list(taken),
                where=f'"{there[key]}" IN ({", ".join(chosen[start : start + _CHUNK])})',
                read_geometry=False,
                use_arrow=False,
            ).astype(object)
            for start in range(0, len(chosen), _CHUNK)
        ]
        if parts:
            rows = pd.concat(parts, ignore_index=True).rename(columns=taken)
    return rows


@contextmanager
def _guarded(path: Path, at: Place) -> Iterator[None]:
    """Name what the library raises or remarks about a file."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            yield
        except Exception as error:  # damaged bytes make the library raise what it never meant to
            raise at.refuse("file.unreadable", f"{path.name}: {clean_text(error)}.") from None
    for text in sorted({clean_text(w.message) for w in said}):
        at.add("file.reader_says", f"{path.name}: {text}")


def _literal(value: str, kind: np.dtype) -> str | None:
    """Return a key as the query language writes it; None where a column of numbers cannot hold it."""
    if kind.kind in "iuf":
        return value if value.isdecimal() else None
    return "'" + value.replace("'", "''") + "'"
