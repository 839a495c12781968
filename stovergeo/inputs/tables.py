"""Text tables and spreadsheets as rows; their columns found by name and read as numbers, with their units."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.errors import InputError
from stovergeo.core.nearest import nearest
from stovergeo.core.units import M_PER_FT, M_PER_IN
from stovergeo.inputs.open_file import OpenFile, first_bytes
from stovergeo.inputs.place import Place
from stovergeo.inputs.text import clean_column, clean_text, shown

#: unit of length as written -> m
LENGTH_M: Final = {"in": M_PER_IN, "ft": M_PER_FT, "m": 1.0, "cm": 0.01}
#: beyond any quantity of a farm: what an instrument writes for "no number" (judgment)
BEYOND_ALL: Final = 1e30
SEPARATORS: Final = (",", ";", "\t", "|")
_COMMA_NUMBER: Final = re.compile(r"\s*[-+]?\d+,\d+\s*")


def read_table(opened: OpenFile, sheet: str | None, at: Place) -> pd.DataFrame:
    """Return the rows of a text table or a sheet, column names cleaned.

    Raises
    ------
    InputError
        ``file.unreadable``, ``file.extra``, ``layer.choose``, ``layer.unknown``, ``layer.empty``.
    """
    read = _read_sheet if opened.driver == "Excel" else _read_text
    try:
        frame = read(opened.path, sheet, at)
    except (ValueError, KeyError, OSError, zipfile.BadZipFile, pd.errors.ParserError) as error:
        if hasattr(error, "problems"):
            raise
        raise at.refuse("file.unreadable", f"{opened.path.name}: {clean_text(error)}.") from None
    nameless = sum(str(c).startswith("Unnamed: ") for c in frame.columns)  # as the table library calls them
    if nameless > 0.5 * len(frame.columns):
        said = f"{nameless} of {len(frame.columns)} columns of {opened.path.name} have no name in its first row."
        raise at.refuse("table.no_names", said)
    if frame.empty:
        raise at.refuse("layer.empty", f"{opened.path.name} has no rows below its column names.")
    names = [clean_text(c) for c in frame.columns]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        at.add("column.twice", f"{opened.path.name} has several columns named {shown(twice[0])}; the first is used.")
    frame.columns = pd.Index(names)
    return frame.loc[:, ~frame.columns.duplicated()]


def to_numbers(column: pd.Series, at: Place) -> np.ndarray:
    """Return a column as float64, NaN where blank; what is neither blank nor a number is counted.

    A comma for the decimal point is understood, and reported, where most of the column is written so.
    """
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        return _finite(column.to_numpy(dtype=np.float64, na_value=np.nan), at)
    text = column.astype("string").str.strip()
    numbers, unread = _parsed(text)
    with_comma = unread & text.fillna("").str.fullmatch(_COMMA_NUMBER)
    if with_comma.sum() > 0.5 * max(int(text.notna().sum()), 1):
        example = shown(str(text[with_comma].iloc[0]))
        at.add("table.decimal_comma", f"Numbers such as {example} were read with a decimal comma.")
        text = text.str.replace(",", ".", regex=False)
        numbers, unread = _parsed(text)
    if unread.any():
        row = int(np.flatnonzero(unread.to_numpy())[0]) + 1
        example = f"such as {shown(clean_text(text.iloc[row - 1]), 40)} in row {row}"
        at.add("table.not_numbers", f"{int(unread.sum()):,} of {len(column):,} values are not numbers, {example}.")
    return _finite(numbers.to_numpy(dtype=np.float64, na_value=np.nan), at)


def _parsed(text: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return text as numbers, and which of it is neither blank nor a number."""
    numbers = pd.to_numeric(text, errors="coerce")
    return numbers, numbers.isna() & text.notna() & (text != "")


def _finite(numbers: np.ndarray, at: Place) -> np.ndarray:
    """Return numbers with NaN for those no instrument measured, which are counted."""
    endless = np.abs(numbers) > BEYOND_ALL
    if endless.any():
        said = f"{int(endless.sum()):,} of {len(numbers):,} values are infinite or beyond {BEYOND_ALL:g}."
        at.add("table.not_numbers", said)
        numbers = np.where(endless, np.nan, numbers)
    return numbers


