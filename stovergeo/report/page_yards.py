"""What the page draws of yards: outlines, rows, lanes and aprons, the yards of the plan before, and clear distances."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.report.blocks import Block, entry, message, plain, tables, texts
from stovergeo.report.ledger import Ledger
from stovergeo.report.panels import yard_panel
from stovergeo.report.places import Frame, inside, shapes_of
from stovergeo.result import SeasonResult


def yards(result: SeasonResult, ledger: Ledger, frame: Frame) -> list[dict[str, Any]]:
    """Return every yard with its rows, lanes, apron and panel."""
    return [
        {
            "id": y.yard_id,
            "bales": int(ledger[f"yard {y.yard_id}", "bales"]),
            **_placed(frame, y),
            "lanes": [frame.code(s) for s in part_of(result.siting.lanes, y.yard_id)],
            "apron": [frame.code(s) for s in part_of(result.siting.apron, y.yard_id)],
            "rows": [frame.code(s) for s in part_of(result.siting.stacks, y.yard_id)],
            "panel": yard_panel(result, ledger, y, number),
        }
        for number, y in enumerate(result.yards.itertuples())
    ]


def _placed(frame: Frame, yard: Any) -> dict[str, Any]:
    return {"at": frame.point(yard.geometry), "shape": frame.code(yard.geometry)}


def part_of(table: gpd.GeoDataFrame, yard_id: str) -> list[Any]:
    """Return the shapes of a table that belong to a yard, empty ones left out."""
    if table.empty:
        return []
    return [s for s in table.loc[table["yard_id"] == yard_id, "geometry"] if s is not None and not s.is_empty]


def yards_before(result: SeasonResult, frame: Frame) -> list[dict[str, Any]]:
    """Return the yards of the plan that was answered, each with what became of its ground."""
    yards = result.yards_before.itertuples()
    return [
        {"id": y.yard_id, "now": y.now, "panel": [{"ul": texts(before_messages(y))}], **_placed(frame, y)}
        for y in yards
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
    if result.siting.setback_areas.empty:
        return []
    return shapes_of(
        frame,
        inside(result.siting.setback_areas, frame),
        tolerance_m,
        lambda a: {"id": a.criterion, "title": str(a.title)},
    )


def yard_tables(result: SeasonResult, ledger: Ledger) -> list[Block]:
    """Return what of this stands on the map, as tables."""
    before = [
        [
            y.yard_id,
            entry(ledger, f"yard_before {y.yard_id}", "bales"),
            y.answer or "–",
            plain("page.yard.still_here", yard=y.now) if y.now else plain("page.yard.gone"),
        ]
        for y in result.yards_before.itertuples()
    ]
    sizes = ("lane_width", "apron_side")
    lanes = [
        [y, *(entry(ledger, f"yard {y}", what) if (f"yard {y}", what) in ledger else "–" for what in sizes)]
        for y in result.siting.lanes.get("yard_id", ())
    ]
    clear = []
    for area in result.siting.setback_areas.itertuples():
        distance = entry(ledger, f"setback {area.criterion}", "distance")
        clear.append([str(area.title), distance if pd.notna(area.distance_m) else plain("page.yard.not_on_map")])
    return [
        *tables("before", "yard bales_then answer now", before),
        *tables("lanes", "yard lane apron", lanes),
        *tables("kept_clear", "what how_far", clear),
    ]
