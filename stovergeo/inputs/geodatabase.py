"""Tables of a file geodatabase, read by GDAL's own driver, everything as text."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pyogrio

DRIVER: Final = "OpenFileGDB"
_CHUNK: Final = 200


def layer_names(path: Path) -> dict[str, str]:
    """Return the names of layers and tables: in lower case -> as they stand."""
    return {str(name).lower(): str(name) for name, _ in pyogrio.list_layers(path)}


def read_rows(path: Path, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
    """Return chosen columns of the rows whose key is among the values.

    Columns the table lacks are left out. `table`, `columns` and `key` come from this package, never from a file.
    """
    name = layer_names(path).get(table)
    if name is None:
        return pd.DataFrame(columns=columns)
    info = pyogrio.read_info(path, layer=name)
    there = dict(zip(map(str.lower, info["fields"]), info["fields"], strict=True))
    if key not in there:
        return pd.DataFrame(columns=columns)
    taken = {there[c]: c for c in columns if c in there}
    kinds = dict(zip(info["fields"], info["dtypes"], strict=True))
    quoted = [_literal(v, np.dtype(kinds[there[key]])) for v in values]
    chosen = [q for q in quoted if q is not None]
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
    rows = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(taken))
    return rows.rename(columns=taken)


def _literal(value: str, kind: np.dtype) -> str | None:
    """Return a key as the query language writes it; None where a column of numbers cannot hold it."""
    if kind.kind in "iuf":
        return value if value.isdecimal() else None
    return "'" + value.replace("'", "''") + "'"
