"""Ground whose yield is not known: which it is, why, and how the tables of a season say so.

What is not known is neither nothing nor a decision: its numbers are NaN, and a message says why.
"""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.schemas import UNKNOWN
from stovergeo.workflow.losses import is_told, left_out_message

message = Catalog("stovergeo.workflow")
_NUMBERS: Final = [
    "stover_mg_ha",
    "retention_mg_ha",
    "removable_mg_ha",
    "removal_mg_ha",
    "removal_mg",
    "spare_mean_mg_ha",
    "gathered_fraction",
]
_MAX: Final = 0.5


def why_unknown(
    stack: xr.Dataset, fields: gpd.GeoDataFrame, left: pd.DataFrame | None, report: Report
) -> dict[str, Message]:
    """Return for each field without any usable yield why that is so, and report it.

    Parameters
    ----------
    stack : Dataset
        With ``grain_mg_ha`` and ``field_number``.
    fields : GeoDataFrame
    left : DataFrame or None
        From `left_out_by_field`; None where the yields come from a finished map.
    report : Report

    """
    known = set(np.unique(stack["field_number"].where(stack["grain_mg_ha"].notnull())).tolist())
    why = {}
    for number, field in enumerate(fields.itertuples()):
        if number in known:
            continue
        row = None if left is None else left.iloc[number]
        why[field.field_id] = _because(row)
        if row is None or not is_told(row):  # already reported
            report.add("yield.unknown", f"fields, {field.name!r}", message("unknown.no_yield", why=why[field.field_id]))
    return why


def refuse_if_nothing_is_known(why: list[dict[str, Message]], fields: gpd.GeoDataFrame, report: Report) -> None:
    """Raise an `InputError` (``yield.none``) when no field of any cluster has a usable yield."""
    if sum(map(len, why)) == len(fields):
        raise report.refuse("yield.none", "yields", "No field has usable yield data.")


def _because(row: pd.Series | None) -> Message:
    if row is None:
        return message("unknown.off_the_map")
    if row.records == 0:
        return message("unknown.no_record")
    return left_out_message(row) if row.left_out else message("unknown.few_records", records=int(row.records))


def unknown_zones(zones: gpd.GeoDataFrame, labels: xr.DataArray, stack: xr.Dataset) -> pd.Series:
    """Return which zones, none of which is gathered, have no known yield on most of their ground."""
    numbers, dark = labels.to_numpy(), np.isnan(stack["stover_mg_ha"].to_numpy())
    share = [float(dark[numbers == n].mean()) if (numbers == n).any() else 1.0 for n in range(len(zones))]
    return (zones["method"] == "leave") & (np.array(share) > _MAX)


def with_unknown(zones: gpd.GeoDataFrame, unknown: pd.Series, why: dict[str, Message]) -> gpd.GeoDataFrame:
    """Return the zones with those of unknown yield saying so: numbers NaN, method "unknown", and the reason."""
    zones = zones.copy()
    zones.loc[unknown, _NUMBERS] = np.nan
    zones.loc[unknown, "method"] = UNKNOWN
    zones.loc[unknown, "binding_rule"] = ""
    reasons = zones["reason"].astype(object)
    for row in np.flatnonzero(unknown):
        field = zones["field_id"].iloc[row]
        whole = (message("unknown.zone"), why[field]) if field in why else (message("unknown.part_of_zone"),)
        reasons.iat[row] = whole
    return zones.assign(reason=reasons)


def unknown_messages(zones: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, why: dict[str, Message]) -> list[Message]:
    """Return for each field what of it is not known; the farm's totals leave that out."""
    area = zones[zones["method"] == UNKNOWN].groupby("field_id")["area_ha"].sum()
    return [
        message("unknown.field", field=field.name, why=why[field.field_id])
        if field.field_id in why
        else message("unknown.part_of_field", field=field.name, area=float(area[field.field_id]))
        for field in fields[fields["field_id"].isin(area.index)].itertuples()
    ]
