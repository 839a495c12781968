"""The choice as messages: what is gathered, what it costs, what was second best, what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from stovergeo.core.bale_catalog import WRAPS
from stovergeo.core.messages import Catalog, Message
from stovergeo.supply.alternatives import NextBales, SecondBest
from stovergeo.supply.choice import Choice
from stovergeo.supply.problem import SupplyProblem

message = Catalog("stovergeo.supply")
_MIN_GAP = 0.001  # prints as 0.1 %


def title_of(method: str, titles: Mapping[str, str]) -> str:
    """Return a method's name as people say it."""
    return titles.get(method, method.replace("_", " "))


def plan_messages(problem: SupplyProblem, choice: Choice, titles: Mapping[str, str]) -> list[Message]:
    """Return what is gathered, by which methods, from where: no money, so that a landowner may read it."""
    taken = choice.zone_method[choice.zone_method["removal_mg"] > 0]
    if not len(taken):
        if (problem.need["dry_mg"] > 0).any():
            return [message("plan.nothing_gathered")]
        nothing = "nothing_pays" if problem.unpaid else "nothing_needed" if len(problem.need) else "inventory"
        return [message(f"plan.{nothing}")]
    by = taken.groupby("method")["bales"].sum().sort_values(ascending=False, kind="stable")
    methods = tuple(message("plan.method", bales=int(n), method=title_of(str(m), titles)) for m, n in by.items())
    only = message("plan.one_method", method=title_of(str(by.index[0]), titles))
    used, zones = len(taken), len(problem.zones)
    part = taken[taken["share"] < 0.995]
    return [
        message("plan.bales", bales=int(taken["bales"].sum()), dry=choice.baled_mg, used=used, zones=zones),
        message("plan.methods", methods=methods) if len(methods) > 1 else only,
        message("plan.yards", yards=len(choice.yard_use)),
        *(message("plan.part_of_zone", zone=row.zone_id, share=float(row.share)) for row in part.itertuples()),
    ]


def cost_messages(choice: Choice) -> list[Message]:
    """Return what the season costs by step, and how good that is proved to be; nothing where nothing is gathered."""
    if not choice.withdrawn_mg > 0:
        return []
    per_mg = (choice.cost / choice.withdrawn_mg).sort_values(ascending=False)
    steps = tuple(
        message("cost.step", step=message(f"step.{s}"), each=float(v)) for s, v in per_mg.items() if v >= 0.005
    )
    # a gap is never printed smaller than it is
    gap = max(choice.gap, _MIN_GAP)
    if choice.status != "optimal":
        proved = message("cost.out_of_time", gap=gap)
    elif choice.gap >= 5e-5:
        proved = message("cost.within", gap=gap)
    else:
        proved = message("cost.least")
    season = message("cost.season", cost=choice.total_cost, each=choice.cost_per_mg)
    return [season, *([message("cost.steps", steps=steps)] if steps else []), proved]


def shortage_messages(
    choice: Choice, conflict: Sequence[Message], reliefs: pd.DataFrame, bale_mg: float
) -> list[Message]:
    """Return what is lacking, when, what is in the way, and what each relief would bring."""
    short = choice.shortage
    if not len(short):
        return []
    messages = [message("short.total", bales=choice.short_bales, dry=float(short["dry_mg"].sum()))]
    for need, rows in short.groupby("need", sort=False):
        first, last = int(rows["month"].iloc[0]), int(rows["month"].iloc[-1])
        months = {"month": first} if len(rows) == 1 else {"first": first, "last": last}
        key = "short.need_in" if len(rows) == 1 else "short.need_from_to"
        messages.append(message(key, need=str(need), bales=int(rows["bales"].sum()), **months))
    needs = tuple(m for m in conflict if m.key == "limit.need")
    limits = tuple(m for m in conflict if m.key != "limit.need")
    if needs and limits:
        messages.append(message("short.conflict", needs=needs, limits=limits, count=len(limits)))
    for row in reliefs[reliefs["gained_mg"] > 0.5 * bale_mg].itertuples(index=False):
        gained, from_soil = round(row.gained_mg / bale_mg), row.message.key == "limit.soil"
        limit = {} if from_soil else {"limit": row.message}
        messages.append(message("short.more_from_soil" if from_soil else "short.more", bales=gained, **limit))
    return messages


def next_messages(found: NextBales, titles: Mapping[str, str], price_each: float = np.nan) -> list[Message]:
    """Return what the next bales of a need would cost, where from, and whether the buyer's price covers it."""
    if not found.had:
        return [message("next.none", need=found.need)]
    if not np.isfinite(found.cost_each):
        return [message("next.unsure", need=found.need, bales=found.bales)]
    values = {"bales": found.bales, "need": found.need, "each": found.cost_each}
    all_had = found.had == found.bales
    messages = [message("next.cost", **values) if all_had else message("next.fewer", **values, had=found.had)]
    if np.isfinite(price_each):
        messages.append(message("next.pays" if price_each >= found.cost_each else "next.loses", price=price_each))
    if found.sources:
        sources = tuple(message("next.source", zone=z, method=title_of(m, titles)) for z, m in found.sources)
        messages.append(message("next.from", sources=sources))
    return messages


