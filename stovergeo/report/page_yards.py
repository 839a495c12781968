"""What the page draws of yards: outlines, rows, lanes and aprons, the yards of the plan before, and clear distances."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import pandas as pd

from stovergeo.report.panels import Block, amount, table_of, yard_panel
from stovergeo.report.places import Frame, inside, shapes_of
from stovergeo.result import SeasonResult

#: what the landowner said of a yard, as the page repeats it
_SAID: Final = {"yes": "You answered: yes.", "no": "You answered: no.", "maybe": "You answered: maybe."}


def yards(result: SeasonResult, frame: Frame) -> list[dict[str, Any]]:
    """Return every yard with its rows, lanes, apron and panel."""
    planned = result.hauls.groupby("yard_id")["bales"].sum()
    return [
        {
            "id": y.yard_id,
            "at": frame.point(y.geometry),
            "bales": int(planned.get(y.yard_id, 0)),
            "room": int(y.capacity_bales),
            "shape": frame.code(y.geometry),
            "lanes": [frame.code(s) for s in part_of(result.lanes, y.yard_id)],
            "apron": [frame.code(s) for s in part_of(result.apron, y.yard_id)],
            "rows": [frame.code(s) for s in part_of(result.stacks, y.yard_id)],
            "panel": yard_panel(result, y, number),
        }
        for number, y in enumerate(result.yards.itertuples())
    ]


def part_of(table: gpd.GeoDataFrame, yard_id: str) -> list[Any]:
    """Return the shapes of a table that belong to a yard, empty ones left out."""
    if table.empty:
        return []
    return [s for s in table.loc[table["yard_id"] == yard_id, "geometry"] if s is not None and not s.is_empty]


def yards_before(result: SeasonResult, frame: Frame) -> list[dict[str, Any]]:
    """Return the yards of the plan that was answered, each with what became of its ground."""
    return [
        {
            "id": y.yard_id,
            "at": frame.point(y.geometry),
            "now": y.now,
            "shape": frame.code(y.geometry),
            "panel": [{"ul": [[line] for line in before_words(y)]}],
        }
        for y in result.yards_before.itertuples()
    ]


def before_words(yard: Any) -> list[str]:
    """Say what stood here in the plan before, what was answered, and what stands here now."""
    stood = f"The plan before would have put {yard.bales:,.0f} bales here." if yard.bales else "A spare place before."
    now = f"Now: yard {yard.now} stands here." if yard.now else "Now: no bales stand here."
    return [stood, _SAID.get(yard.answer, "You did not answer for it."), now]


def kept_clear(result: SeasonResult, frame: Frame, tolerance_m: float) -> list[dict[str, Any]]:
    """Return the ground that each clear distance keeps free of stacks, cut to what the page shows."""
    if result.setback_areas.empty:
        return []
    return shapes_of(
        frame, inside(result.setback_areas, frame), tolerance_m, lambda a: {"id": a.criterion, "title": str(a.title)}
    )


def yard_tables(result: SeasonResult) -> list[Block]:
    """Return what of this stands on the map, as tables."""
    sides = dict(zip(result.apron.get("yard_id", ()), result.apron.get("side_m", ()), strict=True))
    before = [
        [[y.yard_id], [f"{y.bales:,.0f}"], [y.answer or "–"], [f"yard {y.now}" if y.now else "no bales"]]
        for y in result.yards_before.itertuples()
    ]
    lanes = [
        [[y.yard_id], amount("length", y.width_m), amount("length", sides[y.yard_id]) if y.yard_id in sides else ["–"]]
        for y in result.lanes.itertuples()
    ]
    clear = [
        [[str(a.title)], amount("length", a.distance_m) if pd.notna(a.distance_m) else ["not on it"]]
        for a in result.setback_areas.itertuples()
    ]
    return [
        table_of("Yards of the plan before", ["Yard", "Bales then", "Your answer", "Now there"], before),
        table_of("Lanes and truck aprons", ["Yard", "Lane round the stacks", "Side of the truck apron"], lanes),
        table_of("Ground kept clear of stacks", ["What", "How far"], clear),
    ]
