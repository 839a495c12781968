"""A plan in whole bales: what zones give, yards hold and needs draw, as integers that add up.

The program of `stovergeo.supply.model` shares out tons. Here its plan is rounded once, by a small integer program
that stays as near to it as whole bales allow: no zone gives more than it holds, no yard and no machine is asked for
more than it has, every bale that comes to a yard is drawn from it, and a need that was met stays met by whole bales.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stovergeo.supply.model import Model
from stovergeo.supply.problem import SupplyProblem
from stovergeo.supply.solve import NoAnswerError, Solution

_TINY_BALES = 1e-4
_SECONDS = 20.0
_MISSED = 1e3  # a dry Mg of a need missed weighs as much as so many bales moved elsewhere


@dataclass(frozen=True, slots=True)
class WholeBales:
    """The plan's bales. Both tables have the same sums by yard, wrap and base."""

    stored: pd.DataFrame  #: zone_id, method, yard_id, wrap, base, bales: the atom of every count in the plan
    withdrawals: pd.DataFrame  #: yard_id, wrap, base, need, year, month, bales


def whole_bales(problem: SupplyProblem, model: Model, solution: Solution) -> tuple[Solution, WholeBales]:
    """Return the plan with every mass a whole number of bales, and those bales.

    Parameters
    ----------
    problem : SupplyProblem
    model : Model
    solution : Solution
        As `solve` found it.

    Returns
    -------
    Solution
        The same decisions; what is gathered, carried, stored and drawn is worth whole bales, and what whole bales
        cannot meet is short.
    WholeBales

    Raises
    ------
    NoAnswerError
        When the solver ends without a plan, which cannot be as long as nothing at all may be gathered.
    """
    stored, drawn = _stored(model, solution.values), _drawn(model, solution.values)
    if stored.empty:
        return solution, WholeBales(*_named(problem, stored.assign(bales=0), drawn.assign(bales=0)))
    n, m = len(stored), len(drawn)
    found = _program(problem, model, solution.values, stored, drawn)
    stored, drawn = stored.assign(bales=found[:n].astype(int)), drawn.assign(bales=found[n : n + m].astype(int))
    values = solution.values.copy()
    for name, table in (("flow", stored), ("store", stored), ("draw", drawn), ("gather", stored)):
        mass = table["bales"] * table["bale_dry_kg"] / 1000
        values[model.block(name)] = np.bincount(table[name], weights=mass, minlength=len(model.tables[name]))
    values[model.block("gather")] /= model.tables["gather"]["dry_mg"].to_numpy()
    values[model.block("short")] += found[n + m :]
    return replace(solution, values=values), WholeBales(*_named(problem, stored, drawn))


def _with_values(model: Model, name: str, values: np.ndarray, column: str) -> pd.DataFrame:
    """Return the table of a block of variables, numbered, with what the plan sets them to."""
    table = model.tables[name]
    return table.assign(**{name: np.arange(len(table)), column: values[model.block(name)]})


def _stored(model: Model, values: np.ndarray) -> pd.DataFrame:
    """Return what each zone puts into each yard in each storage option, in bales not yet whole."""
    gather = _with_values(model, "gather", values, "share")
    # a crumb of a second method, left by the solver's rounding, goes with the larger
    gather = gather.sort_values("share", ascending=False, kind="stable").drop_duplicates(["at", "grade"])
    flow, store = _with_values(model, "flow", values, "mg"), _with_values(model, "store", values, "kept")
    store = store.assign(part=store["kept"] / store.groupby(["yard", "grade"])["kept"].transform("sum"))
    both = flow[["at", "grade", "yard", "flow", "mg", "bale_dry_kg"]].merge(
        store[["yard", "grade", "store", "option", "wrap", "base", "part"]], on=["yard", "grade"]
    )
    both = both.assign(exact=both["mg"] * both["part"] * 1000 / both["bale_dry_kg"])
    both = both[both["exact"] > _TINY_BALES]
    return both.merge(gather[["at", "grade", "gather", "method", "dry_mg", "area_ha"]], on=["at", "grade"]).reset_index(
        drop=True
    )


def _drawn(model: Model, values: np.ndarray) -> pd.DataFrame:
    """Return what each need withdrawals in each month from each yard and storage option, in bales not yet whole."""
    store, draw = _with_values(model, "store", values, "kept"), _with_values(model, "draw", values, "mg")
    draw = draw.assign(part=draw["mg"] / draw.groupby(["grade", "option"])["mg"].transform("sum"))
    both = store[["yard", "grade", "option", "wrap", "base", "kept", "bale_dry_kg"]].merge(
        draw[["grade", "option", "draw", "short", "need", "year", "month", "left", "part"]], on=["grade", "option"]
    )
    both = both.assign(exact=both["kept"] * both["part"] * 1000 / both["bale_dry_kg"])
    return both[both["exact"] > _TINY_BALES].reset_index(drop=True)


