"""What a season computes, as one long table of SI values under names of its own.

This file alone knows what the result calls its tables and columns: where one is renamed, the right side of a line here
changes and the files under `tests/frozen/` stay as they are.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.result import SeasonResult

DIGITS = 7
#: floats may differ by this before it counts: twice what rounding to seven digits can do
RELATIVE = 1e-6
ABSOLUTE = 1e-7
#: dry Mg by which a need may lack and still be met: a fiftieth of a bale, as the choice itself counts
_MET_MG = 0.01


class Value(NamedTuple):
    """One computed value, as text."""

    table: str
    key: str
    column: str
    value: str


class Table(NamedTuple):
    """How a table of the result is read."""

    attribute: str
    keys: tuple[str, ...]
    columns: dict[str, str]  #: name in the frozen file -> name in the result


_MONTH = ("year", "month")
_SEASON = {
    "cost_usd": "cost",
    "cost_usd_mg": "cost_per_mg",
    "baled_mg": "baled_mg",
    "near_limit_fraction": "near_limit",
    "yards": "yards",
    "zones": "zones",
    "short_bales": "short_bales",
    "as_today_fraction": "habit_fraction",
    "moved_mg": "shift_mg",
}
TABLES: dict[str, Table] = {
    "field": Table("fields", ("field_id",), {"area_ha": "area_ha"}),
    "zone": Table(
        "zones",
        ("zone_id",),
        {
            "area_ha": "area_ha",
            "stover_mg_ha": "stover_mg_ha",
            "retention_mg_ha": "retention_mg_ha",
            "removable_mg_ha": "removable_mg_ha",
            "removable_mean_mg_ha": "spare_mean_mg_ha",
            "all_stays_fraction": "left_fraction",
            "unknown_fraction": "unknown_fraction",
            "method": "method",
            "binding_rule": "binding_rule",
            "removal_mg_ha": "removal_mg_ha",
            "removal_mg": "removal_mg",
            "gathered_fraction": "gathered_fraction",
        },
    ),
    "zone rule": Table(
        "zone_limits",
        ("zone_id", "rule"),
        {"retention_mg_ha": "retention_mg_ha", "binds_fraction": "binds_fraction", "gain_mg_ha": "gain_mg_ha"},
    ),
    "zone method": Table(
        "zone_methods",
        ("zone_id", "method"),
        {
            "allowed": "allowed",
            "recommended": "recommended",
            "removal_mg_ha": "removal_mg_ha",
            "limit_mg_ha": "limit_mg_ha",
            "standing_mg_ha": "standing_mg_ha",
            "flat_mg_ha": "flat_mg_ha",
            "soil_mg_ha": "soil_mg_ha",
            "ash_pct": "ash_pct",
            "harvest_fraction": "harvest_fraction",
            "compliance_probability": "compliance_probability",
        },
    ),
    "zone odds": Table(
        "odds",
        ("zone_id",),
        {
            "p10_mg_ha": "p10_mg_ha",
            "p50_mg_ha": "p50_mg_ha",
            "p90_mg_ha": "p90_mg_ha",
            "cautious_mg_ha": "cautious_mg_ha",
            "any_probability": "odds_any",
            "compliance_probability": "compliance_probability",
        },
    ),
    "zone nutrients": Table(
        "zone_nutrients",
        ("zone_id",),
        {
            "n_kg": "n_kg",
            "p2o5_kg": "p2o5_kg",
            "k2o_kg": "k2o_kg",
            "s_kg": "s_kg",
            "lime_kg": "lime_kg",
            "cost_usd": "cost",
            "cost_low_usd": "cost_low",
            "cost_high_usd": "cost_high",
            "cost_usd_mg": "cost_mg",
        },
    ),
    "zone bales": Table(
        "bale_plan",
        ("zone_id",),
        {
            "bales": "bales",
            "bales_low": "bales_low",
            "bales_high": "bales_high",
            "bale_dry_kg": "bale_dry_kg",
            "bale_wet_kg": "bale_as_is_kg",
            "moisture_pct": "moisture_pct",
            "turns": "turns",
            "net_m": "net_m",
            "hours": "hours",
        },
    ),
    "zone year": Table(
        "calendar",
        ("zone_id", "year"),
        {"crop": "crop", "harvest": "harvest", "removal_mg_ha": "removal_mg_ha"},
    ),
    "field sensitivity": Table(
        "sensitivity", ("field_id", "rank"), {"input": "input", "fraction": "share", "direction": "direction"}
    ),
    "rule": Table("limit_totals", ("rule",), {"binds_ha": "binds_ha", "gain_mg": "gain_mg"}),
    "yard": Table(
        "yards",
        ("yard_id",),
        {
            "score": "score",
            "capacity_bales": "capacity_bales",
            "area_ha": "area_ha",
            "base": "base",
            "base_cost_usd": "base_cost",
            "base_depth_m": "base_depth_m",
            "stone_mg": "stone_mg",
            "base_laid_usd": "base_cost_laid",
            "sun_fraction": "sun_fraction",
            "slope_pct": "slope_pct",
            "road_m": "road_m",
            "pattern": "pattern",
            "rows_deg": "rows_deg",
            "stacks": "stacks",
        },
    ),
    "yard stack": Table(
        "stacks", ("stack_id",), {"bales": "bales", "rows": "rows", "wet_mg": "mass_mg", "height_m": "height_m"}
    ),
    "yard apron": Table("apron", ("yard_id",), {"side_m": "side_m", "road_m": "road_m"}),
    "yard lanes": Table("lanes", ("yard_id",), {"width_m": "width_m", "clear_fraction": "clear_fraction"}),
    "yard near": Table("yard_near", ("yard_id", "layer"), {"distance_m": "distance_m"}),
    "yard zone": Table("yard_routes", ("yard_id", "zone_id"), {"distance_m": "distance_m"}),
    "yard before": Table("yards_before", ("yard_id",), {"bales": "bales", "answer": "answer", "now": "now"}),
    "setback": Table("setback_areas", ("criterion",), {"distance_m": "distance_m"}),
    "haul": Table(
        "hauls",
        ("zone_id", "yard_id"),
        {"bales": "bales", "distance_m": "distance_m", "cost_usd": "cost"},
    ),
    "stored": Table(
        "wrap_use",
        ("need", *_MONTH, "wrap", "base"),
        {"baled_mg": "dry_mg", "withdrawn_mg": "withdrawn_mg", "bales": "bales", "loss_pct": "loss_pct"},
    ),
    "loss": Table("wrap_table", ("wrap", "base", *_MONTH), {"loss_pct": "loss_pct"}),
    "cleaning": Table("cleaning", ("reason",), {"points": "points"}),
    "alternative": Table("alternatives", ("aim",), _SEASON),
}
#: frozen for a few farms only: what follows from the places, the plan's storage or the other tables
DETAIL = {
    *("loss", "best kept", "zone rule", "zone year", "field sensitivity", "alternative", "trade-off"),
    *("raster cells", "site raster", "yard stack", "yard apron", "yard lanes", "yard near", "yard zone"),
    *("yard criterion", "setback"),
}
#: what a season adds up to
SUMS = {"total", "cost", "cleaning"}
#: what another need or an answer can change
CHOICE = {
    *("total", "cost", "zone", "zone bales", "zone nutrients", "yard", "yard before", "haul", "need", "stored"),
    "alternative",
}
#: totals, costs by step and figures of the grain surface that go by another name in the frozen files
_TOTALS = {
    "stover_known_mg": "stover_mg",
    "removable_known_mg": "removable_mg",
    "stover_mg": "zones_stover_mg",
    "removable_mg": "zones_removable_mg",
    "removal_mg": "removal_mg",
    "withdrawn_mg": "withdrawn_mg",
    "cost": "cost_usd",
    "cost_per_mg": "cost_usd_mg",
}


def values_of(result: SeasonResult) -> list[Value]:
    """Return every value of a season that may be frozen."""
    return [Value(t, k, c, _text(v)) for t, k, c, v in _values(result)]


def _values(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    for name, total in result.totals.items():
        step = name.removeprefix("cost_")
        if name.startswith("cost_") and name != "cost_per_mg":
            yield "cost", step, "usd", total
        else:
            yield "total", "farm", _TOTALS.get(name, name), total
    for name, figure in result.yields.report.items():
        yield "grain surface", "farm", name, figure
    for name, table in TABLES.items():
        frame = result.tables().get(table.attribute)
        if frame is None or frame.empty:
            continue
        for key, row in zip(_keys(frame, table.keys), frame.to_dict("records"), strict=True):
            yield from ((name, key, new, row[now]) for new, now in table.columns.items())
    yield from _needs(result)
    yield from _best_kept(result)
    yield from _shapes(result)
    yield from _ratings(result)
    yield from _removed_by_field(result)
    yield from _budgets(result)
    for name, raster in result.stack.data_vars.items():
        known = raster.values[np.isfinite(raster.values)]
        frozen = str(name)
        yield "raster cells", frozen, "known", len(known)
        table = "site raster" if frozen.startswith("score_") else "raster"
        yield table, frozen, "mean", float(known.mean(dtype=np.float64)) if len(known) else float("nan")


def _keys(frame: pd.DataFrame, columns: Iterable[str]) -> list[str]:
    return [" / ".join(map(str, row)) for row in zip(*(frame[c] for c in columns), strict=True)]


def _needs(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Give what is needed by month, and what of it is not drawn from any stack."""
    drawn: dict[str, float] = {}
    if len(result.supply.wrap_use):
        for key, mass in zip(
            _keys(result.supply.wrap_use, ("need", *_MONTH)), result.supply.wrap_use["withdrawn_mg"], strict=True
        ):
            drawn[key] = drawn.get(key, 0.0) + mass
    for key, row in zip(
        _keys(result.supply.need, ("need", *_MONTH)), result.supply.need.to_dict("records"), strict=True
    ):
        short = row["dry_mg"] - drawn.get(key, 0.0)
        yield "need", key, "dry_mg", row["dry_mg"]
        yield "need", key, "bales", row["bales"]
        yield "need", key, "short_mg", short if short > _MET_MG else 0.0


