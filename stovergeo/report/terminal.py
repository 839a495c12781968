"""The short table that ends a run: per field what leaves, how, in how many bales and where to; then the need."""

from __future__ import annotations

from typing import Any, Final

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from stovergeo.core.printing import how_printed, render
from stovergeo.report.blocks import label, message, plain
from stovergeo.report.by_field import field_rows
from stovergeo.report.figures import as_printed
from stovergeo.report.ledger import Ledger
from stovergeo.report.where import as_where_it_lies
from stovergeo.result import SeasonResult

_MAX_LINES: Final = 8  # of what only the grower sees
_MAX_ROWS: Final = 40  # of the inventory


def grower_table(result: SeasonResult) -> list[RenderableType]:
    """Return the closing table and sentences, each for a console to print; all text is literal, never markup."""
    return closing_lines(*as_printed(result))


@as_where_it_lies
def closing_lines(result: SeasonResult, ledger: Ledger) -> list[RenderableType]:
    """Return the same of a season as it is printed."""
    system = result.plan.farm.units
    lines = _lines(result, ledger)
    tables = [_table(result, ledger)]
    if not result.plan.need.given and len(result.supply.inventory):
        tables.append(_inventory(result, ledger))
    return [*tables, *(Text(render(line, system)) for line in lines)]


def _inventory(result: SeasonResult, ledger: Ledger) -> Table:
    """Return what each allowed method could take from each zone."""
    system, names = result.plan.farm.units, result.fields.set_index("field_id")["name"]
    table = Table(title=Text(plain("terminal.inventory_title")))
    mass, cost = (how_printed(kind, system).label for kind in ("mass", "per_mass"))
    for head in (label("field"), plain("terminal.zone"), plain("terminal.method")):
        table.add_column(head)
    chance = f"{plain('terminal.chance')} {how_printed('fraction', system).label}"
    heads = (f"{plain('terminal.could_leave')} {mass}", label("bales"), f"{plain('terminal.edge_cost')} {cost}", chance)
    for head in heads:
        table.add_column(head, justify="right")
    for row in result.supply.inventory.head(_MAX_ROWS).itertuples():
        of = f"inventory {row.zone_id} {row.method}"
        numbers = ("removal", "bales", "edge_cost_per_mass", "compliance_probability")
        texts = (Text(str(names[row.field_id])), Text(row.zone_id), Text(row.title))
        table.add_row(*texts, *(ledger.text(of, what, system) for what in numbers))
    return table


def _table(result: SeasonResult, ledger: Ledger) -> Table:
    system = result.plan.farm.units
    farm = {"farm": result.plan.farm.name, "season": str(result.plan.farm.season)}
    table = Table(title=Text(render(message("terminal.title", **farm), system)))
    mass = how_printed("mass", system).label
    area, may_leave = how_printed("area", system).label, label("may_leave")
    leaves = plain("terminal.leaves" if result.plan.need.given else "terminal.could_leave")
    table.add_column(label("field"))
    for head in (area, f"{may_leave} {mass}", f"{leaves} {mass}"):
        table.add_column(head, justify="right")
    table.add_column(plain("terminal.method"))
    for head in (label("bales"), plain("terminal.turns")):
        table.add_column(head, justify="right")
    table.add_column(label("yard"))
    zones_of = result.bales.made[result.bales.made["bales"] > 0].merge(
        result.zones[["zone_id", "field_id"]], on="zone_id"
    )
    for row in field_rows(result):
        of = f"field {row['field_id']}"
        area, removable, removal, bales = (
            ledger.text(of, w, system) for w in ("area", "removable", "removal", "bales")
        )
        baled = zones_of.loc[zones_of["field_id"] == row["field_id"], "zone_id"]
        turns = sorted({ledger.text(f"zone {z}", "turns", system) for z in baled if ledger[f"zone {z}", "turns"] > 0})
        texts = (Text(row["name"]), area, removable, removal, Text(row["methods"]), bales)
        table.add_row(*texts, ", ".join(turns) or "–", Text(row["yards"]))
    return table


def _made(result: SeasonResult, bales: int, removal: float) -> list[Any]:
    """Return the bales of the plan or, without a need, what could leave."""
    if result.plan.need.given or not bales:
        return [message("terminal.planned", bales=bales, mass=removal)]
    more = len(result.supply.inventory) - _MAX_ROWS
    lines = [message("terminal.inventory", bales=bales, mass=removal), message("terminal.inventory_each")]
    return [*lines, message("terminal.inventory_more", more=more)] if more > 0 else lines


def _lines(result: SeasonResult, ledger: Ledger) -> list[Any]:
    bales, removal = int(ledger["farm", "bales"]), ledger["farm", "removal"]
    lines: list[Any] = [
        *result.words.get("unknown", []),
        *_made(result, bales, removal),
    ]
    if len(result.supply.need):
        need, short = ledger["farm", "need"], int(ledger["farm", "short_bales"])
        met = message("terminal.need_met", mass=need)
        lines.append(message("terminal.need_short", mass=need, bales=short) if short else met)
    kept = tuple(
        message("terminal.kept_free_field", area=area, field=str(field.name))
        for field in result.fields.itertuples()
        if (area := ledger[f"field {field.field_id}", "kept_free_area"]) > 0
    )
    if kept:
        lines.append(message("terminal.kept_free", fields=kept))
    lines += [line for topic in ("lever", "window") for line in result.words.get(topic, [])]
    # what only the grower may know stands here and in plan.json, nowhere on the landowner's map
    grower = result.words.get("grower", [])
    lines += [line for topic in ("choice", "shortage") for line in result.words.get(topic, [])]
    lines += grower[:_MAX_LINES]
    if result.yards.empty:  # why no stack may stand anywhere is part of the short answer
        lines += [line for topic in ("soil", "yards") for line in result.words.get(topic, [])]
    return [*lines, message("terminal.more")] if len(grower) > _MAX_LINES else lines
