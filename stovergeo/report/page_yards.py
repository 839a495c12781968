"""What the page draws of yards: outlines, rows, lanes and aprons, the yards of the plan before, and clear distances."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.report.blocks import Block, entry, message, plain, table, texts
from stovergeo.report.ledger import Ledger
from stovergeo.report.panels import yard_panel
from stovergeo.report.places import Frame, inside, shapes_of
from stovergeo.result import SeasonResult


def yards(result: SeasonResult, ledger: Ledger, frame: Frame) -> list[dict[str, Any]]:
    """Return every yard with its rows, lanes, apron and panel."""
    return [
        {
            "id": y.yard_id,
            "at": frame.point(y.geometry),
            "bales": int(ledger[f"yard {y.yard_id}", "bales"]),
            "room": int(y.capacity_bales),
            "shape": frame.code(y.geometry),
            "lanes": [frame.code(s) for s in part_of(result.lanes, y.yard_id)],
            "apron": [frame.code(s) for s in part_of(result.apron, y.yard_id)],
            "rows": [frame.code(s) for s in part_of(result.stacks, y.yard_id)],
            "panel": yard_panel(result, ledger, y, number),
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
            "panel": [{"ul": texts(before_messages(y))}],
        }
        for y in result.yards_before.itertuples()
    ]


def before_messages(yard: Any) -> list[Message]:
    """Return what stood here in the plan before, what was answered, and what stands here now."""
    return [
        message("page.before.bales", bales=int(yard.bales)) if yard.bales else message("page.before.spare"),
        message(f"page.answered.{yard.answer or 'none'}"),
        message("page.before.now", yard=yard.now) if yard.now else message("page.before.now_none"),
    ]


def kept_clear(result: SeasonResult, frame: Frame, tolerance_m: float) -> list[dict[str, Any]]:
    """Return the ground that each clear distance keeps free of stacks, cut to what the page shows."""
    if result.setback_areas.empty:
        return []
    return shapes_of(
        frame, inside(result.setback_areas, frame), tolerance_m, lambda a: {"id": a.criterion, "title": str(a.title)}
    )


def yard_tables(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return what of this stands on the map, as tables."""
    before = [
        [
            y.yard_id,
            entry(ledger, f"yard_before {y.yard_id}", "bales"),
            y.answer or "–",
            str(message("page.yard.still_here", yard=y.now) if y.now else message("page.yard.gone")),
        ]
        for y in result.yards_before.itertuples()
    ]
    sizes = ("lane_width", "apron_side")
    lanes = [
        [y, *(entry(ledger, f"yard {y}", what) if (f"yard {y}", what) in ledger else "–" for what in sizes)]
        for y in result.lanes.get("yard_id", ())
    ]
    clear = [
        [
            str(a.title),
            entry(ledger, f"setback {a.criterion}", "distance")
            if pd.notna(a.distance_m)
            else plain("page.yard.not_on_map"),
        ]
        for a in result.setback_areas.itertuples()
    ]
    return [
        table("before", "yard bales_then answer now", before),
        table("lanes", "yard lane apron", lanes),
        table("kept_clear", "what how_far", clear),
    ]
