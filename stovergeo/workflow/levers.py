"""Levers: what one change of the plan would let leave, and which of them is the cheapest.

Each lever is one key of the plan changed, and what it gives is computed by computing the limits and their odds anew
with it. How sure a plan wants to be is no lever. In this order they give up more (judgment, decision 0126): a method
added, harvest in fewer years, a tillage pass less, a lower cover goal; last, a better price for a contract.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np
import pandas as pd

from stovergeo import bales, residue
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan
from stovergeo.supply import SupplyProblem
from stovergeo.workflow.steps import Ground
from stovergeo.workflow.what_if import may_change, most_bales, offers_if, otherwise

message = Catalog("stovergeo.workflow")
#: lever, family, zone_id, bales (with it), gained_bales, message (what to change)
COLUMNS = ["lever", "family", "zone_id", "bales", "gained_bales", "message"]
_YEARS: Final = (Fraction(3, 4), Fraction(1, 2), Fraction(1, 3))
#: retention rules that a lever can move
_MOVED: Final = ("soil_carbon", "ground_cover", "water_erosion", "wind_erosion", "water_plus_wind")
_GOAL_STEP_PCT: Final = 5
_LEAST_GOAL_PCT: Final = 10
_PLANTING: Final = "planter"  # passes without which there is no crop


@dataclass(frozen=True, slots=True)
class Lever:
    """One change of the plan."""

    key: str
    family: str  #: levers of one family are tried from the mildest to the strongest
    action: Message
    options: residue.RuleOptions
    methods: dict[str, residue.Method]


def levers_of(plan: Plan, options: residue.RuleOptions, methods: dict[str, residue.Method]) -> Iterator[Lever]:
    """Yield the levers that a plan leaves open, the cheapest first.

    Parameters
    ----------
    plan : Plan
    options : RuleOptions
        As the season uses them.
    methods : dict
        Those the season uses.
    """
    crop, goal = options.crop, options.limits.cover_pct
    every = residue.methods(options.coefficients, None, crop.cut_height_m)
    unfit = bales.rejected_methods(every, plan, options.coefficients)
    for name, method in every.items():
        if name not in plan.gather.methods and name not in unfit:
            action = message("lever.method", method=method.title)
            yield Lever(f"method {name}", f"method {name}", action, options, {name: method})
    for years in [y for y in _YEARS if y < crop.harvest_years]:
        action = message("lever.harvest_years", taken=years.numerator, years=years.denominator)
        changed = otherwise(options, crop={"harvest_years": years})
        yield Lever(
            f"harvest_years {years.numerator} of {years.denominator}", "harvest_years", action, changed, methods
        )
    for name in dict.fromkeys(p for p in crop.tillage if not p.startswith(_PLANTING)):
        rest = list(crop.tillage)
        rest.remove(name)
        action = message("lever.tillage", tillage=name.replace("_", " "))
        changed = otherwise(options, crop={"tillage": tuple(rest)})
        yield Lever(f"tillage {name}", f"tillage {name}", action, changed, methods)
    lower = np.arange(np.ceil(goal / _GOAL_STEP_PCT) - 1, _LEAST_GOAL_PCT / _GOAL_STEP_PCT - 1, -1) * _GOAL_STEP_PCT
    for cover in lower:
        action = message("lever.cover", cover=float(cover), goal=goal)
        changed = otherwise(options, limits={"cover_pct": float(cover)})
        yield Lever(f"cover_pct {cover:g}", "cover_pct", action, changed, methods)


def what_levers_give(grounds: list[Ground], wanted: frozenset[str], enough: int) -> pd.DataFrame:
    """Return by lever and zone how many bales could leave with it and how many more that is.

    Parameters
    ----------
    grounds : list of Ground
    wanted : frozenset of str
        Zones to look at.
    enough : int
        Bales with which no stronger lever of a family is looked at; nor is one where each zone has gained.

    Returns
    -------
    DataFrame
        See `COLUMNS`; only zones that gain, the cheapest lever first.
    """
    rows: list[tuple[object, ...]] = []
    open_zones = {z for g in grounds for z in g.offers.zones.loc[may_change(g, _MOVED), "zone_id"]} if wanted else set()
    wanted = wanted & open_zones
    if not wanted:
        return pd.DataFrame(columns=COLUMNS)
    first = grounds[0]
    # a copy of the handbook: numbers that only a lever asks for are not those the plan rests on
    options = residue.RuleOptions(
        first.cluster.plan.crop, first.cluster.plan.limits, first.cluster.coefficients.with_plan({})
    )
    done: set[str] = set()
    for lever in levers_of(first.cluster.plan, options, first.removable.methods):
        if lever.family in done:
            continue
        gained = [row for ground in grounds for row in _gains(ground, wanted, lever)]
        rows += gained
        if sum(int(row[4]) for row in gained) >= enough or len(gained) == len(wanted):
            done.add(lever.family)
    return pd.DataFrame(rows, columns=COLUMNS)


def _gains(ground: Ground, wanted: frozenset[str], lever: Lever) -> Iterator[tuple[str, str, str, int, int, Message]]:
    zone_ids, plan = ground.offers.zones["zone_id"], ground.cluster.plan
    mine = zone_ids.isin(wanted).to_numpy()
    if not mine.any():
        return
    area = ground.offers.zones.set_index("zone_id")["area_ha"]
    now = most_bales(ground.offers.allowed, area, ground.removable.methods, plan, lever.options)
    options = replace(lever.options, counts=ground.removable.options.counts)
    offers = offers_if(ground, mine, options, lever.methods)
    for zone, made in most_bales(offers, area, lever.methods, plan, lever.options).items():
        if made > (had := int(now.get(zone, 0))):
            yield lever.key, lever.family, str(zone), made, made - had, lever.action


def best_lever(gains: pd.DataFrame, short_bales: int, *, more: bool) -> Message | None:
    """Return the lever for the farm: the cheapest that brings what is short, else the one that brings most.

    Parameters
    ----------
    gains : DataFrame
        From `what_levers_give`.
    short_bales : int
        0 where no need is given.
    more : bool
        Whether anything could leave without it.
    """
    if gains.empty:
        return None
    sums = gains.groupby("lever", sort=False).agg(bales=("gained_bales", "sum"), message=("message", "first"))
    enough = sums[sums["bales"] >= short_bales] if short_bales else sums.iloc[:0]
    lever = enough.iloc[0] if len(enough) else sums.loc[sums["bales"].idxmax()]
    return message("lever.gives_more" if more else "lever.gives", lever=lever["message"], bales=int(lever["bales"]))


def price_levers(contracts: pd.DataFrame, problem: SupplyProblem) -> dict[str, Message]:
    """Return by contract left out at what price it would pay, and the bales it would take."""
    left_out = contracts[~contracts["made"].astype(bool) & (contracts["dry_mg"] > 0)] if len(contracts) else contracts
    return {
        str(row.need): message(
            "lever.gives",
            lever=message("lever.price", price=float(row.pays_from_per_mg), need=str(row.need)),
            bales=round(float(row.dry_mg) * 1000 / problem.bale_dry_kg),
        )
        for row in left_out.itertuples()
    }
