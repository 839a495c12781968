"""What cleaning left out, by field, machine and load, with the likely cause and the key of the plan that cures it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from stovergeo import yieldmap
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.workflow")
#: share of its records that cleaning may leave out of a field, machine or load without a word, and without an error:
#: a sound harvest loses 5 to 15 % (measured on the real and the sample field), the rest is judgment
TOLD: Final = 0.2
REFUSED: Final = 0.5
#: records below which a machine or a load is not judged by itself
_FEWEST: Final = 200
_REASONS_NAMED: Final = 3
#: reason of cleaning -> key of the sentence on its cause; others have none
_CAUSES: Final = {
    "header_up": "header_up",
    "no_flow": "no_flow",
    "moisture": "moisture",
    "incomplete": "incomplete",
    "speed": "speed",
    "short_pass": "short_pass",
    "part_swath": "swath",
    "overlap": "swath",
    "co_located": "co_located",
    "impossible": "impossible",
}


def left_out_by_field(cleaned: yieldmap.Cleaned, fields: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return how many records lie on each field, how many of them cleaning left out, and for which reasons.

    Returns
    -------
    DataFrame
        In the order of the fields: name, records, left_out, reasons (a tuple of messages, the most frequent first),
        main (the most frequent reason, "" for none).
    """
    rows = []
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        removed = cleaned.removed.loc[_inside(cleaned.removed, shape), "removed_because"]
        rows.append(_counted(str(name), int(_inside(cleaned.points, shape).sum()), removed))
    return pd.DataFrame(rows, index=fields.index, columns=_COLUMNS)


def left_out_by(cleaned: yieldmap.Cleaned, kind: str, elsewhere_than: Iterable[BaseGeometry] = ()) -> pd.DataFrame:
    """Return the same for each machine or load, some fields left aside; empty where the records name none."""
    points, removed = cleaned.points, cleaned.removed
    if kind not in points:
        return pd.DataFrame(columns=_COLUMNS)
    for shape in elsewhere_than:
        points, removed = points[~_inside(points, shape)], removed[~_inside(removed, shape)]
    kept = points[kind].astype(str).value_counts()
    reasons = dict(iter(removed["removed_because"].groupby(removed[kind].astype(str))))
    nothing = removed["removed_because"].iloc[:0]
    names = sorted({*kept.index, *reasons})
    return pd.DataFrame([_counted(n, int(kept.get(n, 0)), reasons.get(n, nothing)) for n in names], columns=_COLUMNS)


_COLUMNS: Final = ["name", "records", "left_out", "reasons", "main"]


def _counted(name: str, kept: int, removed: pd.Series) -> dict[str, Any]:
    counts = removed.value_counts()
    named = [
        message("unknown.reason", title=yieldmap.REASONS[reason].title, count=int(count))
        for reason, count in counts[:_REASONS_NAMED].items()
    ]
    if len(counts) > _REASONS_NAMED:
        named.append(message("unknown.other", count=int(counts[_REASONS_NAMED:].sum())))
    lost = int(counts.sum())
    main = str(counts.index[0]) if len(counts) else ""
    return dict(zip(_COLUMNS, (name, kept + lost, lost, tuple(named), main), strict=True))


def _inside(points: gpd.GeoDataFrame, shape: BaseGeometry) -> np.ndarray:
    """Return which points lie in a shape; only those in its box are looked at closely."""
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    west, south, east, north = shape.bounds
    near = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
    shapely.prepare(shape)
    inside = np.zeros(len(points), bool)
    inside[near] = shapely.contains_xy(shape, x[near], y[near])
    return inside


def is_told(row: Any) -> bool:
    """Return whether so much of a row of `left_out_by_field` was left out that it is reported."""
    return bool(row.left_out > TOLD * row.records)


def left_out_message(row: Any) -> Message:
    """Return how many records of a field, machine or load were left out, and why."""
    counts = {"left_out": int(row.left_out), "records": int(row.records)}
    return message("unknown.left_out", **counts, reasons=row.reasons)


def report_losses(
    by_field: pd.DataFrame,
    cleaned: yieldmap.Cleaned,
    fields: gpd.GeoDataFrame,
    harvest: str,
    report: Report,
    accepted: Iterable[str] | None = None,
) -> None:
    """Report each field, machine and load of which cleaning left out many records, with the likely cause.

    Parameters
    ----------
    by_field : DataFrame
        From `left_out_by_field`.
    cleaned : Cleaned
    fields : GeoDataFrame
    harvest : str
        Where the records come from, such as ``yield points``.
    report : Report
        Gains ``yield.left_out`` and, where most was left out, ``yield.lost``, which forbids a result.
    accepted : iterable of str, optional
        Names whose losses are known; None where no loss forbids a result.
    """
    known = set(accepted or ())
    aside = fields.geometry[fields["name"].isin(known)]
    tables = [("field", by_field, 1)]
    tables += [(kind, left_out_by(cleaned, kind, aside), _FEWEST) for kind in ("machine", "load")]
    for kind, table, fewest in tables:
        for row in table.itertuples():
            if row.records < fewest or not is_told(row):
                continue
            where = f"{harvest}, {kind} {row.name!r}"
            cause = message(f"loss.{_CAUSES.get(row.main, 'other')}")
            said = message("pair.two", one=left_out_message(row), other=cause)
            most = row.left_out > REFUSED * row.records
            lost = accepted is not None and most and row.name not in known
            report.add("yield.lost" if lost else "yield.left_out", where, said)
