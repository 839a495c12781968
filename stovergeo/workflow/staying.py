"""Why stover stays, zone by zone: the bar that truly holds, its figures, and the cheapest lever that lifts it."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo import bales, zones
from stovergeo.core.messages import Catalog, Message
from stovergeo.residue.messages import LITTLE_MG_HA
from stovergeo.supply import inventory
from stovergeo.workflow.levers import best_lever, price_levers, what_levers_give
from stovergeo.workflow.steps import Chosen, Ground, Season

message = Catalog("stovergeo.workflow")
#: bar: kept_free, all_stays, method_floor, even, smallest_zone, cautious, moisture, need_met, cost or supply; the
#: method that comes nearest to it, what that takes and what may leave by the bar; the lever, and the bales it gives
COLUMNS = ["zone_id", "field_id", "bar", "method", "removal_mg_ha", "limit_mg_ha", "message"]
COLUMNS += ["lever", "lever_bales", "lever_message"]
_NO_METHOD = ("", np.nan, np.nan)
_PART_OF_ZONE = 0.25  # of the smallest zone: less good ground would make no zone of any plan (judgment)
Bar = tuple[str, tuple[str, float, float], Message]


def staying(season: Season, unknown: frozenset[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return why each zone that is not gathered stays, and what each lever would give.

    Parameters
    ----------
    season : Season
    unknown : frozenset of str
        Zones of which no yield is known; nothing is said of them.

    Returns
    -------
    DataFrame
        See `COLUMNS`; a row for each zone from which nothing leaves.
    DataFrame
        See `levers.COLUMNS`.
    """
    chosen = season.chosen
    worked = chosen.worked[~chosen.worked["zone_id"].isin(unknown)]
    stays = worked[worked["method"] == "leave"]
    allowed = {z for g in season.grounds for z in g.offers.allowed.loc[g.offers.allowed["allowed"], "zone_id"]}
    free = set(worked.loc[~worked["kept_free"].astype(bool), "zone_id"])
    short = chosen.choice.short_bales
    stuck = frozenset(free & set(stays["zone_id"]) - allowed)
    gains = what_levers_give(season.grounds, frozenset(free) if short else stuck, short or np.iinfo(int).max)
    prices = price_levers(chosen.contracts, chosen.problem)
    cheapest = gains.groupby("zone_id", sort=False).first() if len(gains) else gains
    rows = []
    for ground in season.grounds:
        for zone in stays[stays["zone_id"].isin(ground.offers.zones["zone_id"])].to_dict("records"):
            bar, (method, take, limit), why = _bar(season, ground, zone)
            lever: tuple[str, float, Message | tuple[()]] = ("", np.nan, ())
            if bar == "cost" and prices:
                need, line = next(iter(prices.items()))
                lever = (f"price {need}", float(line.values["bales"]), line)
            elif zone["zone_id"] in stuck and zone["zone_id"] in cheapest.index:
                found = cheapest.loc[zone["zone_id"]]
                line = message("lever.gives", lever=found["message"], bales=int(found["bales"]))
                lever = (str(found["lever"]), float(found["bales"]), line)
            rows.append((zone["zone_id"], zone["field_id"], bar, method, take, limit, why, *lever))
    return pd.DataFrame(rows, columns=COLUMNS), gains


