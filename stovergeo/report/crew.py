"""``crew.html``: the bale-day sheet, one or two printed pages a field, readable in a cab.

What to do and why arrives as data in `SeasonResult.crew` (see `TOPICS`); this file only lays
it out. All text is escaped, and the page may run no script at all.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any, Final

import pandas as pd
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report.bare_page import bare_page
from stovergeo.report.cautions import CREW, GUIDANCE
from stovergeo.report.drawing import Drawing, north_turn_deg
from stovergeo.report.panels import method_titles
from stovergeo.report.say import NOT_KNOWN, System, as_text, parts_of, quantity, said
from stovergeo.result import SeasonResult

#: topics of the crew notes, in the order they are printed, with their headings
TOPICS: Final[dict[str, str]] = {
    "method": "How to gather",
    "cut": "Cut height",
    "not_here": "Where not to bale",
    "bale": "Bale setting",
    "wrap": "Net or wrap",
    "gate": "Opening the gate",
    "first_bale": "After the first bale",
    "approach": "Coming to a bale",
    "carry": "Carrying",
    "row": "Setting rows",
    "hazard": "Hazards",
    "heating": "If bales heat",
    "caution": "Take care",
}
_LEFT_ALONE_TOPICS: Final = ("not_here", "hazard")
_NEAR_M: Final = 150.0  # how far from a field a hazard or gate is still listed on its page
_MOST_OF_A_KIND: Final = 3
_LISTED: Final = {
    "gates": "Gate",
    "overhead_lines": "Overhead wires",
    "wells": "Well",
    "water": "Water",
    "buildings": "Building",
    "dwellings": "House",
    "roads": "Road",
}


def load_rows(hauls: pd.DataFrame, stacks: pd.DataFrame) -> pd.DataFrame:
    """Say which row takes which bales: rows of a yard are filled in order, zones in the order of the hauls.

    Returns
    -------
    pandas.DataFrame
        zone_id, yard_id, stack_id, bales. Bales beyond the rows' room stand with an empty stack_id.
    """
    out = []
    for yard_id, part in hauls.groupby("yard_id", sort=False):
        rows = [[s.stack_id, int(s.bales)] for s in stacks[stacks["yard_id"] == yard_id].itertuples()]
        for haul in part.itertuples():
            left = int(haul.bales)
            while left > 0 and rows:
                here = min(left, rows[0][1])
                if here > 0:
                    out.append((haul.zone_id, yard_id, rows[0][0], here))
                left -= here
                rows[0][1] -= here
                if rows[0][1] == 0:
                    rows.pop(0)
            if left > 0:
                out.append((haul.zone_id, yard_id, "", left))
    return pd.DataFrame(out, columns=["zone_id", "yard_id", "stack_id", "bales"])


def crew_sheet(result: SeasonResult) -> str:
    """Return the crew sheet as one HTML page that loads nothing and runs nothing."""
    body = "".join(_field_page(result, f) for f in result.fields.itertuples())
    return bare_page("Crew sheet", ("drawing.css", "crew.css"), body)


def _field_page(result: SeasonResult, field: Any) -> str:
    system = result.plan.farm.units
    zones = result.zones[result.zones["field_id"] == field.field_id]
    plan = result.bale_plan.set_index("zone_id")
    bales = int(plan["bales"].reindex(zones["zone_id"], fill_value=0).sum())
    dark = zones["method"] == UNKNOWN
    made = f"{bales:,} bales" if not dark.any() else NOT_KNOWN if dark.all() else f"{bales:,} bales; part {NOT_KNOWN}"
    hauls = result.hauls[result.hauls["zone_id"].isin(zones["zone_id"])]
    scopes = {"farm", field.field_id, *zones["zone_id"], *hauls["yard_id"]}
    notes = _notes(result, scopes)
    parts = [
        f'<article class="page"><h1>{escape(field.name)}</h1>',
        f'<p class="sub">{escape(result.plan.farm.name)}, season {result.plan.farm.season}. '
        f"{said([quantity('area', field.area_ha)], system)}, {made}.</p>",
        '<div class="two"><section>',
        _zones_table(result, zones, plan),
        f"<p>Bales of this field: {NOT_KNOWN}.</p>" if dark.all() else _loads_table(result, hauls),
        "</section>",
        f'<section class="pic">{_field_drawing(result, field, zones, hauls)}'
        '<p class="small">Hatched: no baling. Triangles: gates. Dashed: overhead wires.</p></section></div>',
        '<div class="notes">',
    ]
    # a field that is left alone needs no settings, only the word that it is left, and what is around it
    topics = TOPICS if bales else {t: TOPICS[t] for t in _LEFT_ALONE_TOPICS}
    for topic, heading in topics.items():
        lines = notes.get(topic, [])
        if topic == "not_here":
            lines = [*_left_alone(zones, system), *lines]
        if topic == "hazard":
            lines = [*_near(result, field.geometry), *lines]
        if topic == "caution":
            lines = [*lines, *(f"<b>{escape(c.title)}.</b> {escape(c.words)}" for c in CREW)]
        if lines:
            items = "".join(f"<li>{line}</li>" for line in lines)
            parts.append(f'<section class="t-{topic}"><h2>{heading}</h2><ul>{items}</ul></section>')
    parts.append(f'</div><p class="small">{escape(GUIDANCE)}</p></article>')
    return "".join(parts)


def _notes(result: SeasonResult, scopes: Iterable[str]) -> dict[str, list[str]]:
    notes: dict[str, list[str]] = {}
    if result.crew is None:
        return notes
    names = _names(result)
    for note in result.crew[result.crew["scope"].isin(list(scopes))].itertuples():
        words = said(parts_of(str(note.words), names), result.plan.farm.units)
        title = f"<b>{escape(str(note.title))}.</b> " if note.title else ""
        line = f"{title}{escape(words)}"
        if line not in notes.setdefault(str(note.topic), []):
            notes[str(note.topic)].append(line)
    return notes


def _names(result: SeasonResult) -> list[str]:
    return [*result.fields["name"].astype(str), result.plan.farm.name]


def _zones_table(result: SeasonResult, zones: pd.DataFrame, plan: pd.DataFrame) -> str:
    system = result.plan.farm.units
    titles = method_titles(result)
    rows = []
    for z in zones.itertuples():
        row = plan.loc[z.zone_id] if z.zone_id in plan.index else None
        cells = [
            z.zone_id,
            said([quantity("area", z.area_ha)], system),
            titles.get(z.method, str(z.method)) + _part_of(z),
            said([quantity("rate", z.take_mg_ha)], system),
            f"{row.bales:,.0f}" if row is not None else "unknown" if z.method == UNKNOWN else "0",
            f"{row.turns:g}" if row is not None and row.turns == row.turns and row.bales else "–",
        ]
        rows.append("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>")
    head = "".join(
        f'<th scope="col">{h}</th>' for h in ("Zone", "Area", "Gather", "Take, dry", "Bales", "Turns of net")
    )
    return f"<table><caption>Zones</caption><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _part_of(zone: Any) -> str:
    share = getattr(zone, "gathered_share", 1.0)
    return f", on {share:.0%} of it" if 0 < share < 0.995 else ""


def _loads_table(result: SeasonResult, hauls: pd.DataFrame) -> str:
    system = result.plan.farm.units
    loads = load_rows(result.hauls, result.stacks)
    loads = loads[loads["zone_id"].isin(hauls["zone_id"])]
    far = result.hauls.set_index(["zone_id", "yard_id"])["distance_m"]
    rows = "".join(
        f"<tr><td>{escape(p.zone_id)}</td><td>{escape(p.yard_id)}</td><td>{escape(p.stack_id or 'no stack left')}</td>"
        f"<td>{p.bales:,}</td><td>{said([quantity('length', far[(p.zone_id, p.yard_id)])], system)}</td></tr>"
        for p in loads.itertuples()
    )
    if not rows:
        return "<p>No bales leave this field.</p>"
    head = "".join(f'<th scope="col">{h}</th>' for h in ("From zone", "To yard", "Stack", "Bales", "Way"))
    return f"<table><caption>Where each load goes</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _left_alone(zones: pd.DataFrame, system: System) -> list[str]:
    return [
        f"<b>Zone {escape(z.zone_id)}.</b> {escape(said(parts_of(as_text(z.reason)), system))}"
        for z in zones[zones["method"].isin(["leave", UNKNOWN])].itertuples()
    ]


def _near(result: SeasonResult, field: BaseGeometry) -> list[str]:
    lines = []
    for layer, kind in _LISTED.items():
        things = result.surroundings.get(layer)
        if things is None:
            continue
        away_m = things.distance(field)
        near = things[away_m <= _NEAR_M]
        for thing in near.loc[away_m[near.index].sort_values(kind="stable").index[:_MOST_OF_A_KIND]].itertuples():
            name = str(getattr(thing, "name", "") or "")
            away = said([quantity("length", thing.geometry.distance(field))], result.plan.farm.units)
            lines.append(f"<b>{kind}</b>{': ' + escape(name) if name else ''}, {away} from the field.")
    return lines


def _field_drawing(result: SeasonResult, field: Any, zones: pd.DataFrame, hauls: pd.DataFrame) -> str:
    yards = result.yards[result.yards["yard_id"].isin(hauls["yard_id"])]
    shapes = [field.geometry, *yards.geometry]
    bounds = (
        min(s.bounds[0] for s in shapes),
        min(s.bounds[1] for s in shapes),
        max(s.bounds[2] for s in shapes),
        max(s.bounds[3] for s in shapes),
    )
    drawing = Drawing(
        bounds, 420, f"Zones of the field and its yards: {', '.join(zones['zone_id'])}", f"{field.field_id}-"
    )
    for z in zones.itertuples():
        drawing.shape(z.geometry, "d-leave" if z.method in ("leave", UNKNOWN) else "d-zone")
    for y in yards.itertuples():
        drawing.shape(y.geometry, "d-yard")
    for s in result.stacks[result.stacks["yard_id"].isin(yards["yard_id"])].itertuples():
        drawing.shape(s.geometry, "d-row")
    frame = box(*bounds).buffer(30)
    for layer, name in (("water", "d-water"), ("roads", "d-road"), ("overhead_lines", "d-wire"), ("gates", "d-gate")):
        if layer in result.surroundings:
            for thing in result.surroundings[layer].geometry:
                drawing.shape(thing.intersection(frame), name)
    for z in zones.itertuples():
        drawing.label(z.geometry.representative_point(), z.zone_id)
    for y in yards.itertuples():
        drawing.label(y.geometry.representative_point(), y.yard_id)
    middle = field.geometry.centroid
    return drawing.svg(result.plan.farm.units, north_turn_deg(result.crs, middle.x, middle.y))
