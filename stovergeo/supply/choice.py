"""The choice: which zones by which method, to which yards, in which wrap, for which month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.supply.model import STEPS, Model, build
from stovergeo.supply.problem import SupplyProblem
from stovergeo.supply.solve import Solution, shadow_prices, short_weights, solve
from stovergeo.supply.whole_bales import WholeBales, whole_bales

_NEXT = ["kind", "what", "month", "year", "price"]
_TINY_MG = 1e-5
_SHORT_MG = 0.01  # less is rounding: a fiftieth of a bale


@dataclass(frozen=True, slots=True)
class Choice:
    """A plan. Masses are oven-dry Mg as baled; what is drawn is less by the storage loss."""

    zone_method: pd.DataFrame
    """One row a zone of the problem: zone_id, field_id, method ("leave" where nothing is taken),
    share (of the zone that is gathered, 0 to 1), area_ha (gathered), removal_mg_ha, removal_mg, bales
    (whole), bale_dry_kg, edge_cost_mg ($ per dry Mg gathered, baled, paid for, before hauling)."""
    flows: pd.DataFrame
    """zone_id, yard_id, dry_mg, bales (whole; a zone's bales never hold more than it gives),
    distance_m, cost ($, hauling)."""
    yard_use: pd.DataFrame
    """One row a used yard: yard_id, bales, capacity_bales, full (share), dry_mg, cost ($: opening, base)."""
    wrap_use: pd.DataFrame
    """need, month, year, wrap, base, dry_mg (as baled), withdrawn_mg, bales (whole where the plan is), loss_pct,
    months_stored."""
    cost: pd.Series
    """$ by step: gather, bale, set_up, nutrients, land, haul, yard, wrap, base, deliver."""
    shortage: pd.DataFrame
    """need, kind, month, year, dry_mg and bales that cannot be had; empty where all is met."""
    withdrawn_mg: float  #: oven-dry mass that reaches its use
    baled_mg: float  #: oven-dry mass baled
    gap: float  #: proved distance from the least possible cost, as a share of it
    bound: float  #: no plan that meets as much can cost less, $
    status: str  #: "optimal" within the gap, or "best found in time"
    messages: list[Message] = field(default_factory=list)  #: the plan, without money
    grower_messages: list[Message] = field(default_factory=list)
    """What only the grower sees: costs, prices, what was second best, trucks; what matters most first."""
    reasons: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["kind", "id", "message"]))
    """Why this method (kind zone), this yard, this wrap: what was second best and by how much."""
    alternatives: pd.DataFrame = field(default_factory=pd.DataFrame)  #: see `stovergeo.supply.alternatives`
    next_mg: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=_NEXT))
    """What the next unit would cost with the whole decisions kept: a dry Mg more of a need in a month
    (kind need, what: its name), an hour more of a machine (kind hours, what: its name; a saving, month 0)."""
    conflict: list[Message] = field(default_factory=list)  #: needs and limits that cannot all hold together
    whole: WholeBales | None = None  #: the bales that all counts above add up from; None where tons are compared

    @property
    def total_cost(self) -> float:
        """All steps together, $."""
        return float(self.cost.sum())

    @property
    def cost_per_mg(self) -> float:
        """$ for each oven-dry Mg that reaches its use; NaN where none does."""
        return self.total_cost / self.withdrawn_mg if self.withdrawn_mg > _TINY_MG else float("nan")

    @property
    def short_bales(self) -> int:
        """Bales that cannot be had."""
        return int(self.shortage["bales"].sum()) if len(self.shortage) else 0

    @property
    def methods(self) -> dict[str, str]:
        """zone_id -> method, for `stovergeo.zones.assign_methods`."""
        return dict(zip(self.zone_method["zone_id"], self.zone_method["method"], strict=True))


@dataclass(frozen=True, slots=True)
class Solved:
    """A season solved at the least cost."""

    problem: SupplyProblem
    model: Model
    cost: np.ndarray
    solution: Solution

    def in_tons(self) -> Choice:
        """Return the plan as solved, to compare with others: masses are shared out to the kilogram."""
        return _read(self.problem, self.model, self.solution)

    def in_bales(self) -> Choice:
        """Return the plan as it is made: in whole bales."""
        solution, whole = whole_bales(self.problem, self.model, self.solution)
        choice = _read(self.problem, self.model, solution)
        return replace(choice, wrap_use=choice.wrap_use.round({"bales": 0}).astype({"bales": int}), whole=whole)

    def next_prices(self) -> pd.DataFrame:
        """Return what the next unit would cost, see `Choice.next_mg`."""
        return _next_prices(self.model, self.cost, self.solution)


def least_cost(problem: SupplyProblem, *, gap: float = 0.005, seconds: float = 60.0) -> Solved:
    """Solve a season: the shortage as small as can be first, herds before contracts; then the least delivered cost.

    Parameters
    ----------
    problem : SupplyProblem
    gap : float
        Relative gap at which the solver may stop.
    seconds : float
        Time after which the best plan found is returned with its gap.
    """
    model, weights = _model(problem)
    cost = model.total_cost() if model.size else np.empty(0)
    return Solved(problem, model, cost, solve(model, cost, weights, gap=gap, seconds=seconds))


def optimize(
    problem: SupplyProblem,
    *,
    aim: str = "cost",
    gap: float = 0.005,
    seconds: float = 60.0,
    cost_max: float | None = None,
    in_bales: bool = False,
) -> Choice:
    """Return the best plan of a problem, without messages.

    The shortage is made as small as can be first, herds before contracts; of the plans that
    are no shorter, the best by `aim` is taken, ties going to the cheaper.

    Parameters
    ----------
    problem : SupplyProblem
    aim : {"cost", "soil", "yards", "habit"}
        Least delivered cost; least stover taken near its limit; fewest yards; closest to
        the methods used today.
    gap : float
        Relative gap at which the solver may stop.
    seconds : float
        Time after which the best plan found is returned with its gap.
    cost_max : float, optional
        $ that the plan may cost, for the other aims.
    in_bales : bool
        Put the plan into whole bales; left out, masses are shared out to the kilogram, so that two plans compare.
    """
    if aim == "cost":
        solved = least_cost(problem, gap=gap, seconds=seconds)
    else:
        solved = _by_aim(problem, aim, gap, seconds, cost_max)
    return solved.in_bales() if in_bales else solved.in_tons()


def _by_aim(problem: SupplyProblem, aim: str, gap: float, seconds: float, cost_max: float | None) -> Solved:
    """Solve for an aim; of the plans that are as good by it, the cheapest."""
    model, weights = _model(problem)
    cost = model.total_cost() if model.size else np.empty(0)
    measure = _measure(problem, model, aim)
    limits = [] if cost_max is None else [(cost, cost_max)]
    best = solve(model, measure, weights, gap=gap, seconds=seconds, budgets=limits)
    limits.append((measure, float(measure @ best.values) * (1 + 1e-4) + 1e-6))
    return Solved(problem, model, cost, solve(model, cost, weights, gap=gap, seconds=seconds, budgets=limits))


def _model(problem: SupplyProblem) -> tuple[Model, np.ndarray]:
    """Return the program and the weight of each need's shortage."""
    model = build(problem)
    return model, short_weights(model, dict(zip(problem.terms["need"], problem.terms["kind"], strict=True)))


def _measure(problem: SupplyProblem, model: Model, aim: str) -> np.ndarray:
    """Return what an aim makes small, per unit of each variable."""
    out = np.zeros(model.size)
    gather = model.tables["gather"]
    if aim == "soil":
        # a Mg taken counts the more the nearer its take lies to what the zone can spare
        limit = problem.zones.get("removable_mg_ha", pd.Series(np.nan, problem.zones.index)).to_numpy(float)
        near = np.fmin(gather["removal_mg_ha"] / limit[gather["at"]], 1.0)
        out[model.block("gather")] = gather["dry_mg"] * near
    elif aim == "yards":
        out[model.block("open")] = 1.0
    elif aim == "habit":
        today = gather["field_id"].map(dict(problem.habit))
        out[model.block("gather")] = gather["dry_mg"] * (today != gather["method"])
    elif aim != "cost":
        raise ValueError(f"no such aim: {aim!r}")
    return out


def _read(problem: SupplyProblem, model: Model, solution: Solution) -> Choice:
    """Put the solver's numbers back into tables."""
    values = solution.values
    cost = pd.Series(
        {step: float(model.cost[step] @ values) for step in STEPS} if model.size else dict.fromkeys(STEPS, 0.0)
    )
    gather = model.tables["gather"].assign(share=values[model.block("gather")])
    gather = gather[gather["share"] * gather["dry_mg"] > _TINY_MG]
    zone_method = _zone_table(problem, gather)
    flows = _flow_table(problem, model, values, zone_method)
    yard_use = _yard_table(problem, model, values, flows)
    draw = model.tables["draw"].assign(dry_mg=values[model.block("draw")])
    draw = draw[draw["dry_mg"] > _TINY_MG]
    wrap_use = draw.assign(
        withdrawn_mg=draw["dry_mg"] * draw["left"], bales=draw["dry_mg"] * 1000 / draw["bale_dry_kg"]
    )
    wrap_use = wrap_use.groupby(
        ["need", "year", "month", "wrap", "base", "months_stored", "loss_pct"], as_index=False, sort=False
    )[["dry_mg", "withdrawn_mg", "bales"]].sum()
    wrap_use = wrap_use.sort_values(["year", "month", "need"], kind="stable").reset_index(drop=True)
    shortage = _shortage_table(problem, model, values)
    return Choice(
        zone_method=zone_method,
        flows=flows,
        yard_use=yard_use,
        wrap_use=wrap_use,
        cost=cost,
        shortage=shortage,
        withdrawn_mg=float(wrap_use["withdrawn_mg"].sum()),
        baled_mg=float(zone_method["removal_mg"].sum()),
        gap=solution.gap,
        bound=solution.bound,
        status=solution.status,
    )


def _zone_table(problem: SupplyProblem, gather: pd.DataFrame) -> pd.DataFrame:
    """Return what is gathered of each zone, see `Choice.zone_method`."""
    # rounding by the solver may leave a crumb of a second method; the larger stays
    main = gather.sort_values("share", ascending=False, kind="stable").drop_duplicates("zone_id")
    columns = ["zone_id", "method", "share", "dry_mg", "removal_mg_ha", "bale_dry_kg", "edge_cost_mg"]
    zones = problem.zones[["zone_id", "field_id", "area_ha"]].merge(main[columns], on="zone_id", how="left")
    zones = zones.fillna({"method": "leave", "share": 0.0, "dry_mg": 0.0, "removal_mg_ha": 0.0})
    zones["share"] = zones["share"].clip(upper=1.0)
    zones["area_ha"] *= zones["share"]
    zones["removal_mg"] = zones["share"] * zones["dry_mg"]
    # a plan in tons holds parts of bales besides
    bales = zones["removal_mg"] * 1000 / zones["bale_dry_kg"] + 1e-6
    columns = ["zone_id", "field_id", "method", "share", "area_ha", "removal_mg_ha", "removal_mg", "bales"]
    return zones.assign(bales=bales.fillna(0).astype(int))[[*columns, "bale_dry_kg", "edge_cost_mg"]]


def _flow_table(problem: SupplyProblem, model: Model, values: np.ndarray, zone_method: pd.DataFrame) -> pd.DataFrame:
    """Return what is carried from where to where, see `Choice.flows`."""
    part = model.block("flow")
    flow = model.tables["flow"].assign(dry_mg=values[part], cost=model.cost["haul"][part] * values[part])
    flow = flow[flow["dry_mg"] > _TINY_MG]
    flow = flow.groupby(["at", "yard"], as_index=False).agg({"dry_mg": "sum", "cost": "sum", "distance_m": "first"})
    flow = flow.assign(
        zone_id=problem.zones["zone_id"].to_numpy()[flow["at"]],
        yard_id=problem.yards["yard_id"].to_numpy()[flow["yard"]],
    )
    whole = zone_method.set_index("zone_id")["bales"]
    bales = np.zeros(len(flow), dtype=int)
    for zone_id, at in flow.groupby("zone_id").indices.items():
        bales[at] = share_out(int(whole[zone_id]), flow["dry_mg"].to_numpy()[at])
    return flow.assign(bales=bales)[["zone_id", "yard_id", "dry_mg", "bales", "distance_m", "cost"]]


def _next_prices(model: Model, cost: np.ndarray, solution: Solution) -> pd.DataFrame:
    """Return the shadow prices of the needs and of the machines' hours."""
    prices = shadow_prices(model, cost, solution) if model.size else {}
    short = model.tables["short"]
    met = solution.values[model.block("short")] <= _SHORT_MG
    if not prices:
        return pd.DataFrame(columns=_NEXT)
    needs = short.assign(kind="need", what=short["need"], price=prices["need"])[met]
    hours = [
        ("hours", name.removeprefix("hours "), 0, 0, -float(p[0]))
        for name, p in prices.items()
        if name.startswith("hours ")
    ]
    return pd.DataFrame([*needs[_NEXT].itertuples(index=False, name=None), *hours], columns=_NEXT)


def share_out(count: int, masses: np.ndarray) -> np.ndarray:
    """Return whole numbers in proportion to masses that sum to a count (largest remainders)."""
    exact = count * masses / masses.sum()
    out = np.floor(exact + 1e-9).astype(int)
    spare = count - int(out.sum())
    out[np.argsort(out - exact, kind="stable")[:spare]] += 1
    return out


def _yard_table(problem: SupplyProblem, model: Model, values: np.ndarray, flows: pd.DataFrame) -> pd.DataFrame:
    """Return what each used yard holds and costs, see `Choice.yard_use`."""
    store, opened = model.tables["store"], model.tables["open"]
    spent = np.zeros(len(problem.yards))
    np.add.at(spent, store["yard"].to_numpy(int), (model.cost["base"] * values)[model.block("store")])
    np.add.at(spent, opened["yard"].to_numpy(int), (model.cost["yard"] * values)[model.block("open")])
    use = flows.groupby("yard_id", sort=False)[["bales", "dry_mg"]].sum()
    yards = problem.yards[["yard_id", "capacity_bales"]].assign(cost=spent)
    out = yards.merge(use, left_on="yard_id", right_index=True, how="inner")
    out = out.assign(full=out["bales"] / out["capacity_bales"])
    return out[["yard_id", "bales", "capacity_bales", "full", "dry_mg", "cost"]].reset_index(drop=True)


def _shortage_table(problem: SupplyProblem, model: Model, values: np.ndarray) -> pd.DataFrame:
    """Return what cannot be had, see `Choice.shortage`."""
    table = model.tables["short"].assign(dry_mg=values[model.block("short")])
    kinds = dict(zip(problem.terms["need"], problem.terms["kind"], strict=True))
    table = table[table["dry_mg"] > _SHORT_MG].reset_index(drop=True)
    table["kind"] = table["need"].map(kinds)
    return table.assign(bales=_bales_short(problem, table))[["need", "kind", "month", "year", "dry_mg", "bales"]]


def _bales_short(problem: SupplyProblem, short: pd.DataFrame) -> np.ndarray:
    """Whole bales lacking, by the need's own count where it has one; a need's months are rounded together."""
    exact = short["dry_mg"].to_numpy(float) * 1000 / problem.bale_dry_kg
    if "bales" in problem.need:
        own = problem.need.set_index(["need", "year", "month"])
        keys = list(zip(short["need"], short["year"], short["month"], strict=True))
        exact = short["dry_mg"].to_numpy(float) * np.array([own.at[k, "bales"] / own.at[k, "dry_mg"] for k in keys])
    out = np.zeros(len(short), dtype=int)
    for at in short.groupby("need").indices.values():
        out[at] = share_out(int(np.ceil(exact[at].sum() - 1e-3)), exact[at])
    return out


def with_yield(problem: SupplyProblem, change: float) -> SupplyProblem:
    """Return the problem with stover on every zone changed by a share, and what must stay unchanged.

    The limit falls by the whole loss, as what must stay does not shrink with the crop; takes
    that then exceed it are no longer allowed.

    Parameters
    ----------
    problem : SupplyProblem
        Its zones need stover_mg_ha and removable_mg_ha.
    change : float
        -0.15 for 15 % less.
    """
    zones = problem.zones
    limit = (zones["removable_mg_ha"] + change * zones["stover_mg_ha"]).clip(lower=0)
    limits: Mapping[str, float] = dict(zip(zones["zone_id"], limit, strict=True))
    offers = problem.offers.assign(removal_mg_ha=problem.offers["removal_mg_ha"] * (1 + change))
    fits = offers["removal_mg_ha"] <= offers["zone_id"].map(limits) * (1 + 1e-9)
    offers = offers.assign(allowed=offers["allowed"].astype(bool) & fits)
    return replace(
        problem,
        offers=offers,
        zones=zones.assign(removable_mg_ha=limit, stover_mg_ha=zones["stover_mg_ha"] * (1 + change)),
    )
