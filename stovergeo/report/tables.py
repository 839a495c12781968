"""The tables a person opens: ``zones.csv``, ``yards.csv``, ``sources.csv``.

Every number stands in SI. Where the plan's unit system has a unit of its own for it, the number stands beside it as the
map and the crew sheet print it, so that printed columns add up. Text can never start a formula in a spreadsheet.
"""

from __future__ import annotations

import csv
import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import pandas as pd

from stovergeo.core.errors import Problem
from stovergeo.core.messages import Message, is_text
from stovergeo.core.printing import KINDS, how_printed, render
from stovergeo.report.by_field import titles_of_methods
from stovergeo.report.ledger import Ledger
from stovergeo.report.plan_tables import YARD_COLUMNS, ZONE_COLUMNS
from stovergeo.result import SeasonResult

#: columns of `zones.csv` on why a zone stays
_BARS = ("bar", "bar_reason", "lever")
#: what the soil-carbon rule rests on in a zone
CARBON_COLUMNS = ["carbon_limit", "cost_low_pct", "cost_pct", "cost_high_pct", "carbon_goal_probability"]
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Table = TypeVar("Table", bound=pd.DataFrame)


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe before what could start one."""
    clean = "".join(c for c in text if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cf", "Cs"))
    return "'" + clean if clean.lstrip(" ").startswith(_FORMULA_STARTS) else clean


def layers_of(result: SeasonResult) -> dict[str, gpd.GeoDataFrame]:
    """Return every table of the plan that has shapes, by name; what was brought as `surroundings` or points is not."""
    return {name: t for name, t in result.tables().items() if isinstance(t, gpd.GeoDataFrame) and name != "points"}


def tables_of(result: SeasonResult) -> dict[str, pd.DataFrame]:
    """Return every table of the plan without shapes, by name; one that was not made is left out."""
    return {name: t for name, t in result.tables().items() if not isinstance(t, gpd.GeoDataFrame)}


def with_text(table: Table, system: str) -> Table:
    """Return a table with its messages as text in a unit system."""
    held = [c for c in table.columns if table[c].dtype == object and table[c].map(_is_message).any()]
    return table.assign(**{c: table[c].map(lambda v: render(v, system) if _is_message(v) else v) for c in held})


def _is_message(value: object) -> bool:
    return isinstance(value, Message) or (isinstance(value, tuple) and (is_text(value) or not value))


def zones_table(result: SeasonResult, ledger: Ledger) -> pd.DataFrame:
    """Return one row a zone: removal, method, bales, net, nutrients, odds, where they go, and why."""
    zones = pd.DataFrame(result.zones.drop(columns="geometry"))
    names = result.fields.set_index("field_id")["name"]
    zones.insert(1, "field_name", zones["field_id"].map(names))
    titles = titles_of_methods(result)
    zones.insert(zones.columns.get_loc("method") + 1, "method_title", [titles.get(m, "") for m in zones["method"]])
    for table, columns in (
        (result.bales.made, ["bales", "bale_dry_kg", "bale_as_is_kg", "moisture_pct", "turns", "net_m"]),
        (result.residue.zone_nutrients, ["n_kg", "p2o5_kg", "k2o_kg", "s_kg", "cost"]),
        (result.residue.zone_carbon, CARBON_COLUMNS if len(result.residue.zone_carbon) else []),
        (result.residue.odds, ["p10_mg_ha", "p50_mg_ha", "p90_mg_ha", "compliance_probability"]),
    ):
        if not columns:
            continue
        zones = zones.merge(table[["zone_id", *columns]], on="zone_id", how="left", validate="one_to_one")
    bars = result.supply.staying
    if len(bars):
        bars = bars[["zone_id", "bar", "message", "lever_message"]]
        bars = bars.rename(columns={"message": "bar_reason", "lever_message": "lever"})
        zones = zones.merge(bars, on="zone_id", how="left", validate="one_to_one").fillna(dict.fromkeys(_BARS, ""))
    goes = {
        zone_id: ", ".join(f"{h.yard_id}: {h.bales:.0f}" for h in part.itertuples())
        for zone_id, part in result.supply.hauls.groupby("zone_id")
    }
    zones["yards"] = [goes.get(zone_id, "") for zone_id in zones["zone_id"]]
    keys = {c: [(f"zone {z}", w) for z in zones["zone_id"]] for c, w in ZONE_COLUMNS.items() if c in zones}
    zones = zones.rename(columns={"cost": "nutrient_cost"})
    keys["nutrient_cost"] = keys.pop("cost")
    return _with_place(_from_ledger(zones, keys, result.plan.farm.units, ledger), result.zones, result)


def yards_table(result: SeasonResult, ledger: Ledger) -> pd.DataFrame:
    """Return one row a yard: room, bales planned, ground, and its score and reason by each criterion."""
    yards = pd.DataFrame(result.yards.drop(columns="geometry"))
    planned = result.supply.hauls.groupby("yard_id")["bales"].sum()
    yards.insert(3, "planned_bales", yards["yard_id"].map(planned).fillna(0).astype(int))
    keys = {c: [(f"yard {y}", w) for y in yards["yard_id"]] for c, w in YARD_COLUMNS.items() if c in yards}
    for criterion, part in result.siting.ratings.groupby("criterion", sort=False):
        rated = part.set_index("yard_id")
        yards[f"score_{criterion}"] = yards["yard_id"].map(rated["score"])
        keys[f"score_{criterion}"] = [(f"rating {y} {criterion}", "score") for y in yards["yard_id"]]
        yards[f"reason_{criterion}"] = yards["yard_id"].map(rated["message"]).fillna("")
    return _with_place(_from_ledger(yards, keys, result.plan.farm.units, ledger), result.yards, result)


def _from_ledger(
    table: pd.DataFrame, keys: Mapping[str, list[tuple[str, str]]], system: str, ledger: Ledger
) -> pd.DataFrame:
    """Return a table with the ledger's numbers in its columns, those of the plan's unit system beside them."""
    columns = {}
    for column in map(str, table.columns):
        entries = [ledger.entries.get(key) for key in keys.get(column, ())]
        known = [e for e in entries if e is not None]
        if not known:
            columns[column] = table[column]
            continue
        columns[column] = pd.Series([math.nan if e is None else float(e.value) for e in entries], table.index)
        kind = known[0].kind
        own = how_printed(kind, system).column
        if own:
            name = column.removesuffix(KINDS[kind].column) + own
            printed = ["" if e is None or e.value != e.value else e.text(system).replace(",", "") for e in entries]
            columns[name] = pd.Series(printed, table.index).replace("", math.nan).astype(float)
    return with_text(pd.DataFrame(columns), system)


def sources_table(result: SeasonResult) -> pd.DataFrame:
    """Return one row a coefficient, retention rule and site criterion that the run used, with its source."""
    columns = ["key", "value", "low", "high", "unit", "meaning", "source", "standing", "note"]
    numbers = [
        [str(v) if c == "standing" else v for c in columns for v in [getattr(k, c)]] for k in result.coefficients
    ]
    asked = [
        [f"{group}.{name}", *[math.nan] * 3, "", title, source, "", note]
        for group, name, title, source, note in asked_rows(result)
    ]
    return pd.DataFrame(numbers + asked, columns=columns)


def asked_rows(result: SeasonResult) -> Iterator[tuple[str, str, str, str, str]]:
    """Yield group, name, title, source and kind of each rule and criterion that had a say, plug-ins among them."""
    for rule in result.residue.limit_totals.itertuples():
        yield "retention_rules", rule.rule, rule.title, rule.source, "retention rule"
    criteria: dict[str, tuple[str, str]] = {}
    for cluster in result.clusters:
        attributes = cluster.stack["yard_reason"].attrs
        columns = (attributes.get(key, [])[1:] for key in ("reasons", "titles", "sources"))
        criteria |= {name: (title, source) for name, title, source in zip(*columns, strict=False)}
    for name, (title, source) in criteria.items():
        yield "site_criteria", name, title, source, "site criterion"


def problems_table(problems: Iterable[Problem], system: str) -> pd.DataFrame:
    """Return one row a problem met on the way."""
    columns = ["code", "severity", "where", "what", "why", "cure"]
    return pd.DataFrame([{**p.as_dict(), "what": render(p.what, system)} for p in problems], columns=columns)


def _with_place(table: pd.DataFrame, shapes: gpd.GeoDataFrame, result: SeasonResult) -> pd.DataFrame:
    """Add a point inside each shape in longitude and latitude."""
    inside = gpd.GeoSeries(shapes.geometry.representative_point(), crs=result.crs).to_crs(4326)
    return table.assign(longitude=inside.x.round(7).to_numpy(), latitude=inside.y.round(7).to_numpy())


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
