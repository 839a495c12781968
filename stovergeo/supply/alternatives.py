"""Other plans for the same season: what was second best, what the next bales cost, what else to aim at."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from stovergeo.core.messages import Catalog
from stovergeo.supply.choice import Choice, optimize, with_yield
from stovergeo.supply.problem import SupplyProblem

message = Catalog("stovergeo.supply")
#: share of a difference of two plans that what is not proved of them may make up (judgment)
_UNSURE = 0.25


def alternatives(
    problem: SupplyProblem, choice: Choice, *, dearer: float = 0.10, gap: float = 0.005, seconds: float = 20.0
) -> pd.DataFrame:
    """Return plans with other aims that meet as much and cost little more.

    Parameters
    ----------
    problem : SupplyProblem
    choice : Choice
        The cheapest plan.
    dearer : float
        Share by which an alternative may cost more.
    gap, seconds : float
        As for `optimize`, for each plan.

    Returns
    -------
    DataFrame
        aim, title (a message), cost, cost_per_mg, more_cost (share), baled_mg, near_limit (take over limit,
        by mass), yards, zones, short_bales, habit_fraction (of the mass that is gathered as today),
        shift_mg (mass gathered from another zone or by another method than in the cheapest).
    """
    rows = [_row(problem, "cost", choice, choice)]
    most = choice.total_cost * (1 + dearer) + 1e-6
    for aim in ("soil", "yards", *(("habit",) if problem.habit else ())):
        other = optimize(problem, aim=aim, gap=gap, seconds=seconds, cost_max=most, in_bales=choice.whole is not None)
        row, first = _row(problem, aim, other, choice), rows[0]
        # money is not spent on what hardly changes anything
        if aim == "soil" and not row["near_limit"] * row["baled_mg"] < 0.97 * first["near_limit"] * first["baled_mg"]:
            row = _row(problem, aim, choice, choice)
        rows.append(row)
    return pd.DataFrame(rows)


def trade_off(problem: SupplyProblem, choice: Choice, *, steps: int = 4, dearer: float = 0.2) -> pd.DataFrame:
    """Return a small curve: how much nearer to care of the soil each dollar brings.

    Returns
    -------
    DataFrame
        As `alternatives`, one row for each budget from the cheapest to `dearer` above it.
    """
    rows = [_row(problem, "cost", choice, choice)]
    for share in np.linspace(0, dearer, steps + 1)[1:]:
        most = choice.total_cost * (1 + float(share))
        other = optimize(problem, aim="soil", cost_max=most, in_bales=choice.whole is not None)
        rows.append(_row(problem, "soil", other, choice))
    return pd.DataFrame(rows)


def near_limit(problem: SupplyProblem, choice: Choice) -> float:
    """Return how close to what their zones can spare the takes lie, 0 to 1, weighted by mass; NaN if unknown."""
    if "removable_mg_ha" not in problem.zones:
        return float("nan")
    taken = choice.zone_method[choice.zone_method["removal_mg"] > 0]
    if not len(taken):
        return 0.0
    limit = taken["zone_id"].map(problem.zones.set_index("zone_id")["removable_mg_ha"]).astype(float)
    near = (taken["removal_mg_ha"] / limit).clip(upper=1)
    return float(np.average(near, weights=taken["removal_mg"]))


def _row(problem: SupplyProblem, aim: str, plan: Choice, cheapest: Choice) -> dict[str, Any]:
    taken = plan.zone_method[plan.zone_method["removal_mg"] > 0]
    today = taken["field_id"].map(dict(problem.habit))
    as_today = float(taken.loc[today == taken["method"], "removal_mg"].sum())
    return {
        "aim": aim,
        "title": message(f"aim.{aim}"),
        "cost": plan.total_cost,
        "cost_per_mg": plan.cost_per_mg,
        "more_cost": plan.total_cost / cheapest.total_cost - 1 if cheapest.total_cost > 0 else 0.0,
        "baled_mg": plan.baled_mg,
        "near_limit": near_limit(problem, plan),
        "yards": len(plan.yard_use),
        "zones": len(taken),
        "short_bales": plan.short_bales,
        "habit_fraction": as_today / plan.baled_mg if problem.habit and plan.baled_mg > 0 else float("nan"),
        "shift_mg": float(_gained(cheapest.zone_method, plan.zone_method, ["zone_id", "method"], "removal_mg").sum()),
    }


def _gained(one: pd.DataFrame, other: pd.DataFrame, keys: list[str], column: str) -> pd.Series:
    """Return by how much a column is larger in another plan's table than in one, where it is; the largest first."""
    more = other.set_index(keys)[column].sub(one.set_index(keys)[column], fill_value=0)
    return more[more > 0].sort_values(ascending=False, kind="stable")