def _program(
    problem: SupplyProblem, model: Model, values: np.ndarray, stored: pd.DataFrame, drawn: pd.DataFrame
) -> np.ndarray:
    """Return whole bales of each row of both tables, then the Mg that each month misses, as near the plan as can be.

    Variables: bales stored, bales drawn, Mg missed by month, and how far each count lies from the plan.
    """
    n, m = len(stored), len(drawn)
    short = model.tables["short"]
    s, exact = len(short), np.concatenate([stored["exact"], drawn["exact"]])
    size = n + m + s + n + m
    limits: list[LinearConstraint] = []

    def limit(rows: np.ndarray, columns: np.ndarray, weights: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
        a = sparse.csr_array((weights, (rows, columns)), shape=(len(high), size))
        limits.append(LinearConstraint(a, low, high))

    at_stored, at_drawn = np.arange(n), n + np.arange(m)
    # a zone gives no more bales than it holds, a yard takes no more than its rows
    zone = stored["gather"].to_numpy()
    held = (stored["dry_mg"] * 1000 / stored["bale_dry_kg"]).to_numpy()
    zones, which = np.unique(zone, return_inverse=True)
    room = np.floor(pd.Series(held).groupby(which).first().to_numpy() + 1e-6)
    limit(which, at_stored, np.ones(n), np.zeros(len(zones)), room)
    yards, which = np.unique(stored["yard"], return_inverse=True)
    limit(which, at_stored, np.ones(n), np.zeros(len(yards)), problem.yards["capacity_bales"].to_numpy(float)[yards])
    # what is stored in a yard in one way is what is drawn from it
    keys = pd.concat([stored[["yard", "grade", "option"]], drawn[["yard", "grade", "option"]]])
    code = keys.groupby(["yard", "grade", "option"]).ngroup().to_numpy()
    none = np.zeros(code.max() + 1)
    limit(code, np.concatenate([at_stored, at_drawn]), np.repeat([1.0, -1.0], [n, m]), none, none)
    # up to each month a need has what it would have had, or misses it
    wanted = short["dry_mg"].to_numpy(float) - values[model.block("short")]
    until = _until(short)
    worth = (drawn["left"] * drawn["bale_dry_kg"] / 1000).to_numpy()
    rows, columns = until[:, drawn["short"]].nonzero()
    late, missed = until.nonzero()
    limit(
        np.concatenate([rows, late]),
        np.concatenate([at_drawn[columns], n + m + missed]),
        np.concatenate([worth[columns], np.ones(len(late))]),
        until @ wanted - 1e-6,
        np.full(s, np.inf),
    )
    # the hours of each machine
    capacity = problem.capacity
    for machine, hours in capacity.hours.items():
        per_ha, per_bale = capacity.needed(stored["method"], machine)
        use = per_bale + per_ha * stored["area_ha"].to_numpy() / held
        limit(np.zeros(n, int), at_stored, use, np.zeros(1), np.array([hours + 1e-6]))
    # how far each count lies from the plan, either way
    k = n + m
    both, far = np.arange(k), k + s + np.arange(k)
    for sign in (1.0, -1.0):
        weights = np.repeat([sign, -1.0], k)
        limit(np.tile(both, 2), np.concatenate([both, far]), weights, np.full(k, -np.inf), sign * exact)
    # no month withdrawals a bale more than its part of one: early withdrawals must not make up for what is short later
    top = np.concatenate([np.full(n, np.inf), np.floor(exact[n:] + 1e-6) + 1, np.full(size - k, np.inf)])
    result = milp(
        np.concatenate([np.zeros(k), np.full(s, _MISSED), np.ones(k)]),
        constraints=limits,
        integrality=np.repeat([1, 0], [k, size - k]),
        bounds=Bounds(np.zeros(size), top),
        options={"time_limit": _SECONDS, "mip_rel_gap": 1e-4},
    )
    if result.x is None:
        raise NoAnswerError(f"the plan could not be put into whole bales: {result.message}")
    found = result.x[: k + s]
    found[:k] = np.rint(found[:k])
    return np.asarray(np.where(np.abs(found) < 1e-9, 0.0, found))


def _until(short: pd.DataFrame) -> np.ndarray:
    """Return for each need and month (rows) which months of the same need lie up to it."""
    when = short["year"].to_numpy(int) * 12 + short["month"].to_numpy(int)
    need = short["need"].to_numpy()
    return ((need[:, None] == need[None, :]) & (when[:, None] >= when[None, :])).astype(float)


def _named(problem: SupplyProblem, stored: pd.DataFrame, drawn: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return both tables with the names of zones and yards, rows of no bale left out."""
    zones, yards = problem.zones["zone_id"].to_numpy(), problem.yards["yard_id"].to_numpy()
    stored = stored.assign(zone_id=zones[stored["at"].astype(int)], yard_id=yards[stored["yard"].astype(int)])
    drawn = drawn.assign(yard_id=yards[drawn["yard"].astype(int)])
    return _summed(stored, ["zone_id", "method", "yard_id", "wrap", "base"]), _summed(
        drawn, ["year", "month", "need", "yard_id", "wrap", "base"]
    ).sort_values(["year", "month", "need"], kind="stable", ignore_index=True)


def _summed(table: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    return table[table["bales"] > 0].groupby(keys, as_index=False, sort=False)["bales"].sum()
