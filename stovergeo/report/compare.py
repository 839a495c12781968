"""Two plans already made, side by side: rows of like numbers, as data and as a table for the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rich.table import Table
from rich.text import Text

from stovergeo.core.printing import KINDS, UNKNOWN, how_printed, listing, number, printed_in, quantity, unit_of_money
from stovergeo.core.schemas import UNKNOWN as UNKNOWN_METHOD
from stovergeo.report.blocks import label, plain
from stovergeo.report.compare_record import PlanRecord, ZoneRow
from stovergeo.report.panels import capital

#: what is compared of each field, as in the ledger, and its kind of quantity; texts have none
_PER_FIELD: Final = {"gathered_area": "area", "removal": "mass", "method": "", "bales": "count", "yards_of_field": ""}
#: and of the whole farm
_WHOLE: Final = {
    "gathered_area": "area",
    "removal": "mass",
    "stays_fraction": "fraction",
    "bales": "count",
    "cost": "money",
    "cost_per_mass": "per_mass",
    "short_bales": "count",
    **dict.fromkeys(("nitrogen", "phosphate", "potash", "sulfur"), "bale_mass"),
    "nutrient_cost": "money",
    "yards": "count",
}


@dataclass(frozen=True, slots=True)
class Compared:
    """One line of the comparison: numbers in SI (NaN where not known), or texts where `kind` is empty."""

    place: str  #: a field's name, or what stands for the whole farm
    what: str
    kind: str  #: of `stovergeo.core.printing.KINDS`
    one: float | str
    two: float | str

    def cells(self, system: str) -> tuple[str, str, str]:
        """Return both values and what changes from the first to the second, as printed."""
        if isinstance(self.one, str) or isinstance(self.two, str):
            one, two = str(self.one), str(self.two)
            return one, two, plain("compare.same" if one == two else "compare.differs")
        one, two = (quantity(self.kind, v, system) for v in (self.one, self.two))
        if math.isnan(self.one) or math.isnan(self.two):
            return one, two, UNKNOWN
        # the difference of what is printed, so that nobody who checks the sum finds it one off
        shown = [float(number(self.kind, v, system).replace(",", "")) for v in (self.one, self.two)]
        change = (shown[1] - shown[0]) / how_printed(self.kind, system).factor
        size = number(self.kind, abs(change), system)
        if not size.strip("0.,"):
            return one, two, plain("compare.same")
        grown = (
            plain("compare.points", size=size) if self.kind == "fraction" else quantity(self.kind, abs(change), system)
        )
        return one, two, f"{'+' if change > 0 else '−'}{grown}"

    def as_dict(self) -> dict[str, Any]:
        """Return the line as plain JSON values in SI; what is not known is None."""
        row: dict[str, Any] = {"place": self.place, "what": self.what}
        if self.kind:
            row["unit"] = unit_of_money("$" if self.kind.startswith("money") else KINDS[self.kind].si_unit)
        return row | {k: None if v != v else v for k, v in (("one", self.one), ("two", self.two))}


def compare_plans(one: PlanRecord, two: PlanRecord) -> list[Compared]:
    """Return the comparison: fields of either plan, matched by name, then the whole farm."""
    sides = [_by_field(one), _by_field(two)]
    none = plain("compare.no_field")
    lines = []
    for field, twin in dict.fromkeys([*sides[0], *sides[1]]):
        place = field if twin == 1 else plain("compare.twin", field=field, number=twin)
        for what, kind in _PER_FIELD.items():
            values = (s[field, twin][what] if (field, twin) in s else math.nan if kind else none for s in sides)
            lines.append(Compared(place, _title(what), kind, *values))
    farm = plain("compare.whole_farm")
    return lines + [
        Compared(farm, _title(what), kind, *(r.numbers.get(("farm", what), math.nan) for r in (one, two)))
        for what, kind in _WHOLE.items()
    ]


def _title(what: str) -> str:
    return plain(f"compare.row.{what}")


def _by_field(record: PlanRecord) -> dict[tuple[str, int], dict[str, float | str]]:
    """Return what each field gives, by its name and which of that name it is."""
    titles: Mapping[str, str] = {m.method: capital(m.title) for m in record.zone_methods}
    side: dict[tuple[str, int], dict[str, float | str]] = {}
    for field in (f.properties for f in record.fields.features):
        zones = [z.properties for z in record.zones.features if z.properties.field_id == field.field_id]
        own = {z.zone_id for z in zones}
        hauled = [h.properties for h in record.hauls.features if h.properties.zone_id in own]
        yards = dict.fromkeys(h.yard_id for h in hauled if (h.bales or 0) > 0)
        twin = 1 + sum(name == field.name for name, _ in side)
        of = f"field {field.field_id}"
        side[field.name, twin] = {
            **{what: record.numbers.get((of, what), math.nan) for what, kind in _PER_FIELD.items() if kind},
            "method": _methods(zones, titles),
            "yards_of_field": ", ".join(yards) or "–",
        }
    return side


def _methods(zones: list[ZoneRow], titles: Mapping[str, str]) -> str:
    methods = dict.fromkeys(titles.get(z.method, z.method) for z in zones if (z.removal_mg or 0) > 0)
    dark = bool(zones) and all(z.method == UNKNOWN_METHOD for z in zones)
    return ", ".join(methods) or plain("field.unknown" if dark else "field.stays")


def comparison_table(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> Table:
    """Return the comparison for a console to print, in the first plan's units; all text is literal, never markup."""
    with printed_in(records[0].farm.currency):
        return _table(lines, records)


def _table(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> Table:
    system = records[0].farm.units
    table = Table(title=Text(listing(list(dict.fromkeys(r.title for r in records)))))
    for head in ("where", "what"):
        table.add_column(label(head))
    for order, record in zip(("first", "second"), records, strict=True):
        table.add_column(Text(plain(f"compare.{order}", plan=record.read_from)), justify="right")
    table.add_column(plain("compare.change"), justify="right")
    before = ""
    for line in lines:
        if before not in ("", line.place):
            table.add_section()
        where = "" if line.place == before else line.place
        table.add_row(Text(where), line.what, *map(Text, line.cells(system)))
        before = line.place
    return table
