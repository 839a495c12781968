"""``plan.json``: everything the plan says, for other programs; shapes in longitude and latitude."""

from __future__ import annotations

import hashlib
import json
import math
from importlib.metadata import version
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.stack import summary
from stovergeo.report.say import as_text
from stovergeo.report.tables import problems_table, sources_table, with_text
from stovergeo.result import SeasonResult


def plan_record(result: SeasonResult) -> dict[str, Any]:
    """Return the whole result as plain JSON values (unknown numbers become null)."""
    shapes = {
        name: _features(getattr(result, name))
        for name in (
            "fields",
            "zones",
            "yards",
            "stacks",
            "apron",
            "lanes",
            "setback_areas",
            "yards_before",
            "hauls",
            "soils",
        )
    }
    tables = {
        name: _rows(getattr(result, name))
        for name in (
            "cleaning",
            "zone_limits",
            "zone_methods",
            "zone_nutrients",
            "odds",
            "yard_ratings",
            "bale_plan",
            "need",
            "wrap_table",
            "crew",
            "sensitivity",
            "calendar",
            "wrap_use",
            "alternatives",
            "trade_off",
            "yard_sun",
            "yard_near",
            "yard_ways",
            "limit_totals",
        )
        if getattr(result, name) is not None
    }
    record = {
        "made_by": f"stovergeo {version('stovergeo')}",
        "units": "SI: dry Mg, m, ha, $; the unit stands at the end of each name",
        "plan": result.plan.model_dump(mode="json", by_alias=False),
        "working_crs": result.crs.to_string(),
        "totals": result.totals,
        "words": {topic: [as_text(w) for w in words] for topic, words in result.words.items()},
        "not_checked": {what: as_text(why) for what, why in result.not_checked.items()},
        "surface_report": result.surface_report,
        "stack": {
            name: {"unit": u, "least": low, "most": high} for name, (u, low, high) in summary(result.stack).items()
        },
        **shapes,
        "surroundings": {name: _features(layer) for name, layer in result.surroundings.items()},
        **tables,
        "problems": _rows(problems_table(result.problems)),
        "sources": _rows(sources_table(result)),
    }
    return _plain(record)


def write_record(result: SeasonResult, path: Path, beside: list[Path]) -> None:
    """Write and verify ``plan.json``; it lists the checksum of each file of the same run in `beside`."""
    record = plan_record(result)
    record["files_sha256"] = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in beside}
    path.write_text(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1), "utf-8")
    if json.loads(path.read_text("utf-8")) != record:
        raise OSError(f"{path.name}: what reads back differs from what was written")


def _features(layer: gpd.GeoDataFrame) -> dict[str, Any]:
    if layer.empty:
        return {"type": "FeatureCollection", "features": []}
    there = with_text(layer).to_crs(4326)
    there = there.set_geometry(there.geometry.set_precision(1e-8, mode="pointwise"))
    return json.loads(there.reset_index(drop=True).to_json(drop_id=True, na="null"))


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        dict(zip(map(str, table.columns), row, strict=True))
        for row in with_text(table).itertuples(index=False, name=None)
    ]


def _plain(value: Any) -> Any:
    """Return a value as JSON holds it: NaN, inf and missing become null, numpy scalars plain numbers."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_plain(v) for v in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, str | int | bool) else str(value)
