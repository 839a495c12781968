"""What each contract brings and costs; those that would be filled at a loss are left out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.supply.choice import Choice, optimize
from stovergeo.supply.messages import message
from stovergeo.supply.problem import SupplyProblem

#: need, made (whether it is filled), dry_mg (delivered), prices ($/Mg), revenue, added cost and profit ($)
COLUMNS = ["need", "made", "dry_mg", "price_per_mg", "revenue", "added_cost", "profit", "pays_from_per_mg"]
_LEAST_MG = 1e-3


def without_losses(
    problem: SupplyProblem, obliged: Collection[str] = (), *, gap: float = 1e-6
) -> tuple[SupplyProblem, pd.DataFrame]:
    """Leave out contracts whose price does not cover what their tons add to the cost, the greatest loss first.

    What a contract adds is the cost of the season with it, less that without it: its tons are the last ones gathered,
    and share the yards and machines that other needs pay for.

    Parameters
    ----------
    problem : SupplyProblem
    obliged : collection of str
        Names of contracts that are filled whatever they cost.
    gap : float
        Relative gap at which the solver may stop.

    Returns
    -------
    SupplyProblem
        Without the needs that were left out.
    DataFrame
        One row a contract with a price, see `COLUMNS`; with its price unmet, ``dry_mg`` is what it would have had.
    """
    priced = problem.terms[(problem.terms["kind"] == "contract") & problem.terms["price_per_mg"].notna()]
    names, left_out = list(priced["need"]), pd.DataFrame(columns=COLUMNS)
    while True:
        whole = optimize(problem, gap=gap) if names else None
        rows = pd.DataFrame([_account(problem, whole, name, gap) for name in names if whole], columns=COLUMNS)
        losses = rows[(rows["profit"] < 0) & ~rows["need"].isin(list(obliged)) & (rows["dry_mg"] > _LEAST_MG)]
        if losses.empty:
            found = [table for table in (rows, left_out) if len(table)]
            table = pd.concat(found, ignore_index=True) if found else rows
            order = {name: place for place, name in enumerate(priced["need"])}
            return problem, table.sort_values("need", key=lambda n: n.map(order), ignore_index=True)
        worst = losses.loc[losses["profit"].idxmin()]
        row = worst.to_frame().T.assign(made=False)
        left_out = row if left_out.empty else pd.concat([left_out, row])
        names.remove(worst["need"])
        problem = replace(_without(problem, worst["need"]), unpaid=problem.unpaid | {worst["need"]})


def contract_messages(contracts: pd.DataFrame) -> list[Message]:
    """Return what each contract brings: its profit and from which price it pays, or why it is left out."""
    found = []
    for row in contracts.itertuples():
        figures = {"need": row.need, "price": float(row.price_per_mg), "from_price": float(row.pays_from_per_mg)}
        if not row.dry_mg > _LEAST_MG:
            found.append(message("contract.none", need=row.need))
        elif not row.made:
            found.append(message("contract.left_out", **figures))
        elif row.profit < 0:
            found.append(message("contract.loses", **figures, loss=-float(row.profit)))
        else:
            found.append(message("contract.pays", **figures, profit=float(row.profit)))
    return found


def _account(problem: SupplyProblem, whole: Choice, name: str, gap: float) -> tuple[object, ...]:
    """Return a contract's row: what it brings, and what the season would cost without it."""
    price = float(problem.terms.set_index("need").at[name, "price_per_mg"])
    dry_mg = float(whole.wrap_use.loc[whole.wrap_use["need"] == name, "withdrawn_mg"].sum())
    added = whole.total_cost - optimize(_without(problem, name), gap=gap).total_cost
    pays_from = added / dry_mg if dry_mg > _LEAST_MG else np.nan
    return name, True, dry_mg, price, price * dry_mg, added, price * dry_mg - added, pays_from


def _without(problem: SupplyProblem, name: str) -> SupplyProblem:
    """Return the problem without a need."""
    need, terms = problem.need, problem.terms
    return replace(problem, need=need[need["need"] != name], terms=terms[terms["need"] != name])