def with_bars(zones_table: gpd.GeoDataFrame, stays: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the zones with the true bar in the place of a reason that only says that nothing is gathered."""
    bars = dict(zip(stays["zone_id"], zip(stays["bar"], stays["message"], strict=True), strict=True))
    reasons = []
    for zone_id, reason in zip(zones_table["zone_id"], zones_table["reason"], strict=True):
        bar, why = bars.get(zone_id, ("", None))
        # what a bale would cost at the field's edge is the grower's to know
        true = message("bar.need_met_free") if bar == "need_met" else why
        reasons.append(tuple(true if m.key == "left.not_needed" and true is not None else m for m in reason))
    return zones_table.assign(reason=pd.Series(reasons, index=zones_table.index, dtype=object))


def lever_messages(season: Season, stays: pd.DataFrame, gains: pd.DataFrame) -> list[Message]:
    """Return the best lever for the farm where the need is not met or nothing leaves, or that there is none."""
    short = season.chosen.choice.short_bales
    leaves = (season.chosen.worked["removal_mg"] > 0).any()
    if leaves and not short:
        return []
    could = any(ground.offers.allowed["allowed"].any() for ground in season.grounds)
    best = best_lever(gains, short, more=could)
    if best is not None:
        return [best]
    held = stays["bar"].isin(["all_stays", "method_floor", "even", "smallest_zone", "cautious", "moisture"])
    return [message("lever.none")] if held.any() and not leaves else []


def _bar(season: Season, ground: Ground, zone: dict[str, Any]) -> Bar:
    """Return the bar that holds a zone, the method nearest to it with its figures, and both as a message."""
    if zone["kept_free"]:
        return "kept_free", _NO_METHOD, message("bar.kept_free")
    offers = ground.offers.storable
    offers = offers[(offers["zone_id"] == zone["zone_id"]) & (offers["removal_mg_ha"] > 0)]
    if offers["allowed"].any():
        return _not_wanted(season.chosen, zone["zone_id"], offers)
    unfit = bales.rejected_methods(ground.removable.planned, season.ready.plan, season.ready.coefficients)
    wet = offers[offers["method"].isin(list(unfit)) & (offers["removal_mg_ha"] <= offers["limit_mg_ha"] + 1e-9)]
    if len(wet):
        nearest = wet.loc[wet["removal_mg_ha"].idxmax()]
        figures = (str(nearest["method"]), float(nearest["removal_mg_ha"]), float(nearest["limit_mg_ha"]))
        return "moisture", figures, message("bar.moisture", method=nearest["title"], why=unfit[nearest["method"]])
    keepable = offers[~offers["method"].isin(list(unfit))]
    return _exceeded(season, ground, zone, keepable if len(keepable) else offers)


def _not_wanted(chosen: Chosen, zone_id: str, offers: pd.DataFrame) -> Bar:
    """Return why a zone stays from which a method could take something."""
    costs = inventory(chosen.problem, {})
    own = costs[costs["zone_id"] == zone_id]
    best = offers[offers["allowed"]].sort_values("removal_mg_ha", kind="stable").iloc[-1]
    figures = (str(best["method"]), float(best["removal_mg_ha"]), float(best["limit_mg_ha"]))
    if chosen.choice.short_bales:
        limits = tuple(m for m in chosen.choice.conflict if m.key != "limit.need")
        return "supply", figures, message("bar.supply", limits=limits) if limits else message("bar.supply_other")
    if chosen.problem.unpaid and not (chosen.problem.need["dry_mg"] > 0).any():
        return "cost", figures, message("bar.cost", needs=tuple(sorted(chosen.problem.unpaid)))
    cost = float(own["edge_cost_per_mg"].min()) if len(own) else float("nan")
    return "need_met", figures, message("bar.need_met", cost=cost) if cost == cost else message("bar.need_met_free")


def _exceeded(season: Season, ground: Ground, zone: dict[str, Any], offers: pd.DataFrame) -> Bar:
    """Return the first limit that the method with the least removal does not keep: mean, even take, cautious."""
    if offers.empty:
        return "all_stays", _NO_METHOD, message("bar.no_method")
    least = offers.sort_values("removal_mg_ha", kind="stable").iloc[0]
    name, title, take = str(least["method"]), str(least["title"]), float(least["removal_mg_ha"])
    mean, even, sure = (float(least[f"{limit}_limit_mg_ha"]) for limit in ("mean", "even", "cautious"))
    if not mean > LITTLE_MG_HA:
        rule = str(zone["binding_rule"])
        titles = dict(zip(*(ground.removable.stack["binding_rule"].attrs[k] for k in ("rules", "titles")), strict=True))
        return "all_stays", (name, take, max(mean, 0.0)), message("bar.all_stays", rule=titles.get(rule, rule))
    if take > min(mean, even) + 1e-9:
        area, smallest = _area_that_spares(ground, str(zone["zone_id"]), take), season.ready.plan.gather.min_zone_ha
        if _PART_OF_ZONE * smallest <= area < smallest:
            values = {"method": title, "take": take, "area": area, "smallest": smallest}
            return "smallest_zone", (name, take, min(mean, even)), message("bar.smallest_zone", **values)
    if take > mean + 1e-9:
        return "method_floor", (name, take, mean), message("bar.method_floor", method=title, take=take, limit=mean)
    if take > even + 1e-9:
        return "even", (name, take, even), message("bar.even", method=title, take=take, mean=mean, limit=even)
    cases = 100 - season.ready.plan.odds.cautious_pct
    values = {"method": title, "take": take, "mean": min(mean, even), "limit": max(sure, 0.0), "sure": cases}
    return "cautious", (name, take, max(sure, 0.0)), message("bar.cautious", **values)


def _area_that_spares(ground: Ground, zone_id: str, take_mg_ha: float) -> float:
    """Return how much of a zone, ha, can spare an amount."""
    stack = ground.removable.stack
    own = ground.offers.labels.values == list(ground.offers.zones["zone_id"]).index(zone_id)
    return float(stack["cell_area_ha"].values[own & (zones.spare_of(stack) >= take_mg_ha)].sum())