def _read_text(path: Path, sheet: str | None, at: Place) -> pd.DataFrame:
    start = first_bytes(path, 1 << 20)
    encoding = _encoding(start, path)
    lines = start.decode(encoding, "replace").lstrip("\ufeff").splitlines()
    skip = 1 if lines and lines[0].lower().startswith("sep=") else 0
    header = next((line for line in lines[skip:] if line.strip()), "")
    separator = max(SEPARATORS, key=re.sub(r'"[^"]*"', "", header).count)
    options = {"sep": separator, "encoding": encoding, "skiprows": skip, "index_col": False, "low_memory": False}
    options["compression"] = None  # never by the name
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            frame = pd.read_csv(path, **options)
        except pd.errors.EmptyDataError:
            raise at.refuse("layer.empty", f"{path.name} has no column names.") from None
        except pd.errors.ParserError:
            frame = pd.read_csv(path, **options, on_bad_lines="warn")
    ragged = sum(str(w.message).count("expected") for w in said if issubclass(w.category, pd.errors.ParserWarning))
    if said:
        count = f"{ragged:,} lines have" if ragged else "Some lines have"
        more = f"{count} more values than there are columns; those lines or values were left out."
        at.add("table.ragged", f"{path.name}: {more}")
    return frame


def _read_sheet(path: Path, sheet: str | None, at: Place) -> pd.DataFrame:
    try:
        import openpyxl  # noqa: F401  the extra `excel`
    except ImportError:
        raise at.refuse("file.extra", f"{path.name} is a spreadsheet, which needs the extra `excel`.") from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and validations a table reader has no use for
        with pd.ExcelFile(path, engine="openpyxl") as workbook:
            names = [str(n) for n in workbook.sheet_names]
            listed = ", ".join(map(shown, names))
            if sheet is not None and sheet not in names:
                raise at.refuse("layer.unknown", f"{path.name} has no sheet {shown(sheet)}; it has {listed}.")
            if sheet is None and len(names) > 1:
                cure = "Name one with `sheet` in the plan file."
                raise at.refuse("layer.choose", f"{path.name} holds {len(names)} sheets: {listed}.", cure)
            return workbook.parse(sheet or names[0])


def _encoding(start: bytes, path: Path) -> str:
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    try:
        with path.open("r", encoding="utf-8-sig", newline="") as file:
            while file.read(1 << 22):
                pass
    except UnicodeDecodeError:
        return "cp1252" if all(b not in start for b in (0x81, 0x8D, 0x8F, 0x90, 0x9D)) else "latin-1"
    return "utf-8-sig"


_UNIT_AT_END: Final = re.compile(
    r"[(\[_ ](lb[/_]?s|kg[/_]?s|t[/_]?h|bu[/_]?h|%|pct|percent|in|ft|m|cm|mph|km[/_]?h|m[/_]s|s|sec|ms|lb|kg)[)\]]?$",
    re.IGNORECASE,
)
_SPELLED: Final = {
    "lbs": "lb/s", "kgs": "kg/s", "th": "t/h", "buh": "bu/h", "pct": "%", "percent": "%", "kmh": "km/h", "sec": "s",
}  # fmt: skip


def unit_in_name(column: str) -> str | None:
    """Return the unit that a column name ends in, as in ``Flow (lb/s)`` or ``dist_ft``; None where there is none."""
    match = _UNIT_AT_END.search(column)
    if match is None:
        return None
    written = match[1].lower().replace("_", "/")
    return _SPELLED.get(written.replace("/", ""), written)


def find_column(frame: pd.DataFrame, wanted: str | None, usual: Iterable[str], at: Place) -> str | None:
    """Return the column named in the plan, or the first of the usual names, or None.

    Only labels may be found by their usual name; a column of numbers never is.

    Raises
    ------
    InputError
        ``column.missing`` when the plan names one that is not there.
    """
    if wanted is not None:
        if wanted in frame.columns and wanted != "geometry":
            return wanted
        raise column_missing(wanted, frame, at)
    folded = {str(name).lower(): str(name) for name in reversed(frame.columns) if name != "geometry"}
    return next((folded[u] for u in usual if u in folded), None)


def names_of(frame: pd.DataFrame, wanted: str | None, usual: Iterable[str], kind: str, at: Place) -> list[str]:
    """Return a name for each row, from the column named in the plan or a usual one; numbered by kind where blank."""
    numbered = [f"{kind} {i + 1}" for i in range(len(frame))]
    column = find_column(frame, wanted, usual, at.key("name_column"))
    if column is None:
        return numbered
    named = frame[column]
    if pd.api.types.is_float_dtype(named):  # field 80 is not called 80.0, though another row has no number
        named = named.map(lambda number: None if pd.isna(number) else f"{number:.10g}").astype(object)
    return [name or number for name, number in zip(clean_column(named, at), numbered, strict=True)]


def column_missing(wanted: str, frame: pd.DataFrame, at: Place) -> InputError:
    """Note a missing column with the nearest that is there, and return the error to raise."""
    names = [str(c) for c in frame.columns if c != "geometry"]
    near = nearest(wanted, names)
    hint = f" Did you mean {shown(near)}?" if near else ""
    listed = ", ".join(shown(n, 30) for n in names[:20])
    return at.refuse("column.missing", f"There is no column {shown(wanted)}.{hint} The file has {listed}.")
