"""The choice as messages: what is gathered, what it costs, what was second best, what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
        return [message("plan.nothing_gathered" if (problem.need["dry_mg"] > 0).any() else "plan.nothing_needed")]
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
    told = [message("short.total", bales=choice.short_bales, dry=float(short["dry_mg"].sum()))]
    for need, rows in short.groupby("need", sort=False):
        bales, first, last = int(rows["bales"].sum()), int(rows["month"].iloc[0]), int(rows["month"].iloc[-1])
        if len(rows) == 1:
            told.append(message("short.need_in", need=str(need), bales=bales, month=first))
        else:
            told.append(message("short.need_from_to", need=str(need), bales=bales, first=first, last=last))
    needs = tuple(m for m in conflict if m.key == "limit.need")
    limits = tuple(m for m in conflict if m.key != "limit.need")
    if needs and limits:
        told.append(message("short.conflict", needs=needs, limits=limits, count=len(limits)))
    for row in reliefs[reliefs["gained_mg"] > 0.5 * bale_mg].itertuples(index=False):
        gained = round(row.gained_mg / bale_mg)
        if row.message.key == "limit.soil":
            told.append(message("short.more_from_soil", bales=gained))
        else:
            told.append(message("short.more", bales=gained, limit=row.message))
    return told


def next_messages(found: NextBales, titles: Mapping[str, str], price_each: float = np.nan) -> list[Message]:
    """Return what the next bales of a need would cost, where from, and whether the buyer's price covers it."""
    if not found.had:
        return [message("next.none", need=found.need)]
    told = {"bales": found.bales, "need": found.need, "each": found.cost_each}
    said = [message("next.cost", **told) if found.had == found.bales else message("next.fewer", **told, had=found.had)]
    if np.isfinite(price_each):
        said.append(message("next.pays" if price_each >= found.cost_each else "next.loses", price=price_each))
    if found.sources:
        sources = tuple(message("next.source", zone=z, method=title_of(m, titles)) for z, m in found.sources)
        said.append(message("next.from", sources=sources))
    return said


def month_messages(next_mg: pd.DataFrame) -> list[Message]:
    """Return in which month the next ton of each need costs least and most, and what an hour more would save."""
    told = []
    for (kind, what), rows in next_mg.groupby(["kind", "what"], sort=False):
        first, last = rows.iloc[0], rows.iloc[-1]
        if kind == "hours":
            if first["price"] >= 1:
                told.append(message("next.hour", machine=str(what), saved=float(first["price"])))
        elif last["price"] - first["price"] >= 1:
            prices = {"first": float(first["price"]), "last": float(last["price"])}
            months = {"first_month": int(first["month"]), "last_month": int(last["month"])}
            told.append(message("next.by_month", need=str(what), **prices, **months))
    return told


def second_message(found: SecondBest) -> Message:
    """Return what takes the place of a yard or a wrap, and by how much it is worse."""
    name, *instead = (
        message("second.yard", yard=n) if found.kind == "yard" else WRAPS[n].title for n in (found.name, *found.instead)
    )
    if found.more_short:
        return message("second.short", name=name, bales=found.more_short)
    values = {"name": name} | ({"instead": tuple(instead)} if instead else {})
    how = "instead" if instead else "without"
    if found.more_cost < 1:
        return message(f"second.same_{how}", **values)
    return message(f"second.dearer_{how}", **values, more=found.more_cost)


def method_messages(costs: pd.DataFrame, titles: Mapping[str, str]) -> dict[str, tuple[Message, ...]]:
    """Return for each gathered zone why its method was chosen: its cost against the next allowed one.

    Parameters
    ----------
    costs : DataFrame
        zone_id, method, edge_cost_mg, chosen.
    titles : mapping
    """
    told: dict[str, tuple[Message, ...]] = {}
    for zone_id, rows in costs.groupby("zone_id", sort=False):
        mine = rows[rows["chosen"]]
        if not len(mine):
            continue
        own = mine.iloc[0]
        rest = rows[~rows["chosen"]].sort_values("edge_cost_mg", kind="stable")
        if len(rest):
            other = rest.iloc[0]
            key = "method.other_unfit" if other["edge_cost_mg"] < own["edge_cost_mg"] else "method.other"
            against = message(key, method=title_of(other["method"], titles), cost=float(other["edge_cost_mg"]))
        else:
            against = message("method.only")
        first = message("method.cost", method=title_of(own["method"], titles), cost=float(own["edge_cost_mg"]))
        told[str(zone_id)] = (first, against)
    return told


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
    told = []
    first = table.iloc[0]
    for row in table.iloc[1:].itertuples(index=False):
        dearer = row.more_cost >= 0.0005
        price = message("other.dearer", more=float(row.more_cost)) if dearer else message("other.same_price")
        if row.aim == "soil" and row.near_limit < first["near_limit"] - 0.03:
            near = {"near": float(row.near_limit), "first": float(first["near_limit"])}
            told.append(message("other.soil", **near, price=price))
        elif row.aim == "yards" and row.yards < first["yards"]:
            told.append(message("other.yards", yards=int(row.yards), first=int(first["yards"]), price=price))
        elif row.aim == "habit":
            told.append(message("other.habit", as_today=float(row.habit_fraction), price=price))
    return told
