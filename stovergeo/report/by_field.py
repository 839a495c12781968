"""What the plan does on each field, for tables that have a row a field."""

from __future__ import annotations

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.blocks import plain
from stovergeo.result import SeasonResult


def kept_free(zones: pd.DataFrame) -> pd.Series:
    """Return which zones the landowner keeps free."""
    return zones["kept_free"].astype(bool) if "kept_free" in zones else pd.Series(False, index=zones.index)


def field_rows(result: SeasonResult) -> list[dict[str, str]]:
    """Return per field: field_id, name, methods, yards; numbers of a field stand in the ledger."""
    titles = result.zone_methods.drop_duplicates("method").set_index("method")["title"]
    rows = []
    for field in result.fields.itertuples():
        zones = result.zones[result.zones["field_id"] == field.field_id]
        unknown, kept = zones["method"] == UNKNOWN, kept_free(zones)
        all_kept = bool(len(zones) and kept.all())
        nothing = "kept_free" if all_kept else "unknown" if unknown.all() else "stays"
        taken = zones[zones["removal_mg"] > 0]
        how = ", ".join(str(titles.get(m, m)) for m in taken["method"].unique()) or plain(f"field.{nothing}")
        if unknown.any() and not unknown.all():
            how = plain("field.part_unknown", how=how)
        yards = result.hauls.loc[result.hauls["zone_id"].isin(zones["zone_id"]), "yard_id"].unique()
        rows.append(
            {
                "field_id": field.field_id,
                "name": str(field.name),
                "methods": how,
                "yards": ", ".join(yards) or "–",
            }
        )
    return rows
