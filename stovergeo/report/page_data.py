"""The one piece of data the page reads: everything it shows, as JSON made inert for HTML."""

from __future__ import annotations

import hashlib
import json
from typing import Any, Final

import numpy as np

from stovergeo.core.schemas import UNKNOWN
from stovergeo.report import page_yards
from stovergeo.report.cautions import CREW, GUIDANCE
from stovergeo.report.drawing import north_turn_deg
from stovergeo.report.first_screen import first_screen, names_given, without_prices
from stovergeo.report.folded import all_tables, choice_blocks, source_blocks, storage_blocks
from stovergeo.report.panels import class_titles, method_titles, rule_titles, zone_panel
from stovergeo.report.pictures import block_factor, raster_layers
from stovergeo.report.places import STEP_M, Frame, inside, name_place, shapes_of, way_from_web, way_to_lonlat
from stovergeo.report.say import kinds_for_page, parts_of
from stovergeo.result import SeasonResult

_TITLES: Final = {
    "property": "Property line",
    "trees": "Trees",
    "buildings": "Buildings",
    "dwellings": "Houses",
    "roads": "Roads",
    "gates": "Gates",
    "wells": "Wells",
    "water": "Water",
    "culverts": "Culverts and tile inlets",
    "overhead_lines": "Overhead wires",
    "pins": "The landowner's pins",
    "yards": "Yards proposed before",
    "no_go": "Ground kept free",
}
#: everything that could end a script block, start markup or a line in a script, as JSON escapes
_INERT: Final = {
    ord(c): f"\\u{ord(c):04x}"
    for c in "<>&'\u2028\u2029\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
}


def frame_of(result: SeasonResult) -> Frame:
    """Return the ground the page shows: the grid of the stack."""
    west, south, east, north = result.stack.rio.bounds()
    return Frame(west, south, east - west, north - south)


def plan_key(result: SeasonResult) -> str:
    """Return a short fingerprint of the plan's yards, so that an answer can be matched to the map it was given on."""
    shapes = [
        f"{y.yard_id}:{np.rint(np.asarray(y.geometry.bounds)).astype(int).tolist()}" for y in result.yards.itertuples()
    ]
    text = f"{result.plan.farm.name}|{result.plan.farm.season}|{'|'.join(shapes)}"
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def page_data(result: SeasonResult) -> dict[str, Any]:
    """Return the data of the page as plain JSON values."""
    frame = frame_of(result)
    cell = abs(float(result.stack["x"][1] - result.stack["x"][0])) if result.stack.sizes["x"] > 1 else 10.0
    factor = block_factor(result.stack)
    rows, cols = (-(-result.stack.sizes[d] // factor) for d in ("y", "x"))
    middle = (frame.west + frame.width / 2, frame.south + frame.height / 2)
    farm = result.plan.farm
    return {
        "made_by": "stovergeo",
        "key": plan_key(result),
        "units": farm.units,
        "kinds": kinds_for_page(),
        "farm": farm.name,
        "season": farm.season,
        "landowner": result.plan.landowner.name,
        "guidance": GUIDANCE,
        "frame": {"width": round(frame.width, 2), "height": round(frame.height, 2), "step": STEP_M},
        "lonlat": way_to_lonlat(frame, result.crs),
        "tiles": _tiles(result, frame),
        "north_turn": round(north_turn_deg(result.crs, *middle), 2),
        "grid": {"rows": rows, "cols": cols, "cell": cell * factor},
        "changes": [parts_of(without_prices(str(w)), names_given(result)) for w in result.words.get("changed", [])],
        "answered": [[w] for w in result.words.get("answer", [])],  # the landowner's own words, left as they are
        "first": first_screen(result),
        "fields": shapes_of(
            frame,
            result.fields,
            cell / 4,
            lambda f: {"id": f.field_id, "name": str(f.name), "at": name_place(frame, f.geometry)},
        ),
        "zones": _zones(result, frame, cell / 4),
        "yards": page_yards.yards(result, frame),
        "before": page_yards.yards_before(result, frame),
        "kept_clear": page_yards.kept_clear(result, frame, cell / 4),
        "hauls": shapes_of(
            frame, result.hauls, cell / 2, lambda h: {"zone": h.zone_id, "yard": h.yard_id, "bales": int(h.bales)}
        ),
        "around": [
            {
                "id": layer,
                "title": _TITLES.get(layer, layer.replace("_", " ")),
                "things": shapes_of(frame, inside(things, frame), cell / 4, lambda t: {"name": _name(t)}),
            }
            for layer, things in result.surroundings.items()
        ],
        "rules": rule_titles(result),
        "methods": method_titles(result),
        "rasters": raster_layers(result.stack, class_titles(result)),
        "storage": storage_blocks(result),
        "choice": choice_blocks(result),
        "tables": all_tables(result),
        "sources": source_blocks(result),
        "cautions": [[f"{c.title}. {c.words}"] for c in CREW],
    }


def _tiles(result: SeasonResult, frame: Frame) -> dict[str, Any] | None:
    """Return where background pictures come from and how they lie on the page; None where the plan asks for none."""
    share = result.plan.share
    if share.tiles is None or share.tiles_origin is None:
        return None
    return {
        "template": share.tiles,
        "host": share.tiles_origin.removeprefix("https://"),
        "credit": share.tiles_credit,
        "zoom_most": share.tiles_zoom_most,
        "way": way_from_web(frame, result.crs),
    }


def _name(thing: Any) -> str:
    name = getattr(thing, "name", "")
    return name if isinstance(name, str) else ""


def _zones(result: SeasonResult, frame: Frame, tolerance_m: float) -> list[dict[str, Any]]:
    bales = result.bale_plan.set_index("zone_id")["bales"]
    odds = result.odds.set_index("zone_id")["odds_kept"]
    return shapes_of(
        frame,
        result.zones,
        tolerance_m,
        lambda z: {
            "id": z.zone_id,
            "field": z.field_id,
            "at": frame.point(z.geometry),
            "area": round(float(z.area_ha), 2),
            "take": round(float(z.take_mg_ha), 3),
            "limit": round(float(z.removable_mg_ha), 3),
            "rule": str(z.binding_rule),
            "method": str(z.method),
            "kept": bool(getattr(z, "kept_free", False)),
            "bales": None if z.method == UNKNOWN else int(bales.get(z.zone_id, 0)),
            "odds": _number(odds.get(z.zone_id)),
            "panel": zone_panel(result, z),
        },
    )


def _number(value: Any) -> float | None:
    return None if value is None or value != value else round(float(value), 3)


def island(data: dict[str, Any]) -> str:
    """Return data as JSON text that no HTML parser can take for anything else."""
    text = json.dumps(_finite(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.translate(_INERT)


def _finite(value: Any) -> Any:
    """Return the data with numbers that JSON does not know (NaN, infinity) as null."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value
