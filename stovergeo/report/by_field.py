"""What the plan does on each field, for tables that have a row a field."""

from __future__ import annotations

from typing import Any

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.say import NOT_KNOWN
from stovergeo.result import SeasonResult


def kept_free(zones: pd.DataFrame) -> pd.Series:
    """Return which zones the landowner keeps free."""
    return zones["kept_free"].astype(bool) if "kept_free" in zones else pd.Series(False, index=zones.index)


def field_rows(result: SeasonResult) -> list[dict[str, Any]]:
    """Return per field: name, area_ha, removable_mg, take_mg, how, methods, bales, turns, yards (texts).

    Also kept_free_ha, what the landowner keeps free of it, and kept_free, whether that is all of it. Numbers are NaN
    where no yield is known on the field; where none is on part of it, they are the rest's.
    """
    titles = result.zone_methods.drop_duplicates("method").set_index("method")["title"]
    plan = result.bale_plan.set_index("zone_id")
    rows = []
    for field in result.fields.itertuples():
        zones = result.zones[result.zones["field_id"] == field.field_id]
        unknown = zones["method"] == UNKNOWN
        left = NOT_KNOWN if unknown.all() else f"left alone; part {NOT_KNOWN}" if unknown.any() else "left alone"
        taken = zones[zones["take_mg"] > 0]
        mine = plan.reindex(taken["zone_id"]).dropna(subset=["bales"])
        turns = sorted({f"{t:g}" for t in mine.loc[mine["bales"] > 0, "turns"] if not pd.isna(t)})
        kept = kept_free(zones)
        if len(zones) and kept.all():
            left = "kept free"
        yards = result.hauls.loc[result.hauls["zone_id"].isin(zones["zone_id"]), "yard_id"].unique()
        rows.append(
            {
                "field_id": field.field_id,
                "name": str(field.name),
                "area_ha": float(field.area_ha),
                "removable_mg": float((zones["removable_mg_ha"] * zones["area_ha"]).sum(min_count=1)),
                "take_mg": float(zones["take_mg"].sum(min_count=1)),
                "how": ", ".join(str(m).replace("_", " ") for m in taken["method"].unique()) or left,
                "methods": ", ".join(titles.get(m, m) for m in taken["method"].unique()) or left,
                "bales": float("nan") if unknown.all() else int(mine["bales"].sum()),
                "turns": ", ".join(turns) or "–",
                "yards": ", ".join(yards) or "–",
                "kept_free_ha": float(zones.loc[kept, "area_ha"].sum()),
                "kept_free": left == "kept free",
            }
        )
    return rows