def month_messages(next_mg: pd.DataFrame) -> list[Message]:
    """Return in which month the next ton of each need costs least and most, and what an hour more would save."""
    messages = []
    for (kind, what), rows in next_mg.groupby(["kind", "what"], sort=False):
        first, last = float(rows["price"].iloc[0]), float(rows["price"].iloc[-1])
        if kind == "hours" and first >= 1:
            messages.append(message("next.hour", machine=str(what), saved=first))
        elif last - first >= 1:
            months = {"first_month": int(rows["month"].iloc[0]), "last_month": int(rows["month"].iloc[-1])}
            messages.append(message("next.by_month", need=str(what), first=first, last=last, **months))
    return messages


def second_message(found: SecondBest) -> Message:
    """Return what takes the place of a yard or a wrap, and by how much it is worse."""
    names = (found.name, *found.instead)
    name, *instead = (message("second.yard", yard=n) if found.kind == "yard" else WRAPS[n].title for n in names)
    if found.more_short:
        return message("second.short", name=name, bales=found.more_short)
    values = {"name": name} | ({"instead": tuple(instead)} if instead else {})
    how = "instead" if instead else "without"
    if found.more_cost < 1:
        return message(f"second.same_{how}", **values)
    return message(f"second.dearer_{how}", **values, more=found.more_cost)


def method_messages(
    problem: SupplyProblem, chosen: Mapping[str, str], titles: Mapping[str, str]
) -> dict[str, tuple[Message, ...]]:
    """Return for each gathered zone why its method was chosen: its cost against the next allowed one.

    Where no other one is allowed, the limit that each of them exceeds is stated: the mean of what may leave, what may
    leave when the zone is gathered evenly, or the cautious percentile of the samples, as the residue package found it.

    Parameters
    ----------
    problem : SupplyProblem
        Refused offers that have the columns limit_mg_ha and message are explained by them.
    chosen : mapping
        zone_id -> method.
    titles : mapping
    """

    def with_cost(key: str, offer: Any) -> Message:
        return message(key, method=title_of(offer.method, titles), cost=float(offer.edge_cost_mg))

    reasons: dict[str, tuple[Message, ...]] = {}
    refused = problem.offers[~problem.offers["allowed"].astype(bool)]
    for zone_id, rows in problem.usable_offers().groupby("zone_id", sort=False):
        own, *others = sorted(rows.itertuples(index=False), key=lambda o: (o.method != chosen[zone_id], o.edge_cost_mg))
        if own.method != chosen[zone_id]:
            continue
        if others:
            cheaper = others[0].edge_cost_mg < own.edge_cost_mg
            against = with_cost("method.other_unfit" if cheaper else "method.other", others[0])
        else:
            limits = [_limit_message(o, titles) for o in refused[refused["zone_id"] == zone_id].itertuples(index=False)]
            against = message("method.only", limits=tuple(limits)) if limits else message("method.alone")
        reasons[str(zone_id)] = (with_cost("method.cost", own), against)
    return reasons


def _limit_message(offer: Any, titles: Mapping[str, str]) -> Message:
    """Return which limit a refused method's take exceeds, as part of a sentence."""
    method = title_of(offer.method, titles)
    messages: tuple[Message, ...] = getattr(offer, "message", ())
    key = messages[0].key if len(messages) else ""
    if not key.startswith("exceeds."):
        return message("method.refused", method=method)
    sure = {"sure": messages[0].values["sure"]} if key == "exceeds.cautious" else {}
    amounts = {"take": float(offer.removal_mg_ha), "limit": float(offer.limit_mg_ha)}
    return message(f"method.{key.replace('.', '_')}", method=method, **amounts, **sure)


def poorer_message(choice: Choice, fallen: Choice, change: float) -> Message:
    """Return what a poorer crop would change."""
    less, more = -change, fallen.short_bales - choice.short_bales
    dearer = fallen.cost_per_mg - choice.cost_per_mg
    if more > 0:
        return message("poorer.short", less=less, bales=more)
    if not np.isfinite(dearer):
        return message("poorer.nothing", less=less)
    key = "poorer.no_shorter" if choice.short_bales else "poorer.met"
    return message(key, less=less) if dearer < 0.005 else message(f"{key}_dearer", less=less, more=dearer)


def other_messages(table: pd.DataFrame) -> list[Message]:
    """Return what the alternatives offer and cost."""
    messages = []
    first, *others = table.itertuples(index=False)
    for row in others:
        dearer = row.more_cost >= 0.0005
        price = message("other.dearer", more=float(row.more_cost)) if dearer else message("other.same_price")
        if row.aim == "soil" and row.near_limit < first.near_limit - 0.03:
            near = {"near": float(row.near_limit), "first": float(first.near_limit)}
            messages.append(message("other.soil", **near, price=price))
        elif row.aim == "yards" and row.yards < first.yards:
            messages.append(message("other.yards", yards=int(row.yards), first=int(first.yards), price=price))
        elif row.aim == "habit":
            messages.append(message("other.habit", as_today=float(row.habit_fraction), price=price))
    return messages
