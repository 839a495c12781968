"""``crew.html``: the bale-day sheet, one or two printed pages a field, readable in a cab.

What to do and why arrives as data in `SeasonResult.crew` (see `TOPICS`), numbers come from the ledger; the template
``page/crew.html`` lays them out. It takes every text as text, and the page may run no script at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import pandas as pd
import shapely
from markupsafe import Markup
from shapely.geometry import box

from stovergeo.core.printing import render
from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.bare_page import bare_page
from stovergeo.report.blocks import message, plain
from stovergeo.report.cautions import CREW, guidance
from stovergeo.report.drawing import Drawing, north_turn_deg
from stovergeo.report.field_work import load_rows, near_field
from stovergeo.report.ledger import Ledger
from stovergeo.report.panels import method_titles
from stovergeo.report.where import as_where_it_lies
from stovergeo.result import SeasonResult

#: topics of the crew notes, in the order they are printed
TOPICS: Final = (
    *("method", "cut", "not_here", "bale", "wrap", "gate", "first_bale"),
    *("approach", "carry", "row", "hazard", "heating", "caution"),
)
_NOT_BALED_TOPICS: Final = ("not_here", "hazard")
_PART: Final = 0.995  # a larger share of a zone prints as all of it
Line = tuple[str, str]  #: its title, or nothing, and its text


@as_where_it_lies
def crew_sheet(result: SeasonResult, ledger: Ledger) -> str:
    """Return the crew sheet as one HTML page that loads nothing and runs nothing."""
    fields = [_field(result, ledger, f) for f in result.fields.itertuples()]
    return bare_page(plain("crew.title"), ("drawing.css", "crew.css"), "crew.html", fields=fields, guidance=guidance())


def _field(result: SeasonResult, ledger: Ledger, field: Any) -> dict[str, Any]:
    """Return what the template reads of one field."""
    system, of = result.plan.farm.units, f"field {field.field_id}"
    zones = result.zones[result.zones["field_id"] == field.field_id]
    hauls = result.supply.hauls[result.supply.hauls["zone_id"].isin(zones["zone_id"])]
    dark = zones["method"] == UNKNOWN
    about = {"farm": result.plan.farm.name, "season": str(result.plan.farm.season), "area": ledger[of, "area"]}
    if dark.all():
        line = message("crew.unknown", **about)
    else:
        line = message("crew.made_in_part" if dark.any() else "crew.made", **about, bales=int(ledger[of, "bales"]))
        line = line if result.plan.need.given or not ledger[of, "bales"] else message("crew.inventory", made=line)
    return {
        "name": str(field.name),
        "about": render(line, system),
        "unknown": bool(dark.all()),
        "zones": [_zone_row(result, ledger, z) for z in zones.itertuples()],
        "loads": list(_load_rows(result, ledger, hauls)),
        "drawing": _field_drawing(result, field, zones, hauls),
        "notes": list(_notes(result, ledger, field, zones, hauls)),
    }


def _notes(
    result: SeasonResult, ledger: Ledger, field: Any, zones: pd.DataFrame, hauls: pd.DataFrame
) -> Iterator[tuple[str, str, list[Line]]]:
    """Yield topic, heading and lines of the notes on a field.

    A field that is not baled needs no settings, only the word that it is not, and what is around it.
    """
    system = result.plan.farm.units
    notes = _scoped_notes(result, {"farm", field.field_id, *zones["zone_id"], *hauls["yard_id"]})
    for topic in TOPICS if ledger[f"field {field.field_id}", "bales"] > 0 else _NOT_BALED_TOPICS:
        lines = notes.get(topic, [])
        if topic == "not_here":
            whole = zones[zones["method"].isin(["leave", UNKNOWN])]
            lines = [
                *((plain("crew.zone", zone=z.zone_id), render(z.reason, system)) for z in whole.itertuples()),
                *lines,
            ]
        if topic == "hazard":
            lines = [*_near(result, ledger, field), *lines]
        if topic == "caution":
            lines = [*lines, *CREW]
        if lines:
            yield topic, plain(f"crew.topic.{topic}"), lines


def _scoped_notes(result: SeasonResult, scopes: set[str]) -> dict[str, list[Line]]:
    """Return the crew notes of some scopes by topic, each once."""
    notes: dict[str, list[Line]] = {}
    if result.bales.crew is None:
        return notes
    system = result.plan.farm.units
    for note in result.bales.crew[result.bales.crew["scope"].isin(scopes)].itertuples():
        line = (render(note.title, system), render(note.message, system))
        if line not in notes.setdefault(str(note.topic), []):
            notes[str(note.topic)].append(line)
    return notes


def _near(result: SeasonResult, ledger: Ledger, field: Any) -> Iterator[Line]:
    system = result.plan.farm.units
    for near in near_field(result, field.geometry):
        away = ledger[f"near {field.field_id} {near.layer} {near.number}", "distance"]
        named = message("crew.near", name=near.name, distance=away)
        yield (
            plain(f"crew.near_layer.{near.layer}"),
            render(named if near.name else message("crew.near_unnamed", distance=away), system),
        )


def _zone_row(result: SeasonResult, ledger: Ledger, zone: Any) -> list[str]:
    system, of = result.plan.farm.units, f"zone {zone.zone_id}"
    method = method_titles(result).get(zone.method, str(zone.method))
    fraction = ledger[of, "gathered_fraction"]
    if 0 < fraction < _PART:
        method = render(message("crew.part", method=method, fraction=fraction), system)
    turns = (of, "turns") in ledger and ledger[of, "bales"] > 0
    return [
        zone.zone_id,
        ledger.entries[of, "area"].quantity(system),
        method,
        ledger.entries[of, "removal_rate"].quantity(system),
        ledger.entries[of, "bales"].quantity(system),
        ledger.entries[of, "turns"].quantity(system) if turns else "–",
    ]


def _load_rows(result: SeasonResult, ledger: Ledger, hauls: pd.DataFrame) -> Iterator[list[str]]:
    system = result.plan.farm.units
    loads = load_rows(result.supply.hauls, result.siting.stacks)
    for load in loads[loads["zone_id"].isin(hauls["zone_id"])].itertuples():
        bales = ledger.entries[f"load {load.zone_id} {load.yard_id} {load.stack_id}", "bales"].quantity(system)
        distance = ledger.entries[f"haul {load.zone_id} {load.yard_id}", "distance"].quantity(system)
        yield [load.zone_id, load.yard_id, load.stack_id or plain("crew.no_stack"), bales, distance]


def _field_drawing(result: SeasonResult, field: Any, zones: pd.DataFrame, hauls: pd.DataFrame) -> Markup:
    yards = result.yards[result.yards["yard_id"].isin(hauls["yard_id"])]
    bounds = tuple(shapely.total_bounds([field.geometry, *yards.geometry]))
    drawing = Drawing(bounds, 420, plain("crew.drawing", zones=tuple(zones["zone_id"])), f"{field.field_id}-")
    for z in zones.itertuples():
        drawing.shape(z.geometry, "d-leave" if z.method in ("leave", UNKNOWN) else "d-zone")
    for y in yards.itertuples():
        drawing.shape(y.geometry, "d-yard")
    for s in result.siting.stacks[result.siting.stacks["yard_id"].isin(yards["yard_id"])].itertuples():
        drawing.shape(s.geometry, "d-row")
    frame = box(*bounds).buffer(30)
    for layer, name in (("water", "d-water"), ("roads", "d-road"), ("overhead_lines", "d-wire"), ("gates", "d-gate")):
        for thing in result.surroundings[layer].geometry if layer in result.surroundings else ():
            drawing.shape(thing.intersection(frame), name)
    for z in zones.itertuples():
        drawing.label(z.geometry.representative_point(), z.zone_id)
    for y in yards.itertuples():
        drawing.label(y.geometry.representative_point(), y.yard_id)
    middle = field.geometry.centroid
    return drawing.svg(result.plan.farm.units, north_turn_deg(result.crs, middle.x, middle.y))
