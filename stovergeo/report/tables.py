"""The tables a person opens: ``zones.csv``, ``yards.csv``, ``sources.csv``.

Every number stands in SI; where the plan prints US units, the same in US units beside it.
Text can never start a formula in a spreadsheet.
"""

from __future__ import annotations

import csv
import math
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import pandas as pd

from stovergeo.core.errors import Problem
from stovergeo.core.messages import Message, is_text
from stovergeo.report.say import KINDS, as_text, kind_of_column
from stovergeo.result import SeasonResult

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Table = TypeVar("Table", bound=pd.DataFrame)


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe before what could start one."""
    clean = "".join(c for c in text if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cf", "Cs"))
    return "'" + clean if clean.lstrip(" ").startswith(_FORMULA_STARTS) else clean


def with_text(table: Table) -> Table:
    """Return a table with its messages as text."""
    held = [c for c in table.columns if table[c].dtype == object and table[c].map(_is_message).any()]
    return table.assign(**{c: table[c].map(lambda v: as_text(v) if _is_message(v) else v) for c in held})


def _is_message(value: object) -> bool:
    return isinstance(value, Message | tuple) and is_text(value)


def zones_table(result: SeasonResult) -> pd.DataFrame:
    """Return one row a zone: take, method, bales, net, nutrients, odds, where they go, and why."""
    zones = with_text(pd.DataFrame(result.zones.drop(columns="geometry")))
    names = result.fields.set_index("field_id")["name"]
    zones.insert(1, "field_name", zones["field_id"].map(names))
    titles = result.zone_methods.drop_duplicates("method").set_index("method")["title"]
    zones.insert(zones.columns.get_loc("method") + 1, "method_title", [titles.get(m, "") for m in zones["method"]])
    for table, columns in (
        (result.bale_plan, ["bales", "bale_dry_kg", "bale_as_is_kg", "moisture_pct", "turns", "net_m"]),
        (result.zone_nutrients, ["n_kg", "p2o5_kg", "k2o_kg", "s_kg", "cost"]),
        (result.odds, ["p10_mg_ha", "p50_mg_ha", "p90_mg_ha", "odds_kept"]),
    ):
        zones = zones.merge(table[["zone_id", *columns]], on="zone_id", how="left", validate="one_to_one")
    zones = zones.rename(columns={"cost": "nutrient_cost"})
    goes = {
        zone_id: ", ".join(f"{h.yard_id}: {h.bales:.0f}" for h in part.itertuples())
        for zone_id, part in result.hauls.groupby("zone_id")
    }
    zones["yards"] = [goes.get(zone_id, "") for zone_id in zones["zone_id"]]
    return _with_place(zones, result.zones, result)


def yards_table(result: SeasonResult) -> pd.DataFrame:
    """Return one row a yard: room, bales planned, ground, and the rating of each criterion in words."""
    yards = pd.DataFrame(result.yards.drop(columns="geometry"))
    planned = result.hauls.groupby("yard_id")["bales"].sum()
    yards.insert(3, "planned_bales", yards["yard_id"].map(planned).fillna(0).astype(int))
    for criterion, part in result.yard_ratings.groupby("criterion", sort=False):
        rated = part.set_index("yard_id")
        yards[f"score_{criterion}"] = yards["yard_id"].map(rated["score"])
        said = dict(rated["words"])
        yards[f"words_{criterion}"] = [said.get(yard_id, "") for yard_id in yards["yard_id"]]
    return _with_place(yards, result.yards, result)


def sources_table(result: SeasonResult) -> pd.DataFrame:
    """Return one row a coefficient, retention rule and site criterion that the run used, with its source."""
    columns = ["key", "value", "low", "high", "unit", "meaning", "source", "standing", "note"]
    numbers = [
        [str(v) if c == "standing" else v for c in columns for v in [getattr(k, c)]] for k in result.coefficients
    ]
    asked = [
        [f"{door}.{name}", *[math.nan] * 3, "", title, source, "", note]
        for door, name, title, source, note in asked_rows(result)
    ]
    return pd.DataFrame(numbers + asked, columns=columns)


def asked_rows(result: SeasonResult) -> Iterator[tuple[str, str, str, str, str]]:
    """Yield door, name, title, source and kind of each rule and criterion that had a say, plug-ins among them."""
    for rule in result.limit_totals.itertuples():
        yield "retention_rules", rule.rule, rule.title, rule.source, "retention rule"
    said = result.stack["yard_reason"].attrs
    for name, title, source in zip(*(said.get(key, [])[1:] for key in ("reasons", "titles", "sources")), strict=False):
        yield "site_criteria", name, title, source, "site criterion"


def problems_table(problems: Iterable[Problem]) -> pd.DataFrame:
    """Return one row a problem met on the way."""
    return pd.DataFrame([p.as_dict() for p in problems], columns=["code", "severity", "where", "what", "why", "cure"])


def _with_place(table: pd.DataFrame, shapes: gpd.GeoDataFrame, result: SeasonResult) -> pd.DataFrame:
    """Add a point inside each shape in longitude and latitude, and US units beside SI where the plan prints them."""
    inside = gpd.GeoSeries(shapes.geometry.representative_point(), crs=result.crs).to_crs(4326)
    table["longitude"] = inside.x.round(7).to_numpy()
    table["latitude"] = inside.y.round(7).to_numpy()
    if result.plan.farm.units == "metric":
        return table
    for column in list(table.columns):
        kind = kind_of_column(str(column))
        if kind is None or KINDS[kind].us.factor == 1:
            continue
        us = KINDS[kind].us
        name = str(column).removesuffix(kind_suffix(str(column))) + us.column_suffix
        table.insert(table.columns.get_loc(column) + 1, name, table[column] * us.factor)
    return table


def kind_suffix(column: str) -> str:
    """Return the unit at the end of a column's name, with its underscore."""
    kind = kind_of_column(column)
    return "" if kind is None else KINDS[kind].si_suffix


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """Write and verify a table; text columns are guarded against spreadsheet formulas."""
    header = [guarded(str(c)) for c in table.columns]
    rows = [[_cell(v) for v in row] for row in table.itertuples(index=False, name=None)]
    # the mark at the start lets spreadsheet programs read the file as UTF-8
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows([header, *rows])
    with path.open(encoding="utf-8-sig", newline="") as file:
        back = list(csv.reader(file))
    if back != [header, *rows]:
        raise OSError(f"{path.name}: the rows read back differ from those written")


def _cell(value: object) -> str:
    if isinstance(value, str):
        return guarded(value).replace("\r", " ")
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    return guarded(str(value)) if not isinstance(value, int | bool) and not hasattr(value, "dtype") else f"{value}"
