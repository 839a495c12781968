"""Two plans already made, side by side: rows of like numbers, as data and as a table for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rich.table import Table
from rich.text import Text

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.compare_record import Number, PlanRecord, ZoneRow
from stovergeo.report.panels import capital
from stovergeo.report.say import KINDS, NOT_KNOWN, System, number_in, quantity, said

_WHOLE_FARM: Final = "Whole farm"
_SI_UNIT: Final = {
    "area": "ha",
    "mass": "Mg",
    "share": "1",
    "count": "1",
    "money": "$",
    "per_mass": "$/Mg",
    "kg": "kg",
}
#: what is compared of the whole farm: title, kind of quantity, key of the plan's totals
_TOTALS: Final = (
    ("Bales", "count", "bales"),
    ("Cost", "money", "cost"),
    ("Cost, delivered", "per_mass", "cost_per_mg"),
    ("Bales short", "count", "short_bales"),
    ("Nitrogen taken", "kg", "n_kg"),
    ("Phosphate taken", "kg", "p2o5_kg"),
    ("Potash taken", "kg", "k2o_kg"),
    ("Sulfur taken", "kg", "s_kg"),
    ("Worth of these", "money", "nutrient_cost"),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One line of the comparison: numbers in SI (NaN where unknown), or texts where `kind` is empty."""

    place: str  #: a field's name, or "Whole farm"
    what: str
    kind: str  #: of `say.KINDS`
    one: float | str
    two: float | str

    def cells(self, system: System) -> tuple[str, str, str]:
        """Return both values and what changes from the first to the second, as printed."""
        if isinstance(self.one, str) or isinstance(self.two, str):
            one, two = str(self.one), str(self.two)
            return one, two, "same" if one == two else "differs"
        one, two = (said([quantity(self.kind, v)], system) for v in (self.one, self.two))
        if self.one != self.one or self.two != self.two:
            return one, two, "unknown"
        # the difference of what is printed, so that nobody who checks the sum finds it one off
        shown = [float(number_in(self.kind, v, system).replace(",", "")) for v in (self.one, self.two)]
        change = (shown[1] - shown[0]) / KINDS[self.kind].in_(system).factor
        size = number_in(self.kind, abs(change), system)
        if not size.strip("0.,"):
            return one, two, "same"
        grown = f"{size} points" if self.kind == "share" else said([quantity(self.kind, abs(change))], system)
        return one, two, f"{'+' if change > 0 else '−'}{grown}"

    def as_dict(self) -> dict[str, Any]:
        """Return the line as plain JSON values in SI; what is unknown is None."""
        row: dict[str, Any] = {"place": self.place, "what": self.what}
        if self.kind:
            row["unit"] = _SI_UNIT[self.kind]
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
            *(_value(s, (place, number), what) for s in sides),
        )
        for place, number in places
        for what, kind in _PER_FIELD
    ]
    wholes = [_whole(one), _whole(two)]
    lines += [Compared(_WHOLE_FARM, what, kind, wholes[0][what], wholes[1][what]) for what, kind in _WHOLE]
    return lines


_PER_FIELD: Final = (
    ("Ground gathered", "area"),
    ("Dry stover taken", "mass"),
    ("Gathered by", ""),
    ("Bales", "count"),
    ("Yards", ""),
)
_WHOLE: Final = (
    ("Ground gathered", "area"),
    ("Dry stover taken", "mass"),
    ("Share kept", "share"),
    *((what, kind) for what, kind, _ in _TOTALS),
    ("Yards used", "count"),
)
_Side = dict[tuple[str, int], dict[str, float | str]]


def _value(side: _Side, place: tuple[str, int], what: str) -> float | str:
    """Return a value of a field; a field that a plan does not have gives none."""
    if place in side:
        return side[place][what]
    return "no such field" if dict(_PER_FIELD)[what] == "" else float("nan")


def _number(value: Number) -> float:
    return float("nan") if value is None else float(value)


def _known(zones: list[ZoneRow]) -> list[ZoneRow]:
    return [z for z in zones if z.method != UNKNOWN]


def _gathered_ha(zones: list[ZoneRow]) -> float:
    return sum(_number(z.area_ha) * _number(z.gathered_share) for z in zones if (z.take_mg or 0) > 0)


def _by_field(record: PlanRecord) -> _Side:
    """Return what each field gives, by its name and which of that name it is."""
    titles: Mapping[str, str] = {m.method: capital(m.title) for m in record.zone_methods}
    bales: dict[str, float] = {}
    for row in record.bale_plan:
        bales[row.zone_id] = bales.get(row.zone_id, 0.0) + _number(row.bales)
    side: _Side = {}
    for field in (f.properties for f in record.fields.features):
        zones = [z.properties for z in record.zones.features if z.properties.field_id == field.field_id]
        own = {z.zone_id for z in zones}
        taken = [z for z in zones if (z.take_mg or 0) > 0]
        dark = bool(zones) and all(z.method == UNKNOWN for z in zones)
        hauled = [h.properties for h in record.hauls.features if h.properties.zone_id in own]
        yards = dict.fromkeys(h.yard_id for h in hauled if (h.bales or 0) > 0)
        number = 1 + sum(name == field.name for name, _ in side)
        side[field.name, number] = {
            "Ground gathered": float("nan") if dark else _gathered_ha(zones),
            "Dry stover taken": float("nan") if dark else sum(_number(z.take_mg) for z in _known(zones)),
            "Gathered by": ", ".join(dict.fromkeys(titles.get(z.method, z.method) for z in taken))
            or (NOT_KNOWN if dark else "left alone"),
            "Bales": float("nan") if dark else sum(bales.get(z, 0.0) for z in own),
            "Yards": ", ".join(yards) or "–",
        }
    return side


def _whole(record: PlanRecord) -> dict[str, float]:
    zones = _known([z.properties for z in record.zones.features])
    take = sum(_number(z.take_mg) for z in zones)
    grown = sum(_number(z.stover_mg_ha) * _number(z.area_ha) for z in zones)
    return {
        "Ground gathered": _gathered_ha(zones),
        "Dry stover taken": take,
        "Share kept": 1 - take / grown if grown > 0 else float("nan"),
        **{what: _number(record.totals.get(key)) for what, _, key in _TOTALS},
        "Yards used": float(len(record.yards_in_use())),
    }


def comparison_table(lines: list[Compared], records: tuple[PlanRecord, PlanRecord]) -> Table:
    """Return the comparison for a console to print, in the first plan's units; all text is literal, never markup."""
    system = records[0].farm.units
    farms = dict.fromkeys(f"{r.farm.name}, {r.farm.season}" for r in records)
    table = Table(title=Text(" and ".join(farms)))
    for head in ("Where", "What"):
        table.add_column(head)
    for number, record in zip(("First", "Second"), records, strict=True):
        table.add_column(Text(f"{number}: {record.read_from}"), justify="right")
    table.add_column("Change", justify="right")
    before = ""
    for line in lines:
        if before not in ("", line.place):
            table.add_section()
        where = "" if line.place == before else line.place
        table.add_row(Text(where), line.what, *map(Text, line.cells(system)))
        before = line.place
    return table
