"""The short table that ends a run: per field what leaves, how, in how many bales and where to; then the need."""

from __future__ import annotations

import pandas as pd
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from stovergeo.result import SeasonResult
from stovergeo.schemas import UNKNOWN
from stovergeo.share.first_screen import names_given
from stovergeo.share.say import KINDS, NOT_KNOWN, Parts, number_in, parts_of, quantity, said


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
    bales, wanted = int(result.bale_plan["bales"].sum()), int(result.need["bales"].sum())
    lines: list[Parts] = [
        *(parts_of(w, names_given(result)) for w in result.words.get("unknown", [])),
        [f"{bales:,} bales planned, ", quantity("mass", float(result.zones["take_mg"].sum())), " dry."],
    ]
    if wanted:
        # the bales a need takes depend on wrap and month, which the choice settles: mass is what is compared
        short = result.totals.get("short_bales", float(max(0, wanted - bales)))
        met = f"short by {short:,.0f} bales" if short >= 0.5 else "met"
        lines.append(
            ["Need, where it is used: ", quantity("mass", float(result.need["dry_mg"].sum())), f" dry, {met}."]
        )
    choice = result.words.get("choice", [])
    # what is lacking, and why, belongs under the table; the rest is one click away on the map
    brief = choice if result.totals.get("short_bales", 0) >= 0.5 else choice[:2]
    lines += [parts_of(w) for w in [*brief, *result.words.get("shortage", [])]]
    if result.yards.empty:  # why no stack may stand anywhere is part of the short answer
        lines += [parts_of(w) for topic in ("soil", "yards") for w in result.words.get(topic, [])]
    if len(brief) < len(choice):
        lines.append(["Why, what was second best and what the next ton costs: on the map, under More detail."])
    return [table, *(told(line) for line in lines)]


def field_rows(result: SeasonResult) -> list[dict]:
    """Return per field: name, area_ha, removable_mg, take_mg, how, methods, bales, turns, yards (texts).

    Numbers are NaN where no yield is known on the field; where none is on part of it, they are the rest's.
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
            }
        )
    return rows
