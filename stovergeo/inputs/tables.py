"""Text tables and spreadsheets as rows, and their columns as numbers, whatever wrote them."""

from __future__ import annotations

import re
import warnings
import zipfile
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.inputs.open_file import OpenFile, shown
from stovergeo.inputs.text import clean_text

#: beyond any quantity of a farm: what an instrument writes for "no number" (judgement)
BEYOND_ALL: Final = 1e30
SEPARATORS: Final = (",", ";", "\t", "|")
_COMMA_NUMBER: Final = re.compile(r"\s*[-+]?\d+,\d+\s*")


def read_table(opened: OpenFile, sheet: str | None, where: str, report: Report) -> pd.DataFrame:
    """Return the rows of a text table or a sheet, column names cleaned.

    Raises
    ------
    InputError
        ``file.unreadable``, ``file.extra``, ``layer.choose``, ``layer.unknown``, ``layer.empty``.
    """
    read = _read_sheet if opened.driver == "Excel" else _read_text
    try:
        frame = read(opened.path, sheet, where, report)
    except (ValueError, KeyError, OSError, zipfile.BadZipFile, pd.errors.ParserError) as error:
        if hasattr(error, "problems"):
            raise
        raise report.refuse("file.unreadable", where, f"{opened.path.name}: {clean_text(error)}.") from None
    nameless = sum(str(c).startswith("Unnamed: ") for c in frame.columns)  # as the table library calls them
    if nameless > 0.5 * len(frame.columns):
        said = f"{nameless} of {len(frame.columns)} columns of {opened.path.name} have no name in its first row."
        raise report.refuse("table.no_names", where, said)
    if frame.empty:
        raise report.refuse("layer.empty", where, f"{opened.path.name} has no rows below its column names.")
    names = [clean_text(c) for c in frame.columns]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        report.add(
            "column.twice", where, f"{opened.path.name} has several columns named {shown(twice[0])}; the first is used."
        )
    frame.columns = pd.Index(names)
    return frame.loc[:, ~frame.columns.duplicated()]


def to_numbers(column: pd.Series, where: str, report: Report) -> np.ndarray:
    """Return a column as float64, NaN where blank; what is neither blank nor a number is counted.

    A comma for the decimal point is understood, and reported, where most of the column is written so.
    """
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        return _finite(column.to_numpy(dtype=np.float64, na_value=np.nan), where, report)
    text = column.astype("string").str.strip()
    numbers = pd.to_numeric(text, errors="coerce")
    unread = numbers.isna() & text.notna() & (text != "")
    with_comma = unread & text.fillna("").str.fullmatch(_COMMA_NUMBER)
    if with_comma.sum() > 0.5 * max(int(text.notna().sum()), 1):
        report.add(
            "table.decimal_comma",
            where,
            f"Numbers such as {shown(str(text[with_comma].iloc[0]))} were read with a decimal comma.",
        )
        text = text.str.replace(",", ".", regex=False)
        numbers = pd.to_numeric(text, errors="coerce")
        unread = numbers.isna() & text.notna() & (text != "")
    if unread.any():
        row = int(np.flatnonzero(unread.to_numpy())[0]) + 1
        example = f"such as {shown(clean_text(text.iloc[row - 1]), 40)} in row {row}"
        said = f"{int(unread.sum()):,} of {len(column):,} values are not numbers, {example}."
        report.add("table.not_numbers", where, said)
    return _finite(numbers.to_numpy(dtype=np.float64, na_value=np.nan), where, report)


def _finite(numbers: np.ndarray, where: str, report: Report) -> np.ndarray:
    """Return numbers with NaN for those no instrument measured, which are counted."""
    endless = np.abs(numbers) > BEYOND_ALL
    if endless.any():
        said = f"{int(endless.sum()):,} of {len(numbers):,} values are infinite or beyond {BEYOND_ALL:g}."
        report.add("table.not_numbers", where, said)
        numbers = np.where(endless, np.nan, numbers)
    return numbers


def _read_text(path: Path, sheet: str | None, where: str, report: Report) -> pd.DataFrame:
    with path.open("rb") as file:
        start = file.read(1 << 20)
    encoding = _encoding(start, path)
    lines = start.decode(encoding, "replace").lstrip("\ufeff").splitlines()
    skip = 1 if lines and lines[0].lower().startswith("sep=") else 0
    header = next((line for line in lines[skip:] if line.strip()), "")
    separator = max(SEPARATORS, key=lambda s: _outside_quotes(header, s))
    options = {"sep": separator, "encoding": encoding, "skiprows": skip, "index_col": False, "low_memory": False}
    options["compression"] = None  # never by the name
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            frame = pd.read_csv(path, **options)
        except pd.errors.EmptyDataError:
            raise report.refuse("layer.empty", where, f"{path.name} has no column names.") from None
        except pd.errors.ParserError:
            frame = pd.read_csv(path, **options, on_bad_lines="warn")
    ragged = sum(str(w.message).count("expected") for w in said if issubclass(w.category, pd.errors.ParserWarning))
    if said:
        count = f"{ragged:,} lines have" if ragged else "Some lines have"
        report.add(
            "table.ragged",
            where,
            f"{path.name}: {count} more values than there are columns; those lines or values were left out.",
        )
    return frame


def _read_sheet(path: Path, sheet: str | None, where: str, report: Report) -> pd.DataFrame:
    try:
        import openpyxl  # noqa: F401  the extra `excel`
    except ImportError:
        raise report.refuse(
            "file.extra", where, f"{path.name} is a spreadsheet, which needs the extra `excel`."
        ) from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and validations a table reader has no use for
        with pd.ExcelFile(path, engine="openpyxl") as coefficients:
            names = [str(n) for n in coefficients.sheet_names]
            if sheet is not None and sheet not in names:
                raise report.refuse(
                    "layer.unknown",
                    where,
                    f"{path.name} has no sheet {shown(sheet)}; it has {', '.join(map(shown, names))}.",
                )
            if sheet is None and len(names) > 1:
                cure = "Name one with `sheet` in the plan file."
                raise report.refuse(
                    "layer.choose",
                    where,
                    f"{path.name} holds {len(names)} sheets: {', '.join(map(shown, names))}.",
                    cure,
                )
            return coefficients.parse(sheet or names[0])


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


def _outside_quotes(line: str, separator: str) -> int:
    return re.sub(r'"[^"]*"', "", line).count(separator)
