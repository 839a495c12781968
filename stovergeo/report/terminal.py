"""The short table that ends a run: per field what leaves, how, in how many bales and where to; then the need."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from stovergeo.core.printing import render
from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.say import KINDS, NOT_KNOWN, Parts, number_in, parts_of, quantity, said
from stovergeo.result import SeasonResult

_MOST_LINES: Final = 8  # of what only the grower is told


def grower_table(result: SeasonResult) -> list[RenderableType]:
    """Return the closing table and sentences, each for a console to print; all text is literal, never markup."""
    system = result.plan.farm.units

    def told(parts: Parts) -> Text:
        return Text(said(parts, system))

    mass = KINDS["mass"].in_(system).unit
    table = Table(title=Text(f"{result.plan.farm.name}, {result.plan.farm.season}"))
    for head, side in (
        ("Field", "left"),
        (KINDS["area"].in_(system).unit, "right"),
        (f"May leave, dry {mass}", "right"),
        (f"Taken, dry {mass}", "right"),
        ("How", "left"),
        ("Bales", "right"),
        ("Net turns", "right"),
        ("Yard", "left"),
    ):
        table.add_column(head, justify=side)  # type: ignore[arg-type]
    for row in field_rows(result):
        table.add_row(
            Text(row["name"]),
            number_in("area", row["area_ha"], system),
            number_in("mass", row["removable_mg"], system),
            number_in("mass", row["take_mg"], system),
            Text(row["how"]),
            number_in("count", row["bales"], system),
            Text(row["turns"]),
            Text(row["yards"]),
        )
    kept = [r for r in field_rows(result) if r["kept_free_ha"]]
    bales, wanted = int(result.bale_plan["bales"].sum()), int(result.need["bales"].sum())
    lines: list[Parts] = [
        *([render(w, system)] for w in result.words.get("unknown", [])),
        [f"{bales:,} bales planned, ", quantity("mass", float(result.zones["take_mg"].sum())), " dry."],
    ]
    if wanted:
        # the bales a need takes depend on wrap and month, which the choice settles: mass is what is compared
        short = result.totals.get("short_bales", float(max(0, wanted - bales)))
        met = f"short by {short:,.0f} bales" if short >= 0.5 else "met"
        lines.append(
            ["Need, where it is used: ", quantity("mass", float(result.need["dry_mg"].sum())), f" dry, {met}."]
        )
    if kept:
        each = [part for r in kept for part in (", ", quantity("area", r["kept_free_ha"]), f" of {r['name']}")]
        lines.append(["Kept free because the landowner said so: ", *each[1:], "."])
    # what only the grower may know stands here and in plan.json, nowhere on the landowner's map
    grower = result.words.get("grower", [])
    lines += [parts_of(render(w, system)) for topic in ("choice", "shortage") for w in result.words.get(topic, [])]
    lines += [parts_of(render(w, system)) for w in grower[:_MOST_LINES]]
    if result.yards.empty:  # why no stack may stand anywhere is part of the short answer
        lines += [parts_of(render(w, system)) for topic in ("soil", "yards") for w in result.words.get(topic, [])]
    if len(grower) > _MOST_LINES:
        lines.append(["More on trucks, wraps and second choices: in plan.json, under words, grower."])
    return [table, *(told(line) for line in lines)]


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
