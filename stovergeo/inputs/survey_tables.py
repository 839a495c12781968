"""The US soil survey's tables as downloaded: text files in the order of their own dictionary, or a database.

Layout: the survey's download notes and dictionary files (``mstab.txt``, ``mstabcol.txt``), read
second-hand in public readers of these files. The order of columns moves between editions, so it is
taken from the dictionary that comes with the data; a fixed order serves only where that is missing,
and is then tested against the values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.inputs.database import read_rows
from stovergeo.inputs.open_file import MAX_TEXT_BYTES
from stovergeo.inputs.soil_codes import DRAINAGE, HYDROLOGIC
from stovergeo.inputs.text import clean_text

#: what is read of each table: table -> (key to the rows asked for, columns)
WANTED: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "mapunit": ("mukey", ("mukey", "musym", "muname", "muhelcl")),
    "muaggatt": ("mukey", ("mukey", "wtdepannmin")),
    "component": (
        "mukey",
        ("mukey", "cokey", "comppct_r", "compname", "compkind", "majcompflag", "slopelenusle_r", "tfact", "wei",
         "hydricrating", "drainagecl", "hydgrp", "taxorder"),
    ),
    "chorizon": (
        "cokey",
        ("cokey", "chkey", "hzdept_r", "hzdepb_r", "sandvf_r", "silttotal_r", "claytotal_r", "om_r", "ksat_r",
         "kwfact", "kffact"),
    ),
    "chtexturegrp": ("chkey", ("chkey", "texture", "rvindicator")),
    "comonth": ("cokey", ("cokey", "comonthkey", "flodfreqcl", "pondfreqcl")),
    "cosoilmoist": ("comonthkey", ("comonthkey", "soimoistdept_r", "soimoiststat")),
}  # fmt: skip
NEEDED: Final = ("mapunit", "component")
#: file stems, where the dictionary does not say
_STEMS: Final = {
    "component": "comp",
    "chtexturegrp": "chtexgrp",
    "comonth": "cmonth",
    "cosoilmoist": "csmoist",
}
#: positions from 0 where there is no dictionary; negative ones count from the end, where keys stand
_ORDER: Final[dict[str, dict[str, int]]] = {
    "mapunit": {"musym": 0, "muname": 1, "muhelcl": 12, "mukey": -1},
    "muaggatt": {"wtdepannmin": 6, "mukey": -1},
    "component": {
        "comppct_r": 1, "compname": 3, "majcompflag": 5, "slopelenusle_r": 12, "tfact": 15, "wei": 16,
        "hydricrating": 22, "drainagecl": 23, "hydgrp": 79, "mukey": -2, "cokey": -1,
    },
    "chorizon": {
        "hzdept_r": 6, "hzdepb_r": 9, "sandvf_r": 48, "silttotal_r": 51, "claytotal_r": 60, "om_r": 66, "ksat_r": 82,
        "kwfact": 111, "kffact": 112, "cokey": -2, "chkey": -1,
    },
    "comonth": {"flodfreqcl": 2, "pondfreqcl": 4, "cokey": -2, "comonthkey": -1},
}  # fmt: skip

#: text, NaN where blank, and no third truth value in comparisons
TEXT: Final = pd.StringDtype(na_value=np.nan)

Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, slots=True)
class SurveyTables:
    """Where the survey's tables stand."""

    path: Path  #: folder ``tabular``, or a database file
    database: bool

    def read(self, mukeys: list[str], where: str, report: Report) -> Tables:
        """Return the wanted columns of the rows that belong to some map units; keys as text.

        Raises
        ------
        InputError
            ``soil.tables`` when a needed table is not there, ``soil.layout`` when its columns are
            not what they should be.
        """
        read = self._from_database if self.database else _TextTables(self.path, where, report).read
        tables: Tables = {}
        keys = {"mukey": mukeys}
        for table, (key, columns) in WANTED.items():
            frame = read(table, list(columns), key, keys.get(key, []))
            for column in columns:
                if column not in frame:
                    frame[column] = None
            tables[table] = frame[list(columns)].map(plain_key).astype(TEXT)
            for below in ("cokey", "chkey", "comonthkey"):
                if below in columns and below != key:
                    keys[below] = sorted(set(tables[table][below].dropna()))
        _check(tables, where, report)
        return tables

    def _from_database(self, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
        return read_rows(self.path, table, columns, key, values)


class _TextTables:
    """The folder ``tabular`` of a download."""

    def __init__(self, folder: Path, where: str, report: Report) -> None:
        self.folder, self.where, self.report = folder, where, report
        self.stems, self.columns = dict(_STEMS), {}
        names, order = self._rows("mstab"), self._rows("mstabcol")
        if names is not None and names.shape[1] >= 5:
            self.stems |= dict(zip(names[0].str.lower(), names[4].str.lower(), strict=True))
        if order is not None and order.shape[1] >= 3:
            for table, rows in order.groupby(order[0].str.lower()):
                sorted_rows = rows.assign(at=pd.to_numeric(rows[1], errors="coerce")).sort_values("at", kind="stable")
                self.columns[str(table)] = sorted_rows[2].str.lower().to_list()

    def read(self, table: str, columns: list[str], key: str, values: list[str]) -> pd.DataFrame:
        rows = self._rows(self.stems.get(table, table))
        if rows is None:
            return pd.DataFrame(columns=columns)
        if table in self.columns:
            names = self.columns[table]
            if len(names) != rows.shape[1]:
                said = f"The table {table} has {rows.shape[1]} columns; its dictionary names {len(names)}."
                raise self.report.refuse("soil.layout", self.where, said)
            rows.columns = pd.Index(names)
        elif table in _ORDER:
            width = rows.shape[1]
            places = {name: at % width for name, at in _ORDER[table].items() if at < width}
            rows = rows[list(places.values())].set_axis(list(places), axis=1)
        else:
            return pd.DataFrame(columns=columns)
        if key not in rows:
            return pd.DataFrame(columns=columns)
        taken = rows[[c for c in columns if c in rows.columns]]
        return taken[rows[key].map(plain_key).isin(set(values))].reset_index(drop=True)

    def _rows(self, stem: str) -> pd.DataFrame | None:
        """Return a text file's rows without names: bars between, text in quotes, line ends inside them."""
        path = next((p for p in (self.folder / f"{stem}.txt", self.folder / f"{stem}.TXT") if p.is_file()), None)
        if path is None or path.stat().st_size == 0:
            return None
        if path.stat().st_size > MAX_TEXT_BYTES:
            raise self.report.refuse("file.too_big", self.where, f"{path.name} is larger than any survey area's table.")
        options = {"sep": "|", "header": None, "dtype": str, "quotechar": '"', "keep_default_na": False}
        for encoding in ("utf-8-sig", "cp1252", "latin-1"):
            try:
                return pd.read_csv(path, encoding=encoding, **options).replace("", None)
            except UnicodeDecodeError:
                continue
            except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
                raise self.report.refuse("file.unreadable", self.where, f"{path.name}: {clean_text(error)}.") from None
        return None


def plain_key(value: object) -> object:
    """Return a value as stripped text, whole numbers without a decimal part; None where blank."""
    if value is None or value != value:  # NaN is not itself
        return None
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).strip()
    return text or None


def _check(tables: Tables, where: str, report: Report) -> None:
    """Hold the values against what they must be, so that a moved column is never taken for another."""
    for table in NEEDED:
        if tables[table].empty:
            raise report.refuse("soil.tables", where, f"The table {table} holds nothing of the map units on the farm.")
    component = tables["component"]
    share = pd.to_numeric(component["comppct_r"], errors="coerce")
    checks: list[tuple[str, Callable[[], bool]]] = [
        ("comppct_r", lambda: bool(share.notna().any() and share.dropna().between(0, 100).all())),
        ("drainagecl", lambda: _mostly(component["drainagecl"], DRAINAGE)),
        ("hydgrp", lambda: _mostly(component["hydgrp"], HYDROLOGIC)),
    ]
    for column, sound in checks:
        if not sound():
            found = component[column].dropna().iloc[0] if component[column].notna().any() else "nothing"
            held = f"The column {column} of component holds {clean_text(found)[:40]!r}"
            said = f"{held}: the order of columns is not recognised."
            raise report.refuse("soil.layout", where, said)


def _mostly(words: pd.Series, known: dict[str, int]) -> bool:
    said = words.dropna().str.casefold()
    return bool(said.empty or said.isin(known).mean() > 0.5)
