"""When not all can be had: what is in the way, and what each relief would bring."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd

from stovergeo.core.messages import Catalog, Message
from stovergeo.supply.model import build
from stovergeo.supply.problem import SupplyProblem
from stovergeo.supply.solve import least_short, short_weights

message = Catalog("stovergeo.supply")
_TOLERANCE_MG = 0.01
_RELIEFS = ["limit", "message", "gained_mg", "left_mg"]
_QUALITY = ["moisture_max_pct", "ash_max_pct"]
Relief = Callable[[SupplyProblem], SupplyProblem]


def least_short_mg(problem: SupplyProblem) -> float:
    """Return the dry Mg that cannot be had at any cost, each need counted alike."""
    model = build(problem)
    alike = short_weights(model, dict.fromkeys(problem.terms["need"], "contract"))
    return least_short(model, alike)[0]


def limits_of(problem: SupplyProblem) -> dict[str, tuple[Message, Relief]]:
    """Return every limit that could be in the way: key -> (its name, the problem without it)."""
    reliefs: dict[str, tuple[Message, Relief]] = {}
    for machine in problem.capacity.hours:
        reliefs[f"hours {machine}"] = message("limit.hours", machine=machine), partial(_without_hours, machine)
    reliefs["yards"] = message("limit.yards"), _with_room
    if np.isinf(problem.distance_m).any():
        finite = np.where(np.isfinite(problem.distance_m), problem.distance_m, 1e4)
        reliefs["routes"] = message("limit.routes"), lambda p: replace(p, distance_m=finite)
    if (~problem.offers["allowed"].astype(bool)).any():
        reliefs["soil"] = message("limit.soil"), lambda p: replace(p, offers=p.offers.assign(allowed=True))
    if (problem.offers["moisture_pct"] > problem.wet_pct).any():
        reliefs["wet"] = message("limit.wet"), lambda p: replace(p, wet_pct=np.inf)
    for need, *limits in problem.terms[["need", *_QUALITY]].itertuples(index=False):
        if np.isfinite(limits).any():
            reliefs[f"quality {need}"] = message("limit.quality", need=need), partial(_without_quality, need)
    if problem.no_go_zones or problem.no_go_yards:
        nothing: frozenset[str] = frozenset()
        reliefs["no_go"] = (
            message("limit.no_go"),
            lambda p: replace(p, no_go_zones=nothing, no_go_yards=nothing),
        )
    return reliefs


def conflict(problem: SupplyProblem) -> list[Message]:
    """Return the smallest set of needs and limits that cannot all hold together (keys ``limit.``).

    Each need and each limit is left out in turn; what is still short without it did not
    matter and stays out (a deletion filter, Chinneck and Dravnieks 1991). What remains
    conflicts, and with any one of them gone everything could be had. Empty where nothing
    is short.
    """
    if least_short_mg(problem) <= _TOLERANCE_MG:
        return []
    now = problem
    conflicting: list[Message] = []
    tries: list[tuple[Message, Relief]] = list(limits_of(problem).values())
    for need in dict.fromkeys(problem.need.loc[problem.need["dry_mg"] > 0, "need"]):
        tries.append((message("limit.need", need=need), partial(_without_need, need)))
    for name, relieve in tries:
        eased = relieve(now)
        if least_short_mg(eased) > _TOLERANCE_MG:
            now = eased
        else:
            conflicting.append(name)
    if all(name.key == "limit.need" for name in conflicting):
        conflicting.insert(0, message("limit.stover"))
    return conflicting


def reliefs(problem: SupplyProblem) -> pd.DataFrame:
    """Return what lifting each limit by itself would bring.

    Returns
    -------
    DataFrame
        limit, message, gained_mg (dry Mg less short), left_mg (still short). The most helpful first.
    """
    short = least_short_mg(problem)
    rows = []
    for key, (name, relieve) in limits_of(problem).items():
        left = least_short_mg(relieve(problem))
        rows.append((key, name, max(0.0, short - left), left))
    table = pd.DataFrame(rows, columns=_RELIEFS)
    return table.sort_values("gained_mg", ascending=False, kind="stable").reset_index(drop=True)


def no_reliefs() -> pd.DataFrame:
    """Return the table of `reliefs` without a row."""
    return pd.DataFrame(columns=_RELIEFS)


def _without_hours(machine: str, p: SupplyProblem) -> SupplyProblem:
    hours = {m: h for m, h in p.capacity.hours.items() if m != machine}
    return replace(p, capacity=replace(p.capacity, hours=hours))


def _with_room(p: SupplyProblem) -> SupplyProblem:
    most = p.offers["removal_mg_ha"].max() * p.zones["area_ha"].sum() * 1000 / p.offers["bale_dry_kg"].min()
    if not len(p.yards):
        yard = {"yard_id": "a yard", "capacity_bales": most, "base": "none", "base_cost": 0.0, "ground": "soil"}
        return replace(p, yards=pd.DataFrame([yard]), distance_m=np.zeros((len(p.zones), 1)))
    return replace(p, yards=p.yards.assign(capacity_bales=most))


def _without_quality(need: str, p: SupplyProblem) -> SupplyProblem:
    others = p.terms["need"] != need
    return replace(p, terms=p.terms.assign(**{name: p.terms[name].where(others, np.inf) for name in _QUALITY}))


def _without_need(need: str, p: SupplyProblem) -> SupplyProblem:
    return replace(p, need=p.need[p.need["need"] != need])
