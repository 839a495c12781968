"""Solving the program on HiGHS: first as little short as can be, then at the least cost."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from stovergeo.core.errors import StovergeoError
from stovergeo.supply.model import Model

#: $ for each weighted Mg short beyond the least possible; dearer than a yard opened for a few kilograms
_SHORT = 1e6
_BROKE_OFF = 4  # status of a run that met trouble in its arithmetic: presolve leads it another way
_SLACK_MG = 1e-5  # ten grams: finer than any bale, coarser than the tolerance of the solver
_REACHED_MG = 1e-4
#: herds before contracts, when not both can be had
_WEIGHT = {"herd": 10.0, "contract": 1.0}


class NoAnswerError(StovergeoError, RuntimeError):
    """The solver ended without any plan, which an elastic program should never do."""


@dataclass(frozen=True, slots=True)
class Solution:
    """Values of all variables, with what is proved of them."""

    values: np.ndarray
    objective: float  #: of the cost asked for, penalties left out
    bound: float  #: no plan can cost less
    status: str  #: "optimal" within the gap, or "best found in time"

    @property
    def gap(self) -> float:
        """Proved distance to the best possible plan, as a share of the objective."""
        return max(0.0, (self.objective - self.bound) / max(abs(self.objective), 1e-9))


def short_weights(model: Model, kinds: dict[str, str]) -> np.ndarray:
    """Return the weight of each Mg short, zero for other variables."""
    weights = np.zeros(model.size)
    weights[model.block("short")] = [_WEIGHT[kinds[n]] for n in model.tables["short"]["need"]]
    return weights


def least_short(model: Model, weights: np.ndarray) -> tuple[float, np.ndarray]:
    """Return the least weighted shortage of the relaxed program, and the point that reaches it.

    Whole variables are relaxed: a share of a zone may be gathered as well by one method as
    by two, and yards open by halves hold no more than whole ones, so nearly always nothing
    is lost; the elastic program absorbs what little may be.
    """
    if model.size == 0:
        return 0.0, np.empty(0)
    a, b, _ = _sides(model)
    solved = linprog(weights, A_ub=a, b_ub=b, bounds=np.column_stack([np.zeros(model.size), model.top]), method="highs")
    if solved.x is None:
        raise NoAnswerError(f"the supply program could not be solved: {solved.message}")
    return float(solved.fun), solved.x


def _sides(model: Model) -> tuple[sparse.csr_array, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """All rows as upper bounds, as linprog wants them, and which rows they came from."""
    up, down = np.flatnonzero(np.isfinite(model.high)), np.flatnonzero(np.isfinite(model.low))
    a = sparse.vstack([model.rows[up], -model.rows[down]]).tocsr()
    return a, np.concatenate([model.high[up], -model.low[down]]), (up, down)


def solve(
    model: Model,
    cost: np.ndarray,
    weights: np.ndarray,
    *,
    gap: float,
    seconds: float,
    budgets: Sequence[tuple[np.ndarray, float]] = (),
) -> Solution:
    """Minimize a cost among the plans that are as little short as can be.

    The relaxed program tells the least shortage at once. A plan that reaches it is nearly
    always found in one run; where whole decisions stand in the way, the least shortage is
    sought among whole plans first, and then the least cost.

    Parameters
    ----------
    model : Model
    cost : array
        $ per unit of each variable, or another measure.
    weights : array
        Of the shortage (`short_weights`).
    gap : float
        Relative gap at which to stop.
    seconds : float
        Time at which to stop and return the best plan found, with its gap.
    budgets : sequence of (array, float)
        Further measures that must stay at or under a number.

    Returns
    -------
    Solution
        Where the time ends before the solver has any plan, one rounded from the relaxed
        program, with the gap that leaves.

    Raises
    ------
    NoAnswerError
        When the budgets leave no plan at all.
    """
    if model.size == 0:
        return Solution(np.empty(0), 0.0, 0.0, "optimal")
    short, _ = least_short(model, weights)
    end = time.monotonic() + seconds
    found, extra = _run(model, cost, weights, short, gap, seconds, budgets)
    if extra > _REACHED_MG:
        least, _ = _run(model, weights, weights, np.inf, 1e-5, max(1.0, (end - time.monotonic()) / 2), budgets)
        reached = float(weights @ least.values)
        found, _ = _run(model, cost, weights, reached, gap, max(1.0, end - time.monotonic()), budgets)
    return found


def _run(
    model: Model,
    cost: np.ndarray,
    weights: np.ndarray,
    short: float,
    gap: float,
    seconds: float,
    budgets: Sequence[tuple[np.ndarray, float]],
) -> tuple[Solution, float]:
    """One run of the solver; also what the plan is short beyond what was free, weighted Mg."""
    # one more variable: shortage beyond what is free, dearer than any stover
    rows = [sparse.hstack([model.rows, sparse.csr_array((model.rows.shape[0], 1))])]
    rows.append(sparse.csr_array(np.append(weights, -1.0)[None, :]))
    rows += [sparse.csr_array(np.append(measure, 0.0)[None, :]) for measure, _ in budgets]
    low = np.concatenate([model.low, np.full(1 + len(budgets), -np.inf)])
    high = np.concatenate([model.high, [short + _SLACK_MG, *(number for _, number in budgets)]])
    asked = {
        "c": np.append(cost, _SHORT),
        "constraints": LinearConstraint(sparse.vstack(rows).tocsc(), low, high),
        # as quick without presolve, and its whole plans then seldom need mending
        "options": {"mip_rel_gap": gap, "time_limit": seconds, "presolve": False},
    }
    top, whole = np.append(model.top, np.inf), np.append(model.whole, False)
    result = milp(**asked, bounds=Bounds(np.zeros(len(top)), top), integrality=whole.astype(int))
    if result.x is None and result.status == _BROKE_OFF:
        again = asked | {"options": asked["options"] | {"presolve": True}}
        result = milp(**again, bounds=Bounds(np.zeros(len(top)), top), integrality=whole.astype(int))
    status = "optimal" if result.status == 0 else "best found in time"
    bound = result.mip_dual_bound
    if result.x is None and result.status == 1:
        relaxed = milp(**asked | {"options": {}}, bounds=Bounds(np.zeros(len(top)), top))
        bound = relaxed.fun
        floor, ceiling = _rounded(model, relaxed.x)
        result = milp(**asked | {"options": {}}, bounds=Bounds(floor, ceiling))
    if result.x is None:
        raise NoAnswerError(f"the solver found no plan: {result.message}")
    values = np.clip(result.x[:-1], 0.0, model.top)
    values[model.whole] = np.rint(values[model.whole])
    objective = float(cost @ values)
    bound = objective if bound is None else min(float(bound), objective)
    return Solution(values, objective, bound, status), float(result.x[-1])


def _rounded(model: Model, relaxed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bounds that fix whole decisions near a relaxed point: every yard and set-up it touches, one method a zone."""
    floor, top = np.zeros(model.size + 1), np.append(model.top, np.inf)
    for name in ("setup", "open"):
        part = model.block(name)
        floor[part] = top[part] = relaxed[part] > 1e-7
    part, take = model.block("take"), model.tables["take"]
    if len(take):
        share = pd.Series(relaxed[part], index=take.index)
        picked = share.groupby(take["at"]).idxmax()
        floor[part] = top[part] = take.index.isin(picked)
    return floor, top


def shadow_prices(model: Model, cost: np.ndarray, solution: Solution) -> dict[str, np.ndarray]:
    """Return the cost of one more unit on the right of each row, with the whole decisions kept.

    Parameters
    ----------
    model, cost : as for `solve`
    solution : Solution

    Returns
    -------
    dict
        Group of rows -> $ per unit (need: per dry Mg drawn; hours: per hour, as a saving).
    """
    top = np.where(model.whole, solution.values, model.top)
    floor = np.where(model.whole, solution.values, 0.0)
    # what is short stays short: its price is not the price of stover
    part = model.block("short")
    top[part] = np.minimum(top[part], solution.values[part] + 1e-9)
    a, b, (up, down) = _sides(model)
    # whole decisions come rounded: a hair of room keeps the rest from being refused
    solved = linprog(cost, A_ub=a, b_ub=b + 1e-9, bounds=np.column_stack([floor, top]), method="highs")
    if solved.x is None:
        return {}
    both = np.zeros(model.rows.shape[0])
    both[up] += solved.ineqlin.marginals[: len(up)]
    both[down] -= solved.ineqlin.marginals[len(up) :]
    return {name: both[at] for name, at in model.groups.items()}
