"""The tables between the packages: each column's name, kind, unit and meaning, in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from stovergeo.core.errors import ContractError


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    kind: str  #: "number", "text", "message", "flag", "whole" or "geometry"
    unit: str
    meaning: str
    optional: bool = False


Table = dict[str, Column]
UNKNOWN: Final = "unknown"  #: `method` of a zone whose yield is not known


def _text(meaning: str, optional: bool = False) -> Column:
    return Column("text", "", meaning, optional)


def _message(meaning: str, optional: bool = False) -> Column:
    return Column("message", "", meaning, optional)


def _number(unit: str, meaning: str, optional: bool = False) -> Column:
    return Column("number", unit, meaning, optional)


def _whole(meaning: str) -> Column:
    return Column("whole", "1", meaning)


#: stands as binding rule of ground that the landowner keeps free
KEPT_FREE_RULE: Final = "landowner"
GEOMETRY: Final = Column("geometry", "m", "in the farm's working CRS")

FIELDS: Final[Table] = {
    "field_id": _text("short unique id, made by the reader: F1, F2, ..."),
    "name": _text("the grower's name for it, as given"),
    "area_ha": _number("ha", "true area, holes left out"),
    "crop_stands": Column("flag", "", "a crop still stands when bales are carried", optional=True),
    "geometry": GEOMETRY,
}

POINTS: Final[Table] = {
    "seconds": _number("s", "time the record covers", optional=True),
    "flow_kg_s": _number("kg/s", "wet grain flow", optional=True),
    "distance_m": _number("m", "ground covered in the record", optional=True),
    "swath_m": _number("m", "width cut in the record", optional=True),
    "moisture_pct": _number("%", "grain moisture, wet basis", optional=True),
    "time_s": _number("s", "time stamp, epoch as declared or arbitrary", optional=True),
    "height_m": _number("m", "GPS height", optional=True),
    "machine": _text("combine, where several ran", optional=True),
    "load": _text("load or file", optional=True),
    "header_down": Column("flag", "1", "whether the header was down, where it was recorded", optional=True),
    "pass_number": _number("1", "pass in driving order, made by cleaning", optional=True),
    "heading_deg": _number("degree", "direction driven, clockwise from grid north, made by cleaning", optional=True),
    "moved_m": _number(
        "m", "distance along the heading from where it was recorded to its ground's middle", optional=True
    ),
    "area_m2": _number("m2", "ground harvested in the record"),
    "grain_kg": _number("kg", "dry grain of the record"),
    "grain_mg_ha": _number("Mg/ha", "dry grain per harvested area"),
    "geometry": GEOMETRY,
}

SOILS: Final[Table] = {
    "soil_id": _text("map unit symbol or key"),
    "name": _text("map unit name", optional=True),
    "drainage_class": _whole("1 excessively ... 7 very poorly drained, 8 subaqueous; NaN unknown"),
    "wettest_drainage_class": _number(
        "1", "drainage, 1 to 8, of the wettest soil that covers 15 % or more", optional=True
    ),
    "flooding_class": _whole("0 none ... 5 very frequent"),
    "ponding_class": _whole("0 none ... 3 frequent"),
    "water_table_cm": _number("cm", "shallowest wet layer, 200 where none was seen"),
    "clay_pct": _number("%", "clay in the surface layer"),
    "sand_pct": _number("%", "sand in the surface layer", optional=True),
    "soil_carbon": _number("Mg/ha", "organic carbon in the top 30 cm", optional=True),
    "hydric": _number("1", "1 yes, 0 no, 0.5 unranked"),
    "hydrologic_group": _whole("1 A ... 4 D"),
    "soil_erodibility": _number("Mg ha h/(ha MJ mm)", "K"),
    "soil_loss_tolerance": _number("Mg/(ha yr)", "T"),
    "wind_erodibility": _number("Mg/(ha yr)", "wind erodibility index"),
    "slope_length_m": _number("m", "surveyed slope length", optional=True),
    "slope_low_pct": _number("%", "least slope of the map unit", optional=True),
    "slope_high_pct": _number("%", "steepest slope of the map unit", optional=True),
    "slope_length_low_m": _number("m", "least slope length of the map unit", optional=True),
    "slope_length_high_m": _number("m", "greatest slope length of the map unit", optional=True),
    "erodible_class": _number("1", "the survey's list: 2 highly erodible, 1 potentially, 0 not", optional=True),
    "k_from_nomograph": _number("1", "share of the ground whose K is worked out from texture", optional=True),
    "geometry": GEOMETRY,
}

ZONES: Final[Table] = {
    "zone_id": _text("F1-a, F1-b, ..."),
    "field_id": _text("field it lies in"),
    "area_ha": _number("ha", "true area"),
    "stover_mg_ha": _number("Mg/ha", "mean stover"),
    "retention_mg_ha": _number("Mg/ha", "mean that must stay"),
    "removable_mg_ha": _number("Mg/ha", "cautious limit of what may leave, over the whole zone"),
    "method": _text("recommended method of gathering, 'leave', or 'unknown' where no yield is known"),
    "removal_mg_ha": _number("Mg/ha", "what the method takes"),
    "removal_mg": _number("Mg", "what the method takes over the whole zone"),
    "binding_rule": _text(
        "the rule that asks for most on most of the zone, 'method' where the method takes less, "
        f"or '{KEPT_FREE_RULE}' on ground kept free"
    ),
    "reason": Column("message", "", "why, a sentence each"),
    "cost_reason": _text("why this method, in money", optional=True),
    "kept_free": Column("flag", "", "the landowner keeps this ground free: nothing is gathered", optional=True),
    "geometry": GEOMETRY,
}

YARDS: Final[Table] = {
    "yard_id": _text("Y1, Y2, ... best first; after an answer a place keeps its name"),
    "score": _number("1", "mean score of its ground, 0 to 1"),
    "capacity_bales": _whole("bales its drawn rows hold"),
    "area_ha": _number("ha", "outline with lanes and fire gaps"),
    "base": _text("ground preparation it needs: none, gravel, tires"),
    "base_cost": _number("$", "what the base costs a season: laying it, spread over the seasons it serves"),
    "sun_fraction": _number("1", "season's direct sun as a share of open flat ground"),
    "slope_pct": _number("%", "mean slope"),
    "road_m": _number("m", "route to the nearest road or gate"),
    "reason": _message("why this place"),
    "cost_reason": _text("what the season would cost without it, in words", optional=True),
    "not_checked": _message("what could not be checked here"),
    "pattern": _text("how the bales are stacked: single row, touching rows, mushroom, pyramid, squares", optional=True),
    "rows_deg": _number("degree", "direction of the rows, clockwise from north", optional=True),
    "stacks": Column("whole", "1", "stacks with fire gaps between them", optional=True),
    "base_message": _message("the base with its depth", optional=True),
    "base_depth_m": _number("m", "depth of stone, 0 where none is needed", optional=True),
    "stone_mg": _number("Mg", "crushed stone it takes", optional=True),
    "base_cost_laid": _number("$", "what it costs to lay the base once", optional=True),
    "geometry": GEOMETRY,
}

STACKS: Final[Table] = {
    "yard_id": _text("yard it stands in"),
    "stack_id": _text("Y1-1, Y1-2, ..."),
    "bales": _whole("bales in this row block"),
    "rows": Column("whole", "1", "rows side by side", optional=True),
    "mass_mg": _number("Mg", "as-is (wet) mass", optional=True),
    "height_m": _number("m", "height of the stack", optional=True),
    "geometry": GEOMETRY,
}

APRON: Final[Table] = {
    "yard_id": _text("yard it serves"),
    "side_m": _number("m", "side of the square on which a truck is loaded and turned"),
    "road_m": _number("m", "route from it to the nearest road or gate"),
    "geometry": GEOMETRY,
}

LANES: Final[Table] = {
    "yard_id": _text("yard they serve"),
    "width_m": _number("m", "width: two vehicles pass"),
    "clear_fraction": _number("1", "share of the outline of the stacks left after cutting away ground kept clear"),
    "geometry": GEOMETRY,
}

SETBACK_AREAS: Final[Table] = {
    "criterion": _text("site criterion that forbids it"),
    "title": _text("its name in words"),
    "distance_m": _number("m", "clear distance asked for; NaN where the shape itself is refused"),
    "geometry": GEOMETRY,
}

YARDS_BEFORE: Final[Table] = {
    "yard_id": _text("its name on the map that was answered"),
    "bales": _whole("bales planned there then"),
    "answer": _text("what the landowner said of it: yes, no, maybe, or nothing"),
    "now": _text("yard in use on most of that ground in the new plan, or nothing"),
    "geometry": GEOMETRY,
}

HAULS: Final[Table] = {
    "zone_id": _text("from"),
    "yard_id": _text("to"),
    "bales": _whole("bales carried"),
    "distance_m": _number("m", "one way, over the ground"),
    "cost": _number("$", "carrying them"),
    "geometry": GEOMETRY,
}

TABLES: Final[dict[str, Table]] = {
    "fields": FIELDS,
    "points": POINTS,
    "soils": SOILS,
    "zones": ZONES,
    "yards": YARDS,
    "stacks": STACKS,
    "apron": APRON,
    "lanes": LANES,
    "setback_areas": SETBACK_AREAS,
    "yards_before": YARDS_BEFORE,
    "hauls": HAULS,
}


def check_table(frame: pd.DataFrame, name: str, who: str) -> None:
    """Check that a table holds the columns of its schema.

    Raises
    ------
    ContractError
        Naming the missing columns and who asked.
    """
    lacking = [c for c, kind in TABLES[name].items() if not kind.optional and c not in frame.columns]
    if lacking:
        raise ContractError(f"{who} reads the table {name!r}, which lacks {', '.join(lacking)}")
