"""What the plan does on each field, for tables that have a row a field."""

from __future__ import annotations

import pandas as pd

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.blocks import plain
from stovergeo.result import SeasonResult


def kept_free(zones: pd.DataFrame) -> pd.Series:
    """Return which zones the landowner keeps free."""
    return zones["kept_free"].astype(bool) if "kept_free" in zones else pd.Series(False, index=zones.index)


def titles_of_methods(result: SeasonResult) -> dict[str, str]:
    """Return the titles of the methods that were offered, by name."""
    return dict(result.residue.zone_methods.drop_duplicates("method").set_index("method")["title"].astype(str))


def field_rows(result: SeasonResult) -> list[dict[str, str]]:
    """Return per field: field_id, name, methods, yards; numbers of a field stand in the ledger."""
    titles = titles_of_methods(result)
    rows = []
    for field in result.fields.itertuples():
        zones = result.zones[result.zones["field_id"] == field.field_id]
        unknown, kept = zones["method"] == UNKNOWN, kept_free(zones)
        all_kept = bool(len(zones) and kept.all())
        nothing = "kept_free" if all_kept else "unknown" if unknown.all() else "stays"
        taken = zones.loc[zones["removal_mg"] > 0, "method"].unique()
        how = ", ".join(titles.get(m, m) for m in taken) or plain(f"field.{nothing}")
        if unknown.any() and not unknown.all():
            how = plain("field.part_unknown", how=how)
        yards = result.supply.hauls.loc[result.supply.hauls["zone_id"].isin(zones["zone_id"]), "yard_id"].unique()
        yard_ids = ", ".join(yards) or "–"
        rows.append({"field_id": field.field_id, "name": str(field.name), "methods": how, "yards": yard_ids})
    return rows
