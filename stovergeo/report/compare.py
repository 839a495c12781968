"""Two plans already made, side by side: rows of like numbers, as data and as a table for the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rich.table import Table
from rich.text import Text

from stovergeo.core.printing import KINDS, UNKNOWN, how_printed, number, quantity
from stovergeo.core.schemas import UNKNOWN as UNKNOWN_METHOD
from stovergeo.report.blocks import message
from stovergeo.report.compare_record import PlanRecord, ZoneRow
from stovergeo.report.panels import capital

_WHOLE_FARM: Final = "Whole farm"
#: what is compared of each field: title, kind of quantity, what it is in the ledger; texts have neither
_PER_FIELD: Final = (
    ("Ground baled", "area", "gathered_area"),
    ("Dry stover removed", "mass", "removal"),
    ("Baled by", "", ""),
    ("Bales", "count", "bales"),
    ("Yards", "", ""),
)
#: and of the whole farm
_WHOLE: Final = (
    ("Ground baled", "area", "gathered_area"),
    ("Dry stover removed", "mass", "removal"),
    ("Stays on the ground", "share", "stays_fraction"),
    ("Bales", "count", "bales"),
    ("Cost", "money", "cost"),
    ("Cost, delivered", "per_mass", "cost_per_mass"),
    ("Bales short", "count", "short_bales"),
    ("Nitrogen removed", "bale_mass", "nitrogen"),
    ("Phosphate removed", "bale_mass", "phosphate"),
    ("Potash removed", "bale_mass", "potash"),
    ("Sulfur removed", "bale_mass", "sulfur"),
    ("Cost to replace these", "money", "nutrient_cost"),
    ("Yards used", "count", "yards"),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One line of the comparison: numbers in SI (NaN where not known), or texts where `kind` is empty."""

    place: str  #: a field's name, or "Whole farm"
    what: str
    kind: str  #: of `stovergeo.core.printing.KINDS`
    one: float | str
    two: float | str

    def cells(self, system: str) -> tuple[str, str, str]:
        """Return both values and what changes from the first to the second, as printed."""
        if isinstance(self.one, str) or isinstance(self.two, str):
            one, two = str(self.one), str(self.two)
            return one, two, "same" if one == two else "differs"
        one, two = (quantity(self.kind, v, system) for v in (self.one, self.two))
        if math.isnan(self.one) or math.isnan(self.two):
            return one, two, UNKNOWN
        # the difference of what is printed, so that nobody who checks the sum finds it one off
        shown = [float(number(self.kind, v, system).replace(",", "")) for v in (self.one, self.two)]
        change = (shown[1] - shown[0]) / how_printed(self.kind, system).factor
        size = number(self.kind, abs(change), system)
        if not size.strip("0.,"):
            return one, two, "same"
        grown = f"{size} points" if self.kind == "share" else quantity(self.kind, abs(change), system)
        return one, two, f"{'+' if change > 0 else '−'}{grown}"

    def as_dict(self) -> dict[str, Any]:
        """Return the line as plain JSON values in SI; what is not known is None."""
        row: dict[str, Any] = {"place": self.place, "what": self.what}
        if self.kind:
            row["unit"] = "$" if self.kind.startswith("money") else KINDS[self.kind].si_unit
        return row | {k: None if v != v else v for k, v in (("one", self.one), ("two", self.two))}


def compare_plans(one: PlanRecord, two: PlanRecord) -> list[Compared]:
    """Return the comparison: fields of either plan, matched by name, then the whole farm."""
    sides = [_by_field(one), _by_field(two)]
    places = [*sides[0], *(p for p in sides[1] if p not in sides[0])]
    lines = [
        Compared(
            place if number == 1 else f"{place} ({number})",
            what,
            kind,
            *(_value(s, (place, number), what, kind) for s in sides),
        )
        for place, number in places
        for what, kind, _ in _PER_FIELD
    ]
    return lines + [
        Compared(_WHOLE_FARM, what, kind, *(_known(r, "farm", key) for r in (one, two))) for what, kind, key in _WHOLE
    ]


_Side = dict[tuple[str, int], dict[str, float | str]]


def _value(side: _Side, place: tuple[str, int], what: str, kind: str) -> float | str:
    """Return a value of a field; a field that a plan does not have gives none."""
    if place in side:
        return side[place][what]
    return math.nan if kind else "no such field"


def _known(record: PlanRecord, of: str, what: str) -> float:
    return record.numbers.get((of, what), math.nan)


def _by_field(record: PlanRecord) -> _Side:
    """Return what each field gives, by its name and which of that name it is."""
    titles: Mapping[str, str] = {m.method: capital(m.title) for m in record.zone_methods}
    side: _Side = {}
    for field in (f.properties for f in record.fields.features):
        zones = [z.properties for z in record.zones.features if z.properties.field_id == field.field_id]
        own = {z.zone_id for z in zones}
        hauled = [h.properties for h in record.hauls.features if h.properties.zone_id in own]
        yards = dict.fromkeys(h.yard_id for h in hauled if (h.bales or 0) > 0)
        twin = 1 + sum(name == field.name for name, _ in side)
        side[field.name, twin] = {
            **{what: _known(record, f"field {field.field_id}", key) for what, _, key in _PER_FIELD if key},
            "Baled by": _baled_by(zones, titles),
            "Yards": ", ".join(yards) or "–",
        }
    return side


def _baled_by(zones: list[ZoneRow], titles: Mapping[str, str]) -> str:
    methods = dict.fromkeys(titles.get(z.method, z.method) for z in zones if (z.removal_mg or 0) > 0)
    dark = bool(zones) and all(z.method == UNKNOWN_METHOD for z in zones)
    return ", ".join(methods) or str(message("field.unknown" if dark else "field.stays"))


def comparison_table(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> Table:
    """Return the comparison for a console to print, in the first plan's units; all text is literal, never markup."""
    system = records[0].farm.units
    farms = dict.fromkeys(f"{r.farm.name}, {r.farm.season}" for r in records)
    table = Table(title=Text(" and ".join(farms)))
    for head in ("Where", "What"):
        table.add_column(head)
    for head, record in zip(("First", "Second"), records, strict=True):
        table.add_column(Text(f"{head}: {record.read_from}"), justify="right")
    table.add_column("Change", justify="right")
    before = ""
    for line in lines:
        if before not in ("", line.place):
            table.add_section()
        where = "" if line.place == before else line.place
        table.add_row(Text(where), line.what, *map(Text, line.cells(system)))
        before = line.place
    return table