@dataclass(frozen=True, slots=True)
class SecondBest:
    """The best plan without one part of the plan."""

    kind: str  #: "yard" or "wrap"
    name: str
    more_cost: float  #: $ a season dearer, same needs met
    more_short: int  #: bales further short
    instead: tuple[str, ...]  #: what takes its place


def without_yard(problem: SupplyProblem, choice: Choice, yard_id: str, *, gap: float = 0.005) -> SecondBest:
    """Return what the season would cost if one yard could not be had."""
    other = optimize(replace(problem, no_go_yards=problem.no_go_yards | {yard_id}), gap=gap)
    used = set(choice.yard_use["yard_id"])
    instead = _gained(choice.yard_use, other.yard_use, ["yard_id"], "bales").index
    ranked = sorted(instead, key=lambda y: y in used)  # new places first
    return _second("yard", yard_id, choice, other, ranked[:2])


def without_wrap(problem: SupplyProblem, choice: Choice, wrap: str, *, gap: float = 0.005) -> SecondBest | None:
    """Return what the season would cost without one wrap; None where no other is open."""
    rest = problem.storage[problem.storage["wrap"] != wrap]
    if not rest["loss_pct"].notna().any():
        return None
    other = optimize(replace(problem, storage=rest), gap=gap)
    wraps = other.wrap_use.groupby("wrap")["bales"].sum().sort_values(ascending=False, kind="stable").index
    return _second("wrap", wrap, choice, other, list(wraps)[:2])


def _second(kind: str, name: str, choice: Choice, other: Choice, instead: list[str]) -> SecondBest:
    return SecondBest(
        kind,
        name,
        max(0.0, other.total_cost - choice.total_cost),
        max(0, other.short_bales - choice.short_bales),
        tuple(instead),
    )


@dataclass(frozen=True, slots=True)
class NextBales:
    """What some more bales would cost."""

    need: str
    bales: int
    had: int  #: of these, that can be had at all
    cost_each: float  #: $; NaN where none can be had or it is not known
    sources: tuple[tuple[str, str], ...]  #: (zone_id, method) that most of them come from


def next_bales(
    problem: SupplyProblem, choice: Choice, need: str, bales: int = 100, *, gap: float = 2e-4, seconds: float = 5.0
) -> NextBales:
    """Return what `bales` more would cost, spread over the need's months as the need is.

    Not known (NaN) where the plans were not proved tightly enough in the time to tell their difference.

    Parameters
    ----------
    problem, choice
        The season and its cheapest plan.
    need : str
        Whose bales.
    bales : int
    gap, seconds : float
        Tight, as a difference of two plans is looked at; the choice should be as tight.
    """
    each_mg = problem.bale_dry_kg / 1000
    own = (problem.need["need"] == need) & (problem.need["dry_mg"] > 0)
    total = float(problem.need.loc[own, "dry_mg"].sum())
    if total <= 0:
        return NextBales(need, bales, 0, float("nan"), ())
    dry_mg = problem.need["dry_mg"]
    raised = problem.need.assign(dry_mg=dry_mg.where(~own, dry_mg * (1 + bales * each_mg / total)))
    more = optimize(replace(problem, need=raised), gap=gap, seconds=seconds)
    had = bales - round((float(more.shortage["dry_mg"].sum()) - float(choice.shortage["dry_mg"].sum())) / each_mg)
    had = min(max(had, 0), bales)
    gained = _gained(choice.zone_method, more.zone_method, ["zone_id", "method"], "removal_mg")
    sources = tuple((str(z), str(m)) for z, m in gained[gained > 0.02 * bales * each_mg].index[:2])
    added = max(0.0, more.total_cost - choice.total_cost)
    unsure = more.gap * more.total_cost
    cost = added / had if had and (unsure <= _UNSURE * added or more.gap <= gap) else float("nan")
    return NextBales(need, bales, had, cost, sources)


def if_yields_fall(problem: SupplyProblem, change: float = -0.15, *, gap: float = 0.005) -> Choice | None:
    """Return the best plan with less stover on every zone, or None where limits or stover are not known."""
    if not {"stover_mg_ha", "removable_mg_ha"} <= set(problem.zones.columns):
        return None
    return optimize(with_yield(problem, change), gap=gap)
