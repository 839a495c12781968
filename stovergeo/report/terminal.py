"""The short table that ends a run: per field what leaves, how, in how many bales and where to; then the need."""

from __future__ import annotations

from typing import Final

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from stovergeo.core.printing import render
from stovergeo.report.by_field import field_rows
from stovergeo.report.first_screen import names_given
from stovergeo.report.say import KINDS, Parts, number_in, parts_of, quantity, said
from stovergeo.result import SeasonResult

_MOST_LINES: Final = 8  # of what only the grower sees


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