def _best_kept(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Give the cheapest wrap and base of each month."""
    best = result.bales.wrap_table[result.bales.wrap_table["best"]]
    for key, row in zip(_keys(best, _MONTH), best.to_dict("records"), strict=True):
        yield "best kept", key, "wrap", row["wrap"]
        yield "best kept", key, "base", row["base"]
        yield "best kept", key, "cost_usd_bale", row["cost_bale"]


def _shapes(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Give where yards lie, from the south-west corner of the fields, and the areas of what is drawn."""
    west, south, *_ = result.fields.total_bounds
    for yard, place in zip(result.yards.get("yard_id", ()), result.yards.geometry.centroid, strict=True):
        yield "yard", yard, "east_m", place.x - west
        yield "yard", yard, "north_m", place.y - south
    planned = result.supply.hauls.groupby("yard_id")["bales"].sum()
    yield from (("yard", str(yard), "bales", bales) for yard, bales in planned.items())
    for name, layer, key in (
        ("yard stack", result.siting.stacks, "stack_id"),
        ("yard lanes", result.siting.lanes, "yard_id"),
        ("setback", result.siting.setback_areas, "criterion"),
        ("zone", result.zones, "zone_id"),
    ):
        for own, shape in zip(layer.get(key, ()), layer.geometry if len(layer) else (), strict=True):
            yield name, own, "drawn_m2", shape.area
    for yard, table in result.siting.sun.groupby("yard_id") if len(result.siting.sun) else ():
        yield "yard", str(yard), "sun_kwh_m2", table["sun_kwh_m2"].sum()


def _ratings(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Give the yards' scores by site criterion, where they are not full."""
    if result.siting.ratings.empty:
        return
    low = result.siting.ratings[result.siting.ratings["score"] != 1]
    for key, score in zip(_keys(low, ("yard_id", "criterion")), low["score"], strict=True):
        yield "yard criterion", key, "score", score


def _removed_by_field(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Count yield records by field and by the reason why they were removed."""
    if result.yields.points is None:
        return
    places = gpd.GeoDataFrame(
        result.yields.points[["removed_because"]], geometry=result.yields.points.geometry, crs=result.crs
    )
    there = places.sjoin(result.fields[["field_id", "geometry"]], how="left", predicate="within")
    counted = there.groupby([there["field_id"].fillna("no field"), there["removed_because"].replace("", "kept")]).size()
    for (field, reason), points in counted.items():
        yield "removed", f"{field} / {reason}", "points", points


def _budgets(result: SeasonResult) -> Iterator[tuple[str, str, str, object]]:
    """Give what care of the soil costs, budget by budget."""
    for number, row in enumerate(result.supply.trade_off.to_dict("records")):
        yield from (("trade-off", str(number), new, row[now]) for new, now in _SEASON.items())


def _text(value: object) -> str:
    if value is None or value is pd.NA:
        return "nan"
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, float | np.floating):
        return str(float(f"{value:.{DIGITS}g}"))
    return str(value)


def write_values(values: list[Value], path: Path) -> None:
    """Write a table, one value a line."""
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([Value._fields, *values])


def read_values(path: Path) -> list[Value]:
    """Read a table back."""
    with path.open(encoding="utf-8", newline="") as file:
        return [Value(*row) for row in list(csv.reader(file))[1:]]


def differences(frozen: list[Value], now: list[Value]) -> list[str]:
    """Return a line for each value that is gone, new, or another than it was."""
    before, after = ({v[:3]: v.value for v in values} for values in (frozen, now))
    lines = []
    for name in dict.fromkeys([*before, *after]):
        was, found = before.get(name, "not there"), after.get(name, "not there")
        if not _same(was, found):
            lines.append(f"{' | '.join(name)}: {was} before, {found} now")
    return lines


def _same(was: str, found: str) -> bool:
    if was == found:
        return True
    try:
        one, other = float(was), float(found)
    except ValueError:
        return False
    whole = was.lstrip("-").isdigit() and found.lstrip("-").isdigit()
    return not whole and math.isclose(one, other, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
