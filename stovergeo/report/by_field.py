"""What the plan does on each field, for tables that have a row a field."""

from __future__ import annotations

from typing import Any

import pandas as pd

from stovergeo.core.messages import Catalog
from stovergeo.core.schemas import UNKNOWN
from stovergeo.result import SeasonResult

message = Catalog("stovergeo.report")


def kept_free(zones: pd.DataFrame) -> pd.Series:
    """Return which zones the landowner keeps free."""
    return zones["kept_free"].astype(bool) if "kept_free" in zones else pd.Series(False, index=zones.index)


def field_rows(result: SeasonResult) -> list[dict[str, Any]]:
    """Return per field: field_id, name, methods, turns, yards (texts); kept_free, whether the landowner keeps it all.

    Also, until the page reads them from the ledger: area_ha, removable_mg, take_mg, bales, kept_free_ha. Numbers are
    NaN where no yield is known on the field; where none is on part of it, they are the rest's.
    """
    titles = result.zone_methods.drop_duplicates("method").set_index("method")["title"]
    plan = result.bale_plan.set_index("zone_id")
    rows = []
    for field in result.fields.itertuples():
        zones = result.zones[result.zones["field_id"] == field.field_id]
        unknown, kept = zones["method"] == UNKNOWN, kept_free(zones)
        all_kept = bool(len(zones) and kept.all())
        nothing = "kept_free" if all_kept else "unknown" if unknown.all() else "stays"
        taken = zones[zones["take_mg"] > 0]
        how = ", ".join(str(titles.get(m, m)) for m in taken["method"].unique()) or str(message(f"field.{nothing}"))
        if unknown.any() and not unknown.all():
            how = str(message("field.part_unknown", how=how))
        mine = plan.reindex(taken["zone_id"]).dropna(subset=["bales"])
        turns = sorted({f"{t:g}" for t in mine.loc[mine["bales"] > 0, "turns"] if not pd.isna(t)})
        yards = result.hauls.loc[result.hauls["zone_id"].isin(zones["zone_id"]), "yard_id"].unique()
        rows.append(
            {
                "field_id": field.field_id,
                "name": str(field.name),
                "methods": how,
                "turns": ", ".join(turns) or "–",
                "yards": ", ".join(yards) or "–",
                "kept_free": all_kept,
                "area_ha": float(field.area_ha),
                "removable_mg": float((zones["removable_mg_ha"] * zones["area_ha"]).sum(min_count=1)),
                "take_mg": float(zones["take_mg"].sum(min_count=1)),
                "bales": float("nan") if unknown.all() else int(mine["bales"].sum()),
                "kept_free_ha": float(zones.loc[kept, "area_ha"].sum()),
            }
        )
    return rows
