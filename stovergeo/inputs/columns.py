"""Finding the column a plan names, or one that plainly carries a name to show."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from typing import Final

import pandas as pd

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.open_file import shown

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


def find_column(
    frame: pd.DataFrame, wanted: str | None, usual: Iterable[str], where: str, report: Report
) -> str | None:
    """Return the column named in the plan, or the first of the usual names, or None.

    Only labels may be found by their usual name; a column of numbers never is.

    Raises
    ------
    InputError
        ``column.missing`` when the plan names one that is not there.
    """
    names = [str(c) for c in frame.columns if c != "geometry"]
    if wanted is not None:
        if wanted in names:
            return wanted
        raise column_missing(wanted, names, where, report)
    folded = {n.lower(): n for n in reversed(names)}
    return next((folded[u] for u in usual if u in folded), None)


def column_missing(wanted: str, names: list[str], where: str, report: Report) -> InputError:
    """Note a missing column with the nearest that is there, and return the error to raise."""
    near = difflib.get_close_matches(wanted.lower(), [n.lower() for n in names], n=1, cutoff=0.5)
    match = next((n for n in names if near and n.lower() == near[0]), None)
    hint = f" Did you mean {shown(match)}?" if match else ""
    listed = ", ".join(shown(n, 30) for n in names[:20])
    return report.refuse("column.missing", where, f"There is no column {shown(wanted)}.{hint} The file has {listed}.")
