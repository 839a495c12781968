"""``plan.json``: everything the plan says, for other programs; shapes in longitude and latitude."""

from __future__ import annotations

import hashlib
import json
from importlib.metadata import version
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from stovergeo.core.printing import UNIT_SYSTEMS, render, unit_of_money
from stovergeo.core.stack import summary
from stovergeo.report.json_values import json_values
from stovergeo.report.ledger import Ledger
from stovergeo.report.tables import layers_of, problems_table, sources_table, tables_of, with_text
from stovergeo.report.where import as_where_it_lies
from stovergeo.result import SeasonResult


@as_where_it_lies
def plan_record(result: SeasonResult, ledger: Ledger) -> dict[str, Any]:
    """Return the whole result as plain JSON values (unknown numbers become null).

    Its tables are in SI. ``ledger`` holds every number that is printed: whose it is, what it is, its kind, its value in
    SI, and what it prints as in each unit system, without its unit.
    """
    system = result.plan.farm.units
    record = {
        "made_by": f"stovergeo {version('stovergeo')}",
        "units": unit_of_money("SI: dry Mg, m, ha, $; the unit stands at the end of each name"),
        "plan": result.plan.model_dump(mode="json", by_alias=False),
        "working_crs": result.crs.to_string(),
        "totals": result.totals,
        "words": {topic: [render(line, system) for line in lines] for topic, lines in result.words.items()},
        "not_checked": {what: render(why, system) for what, why in result.not_checked.items()},
        "surface_report": result.yields.report,
        "stack": {
            name: {
                "unit": unit,
                "least": float(ledger[f"raster {name}", "least"]),
                "most": float(ledger[f"raster {name}", "greatest"]),
            }
            for name, (unit, _, _) in summary(*(cluster.stack for cluster in result.clusters)).items()
        },
        **{name: _features(layer, system) for name, layer in layers_of(result).items()},
        "surroundings": {name: _features(layer, system) for name, layer in result.surroundings.items()},
        **{name: _rows(table, system) for name, table in tables_of(result).items()},
        "problems": _rows(problems_table(result.problems, system), system),
        "sources": _rows(sources_table(result), system),
        "ledger": [
            {
                "of": of,
                "what": what,
                "kind": entry.kind,
                "value": float(entry.value),
                "printed": {name: entry.text(name) for name in UNIT_SYSTEMS},
            }
            for (of, what), entry in ledger
        ],
    }
    return json_values(record)


def write_record(result: SeasonResult, path: Path, beside: list[Path], ledger: Ledger) -> None:
    """Write and verify ``plan.json``; it lists the checksum of each file of the same run in `beside`."""
    record = plan_record(result, ledger)
    record["files_sha256"] = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in beside}
    path.write_text(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1), "utf-8")
    if json.loads(path.read_text("utf-8")) != record:
        raise OSError(f"{path.name}: what reads back differs from what was written")


def _features(layer: gpd.GeoDataFrame, system: str) -> dict[str, Any]:
    if layer.empty:
        return {"type": "FeatureCollection", "features": []}
    there = with_text(layer, system).to_crs(4326)
    there = there.set_geometry(there.geometry.set_precision(1e-8, mode="pointwise"))
    return json.loads(there.reset_index(drop=True).to_json(drop_id=True, na="null", default=str))


def _rows(table: pd.DataFrame, system: str) -> list[dict[str, Any]]:
    return [
        dict(zip(map(str, table.columns), row, strict=True))
        for row in with_text(table, system).itertuples(index=False, name=None)
    ]
