"""The one piece of data the page reads: everything it shows, as JSON made inert for HTML."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any, Final

import numpy as np

from stovergeo.core.messages import templates
from stovergeo.core.printing import UNIT_SYSTEMS, money_sign
from stovergeo.core.printing import UNKNOWN as NOT_KNOWN
from stovergeo.core.schemas import UNKNOWN
from stovergeo.core.stack import grid_of
from stovergeo.report import page_yards
from stovergeo.report.blocks import amount, entry, message, plain, texts
from stovergeo.report.cautions import CREW, guidance
from stovergeo.report.drawing import north_turn_deg
from stovergeo.report.first_screen import first_screen
from stovergeo.report.folded import all_tables, choice_blocks, source_blocks, storage_blocks
from stovergeo.report.json_values import json_values
from stovergeo.report.ledger import Ledger
from stovergeo.report.overview import overview, overview_grid
from stovergeo.report.panels import class_titles, layer_title, method_titles, rule_titles, zone_panel
from stovergeo.report.pictures import block_factor, raster_layers
from stovergeo.report.places import (
    STEP_M,
    Frame,
    inside,
    name_place,
    shapes_of,
    transform_from_web,
    transform_to_lonlat,
)
from stovergeo.result import SeasonResult

#: everything that could end a script block, start markup or a line in a script, as JSON escapes
_INERT: Final = {
    ord(c): f"\\u{ord(c):04x}"
    for c in "<>&'\u2028\u2029\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
}


def frame_of(result: SeasonResult) -> Frame:
    """Return the ground the page shows: the grids of all clusters."""
    west, south, east, north = overview_grid(result).boundingbox.bbox
    return Frame(west, south, east - west, north - south)


def plan_key(result: SeasonResult) -> str:
    """Return a short fingerprint of the plan's yards, so that an answer can be matched to the map it was given on."""
    shapes = [
        f"{y.yard_id}:{np.rint(np.asarray(y.geometry.bounds)).astype(int).tolist()}" for y in result.yards.itertuples()
    ]
    text = f"{result.plan.farm.name}|{result.plan.farm.season}|{'|'.join(shapes)}"
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def page_data(result: SeasonResult, ledger: Ledger) -> dict[str, Any]:
    """Return the data of the page as plain JSON values."""
    frame, ground = frame_of(result), overview(result)
    cell = abs(float(overview_grid(result).resolution.x))
    finest = min(abs(float(grid_of(cluster.stack).resolution.x)) for cluster in result.clusters)
    factor = block_factor(ground)
    rows, cols = (-(-ground.sizes[d] // factor) for d in ("y", "x"))
    middle = (frame.west + frame.width / 2, frame.south + frame.height / 2)
    farm = result.plan.farm
    return {
        "key": plan_key(result),
        "units": farm.units,
        "money": money_sign(),
        "systems": {name: asdict(system) for name, system in UNIT_SYSTEMS.items()},
        "unknown": NOT_KNOWN,
        "farm": farm.name,
        "season": farm.season,
        "landowner": result.plan.landowner.name,
        "guidance": guidance(),
        "frame": {"width": round(frame.width, 2), "height": round(frame.height, 2), "step": STEP_M},
        "lonlat": transform_to_lonlat(frame, result.crs),
        "tiles": _tiles(result, frame),
        "north_turn": round(north_turn_deg(result.crs, *middle), 2),
        "grid": {"rows": rows, "cols": cols, "cell": cell * factor},
        "changes": texts(result.words.get("changed", [])),
        "answered": texts(result.words.get("answer", [])),
        "first": first_screen(result, ledger),
        "fields": shapes_of(
            frame,
            result.fields,
            finest / 4,
            lambda f: {"id": f.field_id, "name": str(f.name), "at": name_place(frame, f.geometry)},
        ),
        "zones": _zones(result, ledger, frame, finest / 4),
        "yards": page_yards.yards(result, ledger, frame),
        "before": page_yards.yards_before(result, frame),
        "kept_clear": page_yards.kept_clear(result, frame, finest / 4),
        "hauls": shapes_of(frame, result.supply.hauls, finest / 2, lambda _: {}),
        "around": [
            {
                "id": layer,
                "title": layer_title(layer),
                "things": shapes_of(frame, inside(things, frame), finest / 4, lambda t: {"name": _name(t)}),
            }
            for layer, things in result.surroundings.items()
        ],
        "rules": rule_titles(result),
        "methods": method_titles(result),
        "rasters": raster_layers(ground, class_titles(result)),
        "storage": storage_blocks(result, ledger),
        "choice": choice_blocks(result, ledger),
        "tables": all_tables(result, ledger),
        "sources": source_blocks(result),
        "cautions": [plain("caution.line", title=title, body=body) for title, body in CREW],
        "messages": script_messages(),
    }


def script_messages() -> dict[str, str]:
    """Return what the page's scripts write, by key; each value stands as its name in braces, for them to fill in."""
    group = "page.script."
    fields = {key: t.names for key, t in templates(message.package).items() if key.startswith(group)}
    return {
        key.removeprefix(group): plain(key, **{name: f"{{{name}}}" for name in names}) for key, names in fields.items()
    }


def _tiles(result: SeasonResult, frame: Frame) -> dict[str, Any] | None:
    """Return where background pictures come from and how they lie on the page; None where the plan asks for none."""
    options = result.plan.report
    if options.tiles is None or options.tiles_origin is None:
        return None
    return {
        "template": options.tiles,
        "host": options.tiles_origin.removeprefix("https://"),
        "credit": options.tiles_credit,
        "zoom_max": options.tiles_zoom_max,
        "fit": transform_from_web(frame, result.crs),
    }


def _name(thing: Any) -> str:
    name = getattr(thing, "name", "")
    return name if isinstance(name, str) else ""


def _zones(result: SeasonResult, ledger: Ledger, frame: Frame, tolerance_m: float) -> list[dict[str, Any]]:
    odds = result.residue.odds.set_index("zone_id")["compliance_probability"]
    return shapes_of(
        frame,
        result.zones,
        tolerance_m,
        lambda z: {
            "id": z.zone_id,
            "field": z.field_id,
            "at": frame.point(z.geometry),
            "area": round(float(z.area_ha), 2),
            "take": round(float(z.removal_mg_ha), 3),
            "limit": round(float(z.removable_mg_ha), 3),
            "rule": str(z.binding_rule),
            "method": str(z.method),
            "kept": bool(getattr(z, "kept_free", False)),
            "bales": None if z.method == UNKNOWN else int(ledger[f"zone {z.zone_id}", "bales"]),
            "odds": odds.get(z.zone_id),
            "printed": {
                "take": entry(ledger, f"zone {z.zone_id}", "removal_rate"),
                "limit": entry(ledger, f"zone {z.zone_id}", "removable_rate"),
                "odds": amount("fraction", odds.get(z.zone_id, float("nan"))),
            },
            "panel": zone_panel(result, ledger, z),
        },
    )


def island(data: dict[str, Any]) -> str:
    """Return data as JSON text that no HTML parser can take for anything else."""
    text = json.dumps(json_values(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.translate(_INERT)
