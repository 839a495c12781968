"""The variables of the choice, block by block, as tables: one row a variable.

Which pairs are worth a variable is decided here; `stovergeo.supply.model` prices and binds them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from stovergeo.supply.problem import BARE, SupplyProblem, by_method


def with_grades(problem: SupplyProblem, offers: pd.DataFrame, withdrawals: pd.DataFrame) -> pd.DataFrame:
    """Return the offers with a number for what their bales are good for: which needs, how long, how heavy."""
    terms = problem.terms.set_index("need")
    wanted = list(dict.fromkeys(withdrawals["need"]))
    limits = [(n, terms.loc[n, "moisture_max_pct"], terms.loc[n, "ash_max_pct"]) for n in wanted]
    offers = offers.assign(
        serves=[
            tuple(need for need, moisture_max, ash_max in limits if moisture <= moisture_max and ash <= ash_max)
            for moisture, ash in zip(offers["moisture_pct"], offers["ash_pct"], strict=True)
        ],
        wet=offers["moisture_pct"] > problem.wet_pct,
        weight=offers["bale_dry_kg"].round(3),
    )
    offers = offers[np.array([bool(s) for s in offers["serves"]], dtype=bool)].reset_index(drop=True)
    alike = offers.groupby(["serves", "wet", "weight"], sort=False)
    return offers.assign(grade=alike.ngroup(), weight=alike["bale_dry_kg"].transform("first"))


def setups(problem: SupplyProblem, gather: pd.DataFrame) -> pd.DataFrame:
    """Return the pairs of field and method whose set-up costs something."""
    pairs = gather[["field_id", "method"]].drop_duplicates().reset_index(drop=True)
    pairs = pairs.assign(price=by_method(pairs["method"], problem.prices.method_setup))
    return pairs[pairs["price"] > 0].reset_index(drop=True)


def arcs(problem: SupplyProblem, gather: pd.DataFrame) -> pd.DataFrame:
    """Return pairs of zone and yard: the nearest of each zone that a route leads to, for each of its grades."""
    route = problem.distance_m.astype(float).copy()
    shut = problem.yards["yard_id"].isin(problem.no_go_yards).to_numpy() | (
        problem.yards["capacity_bales"].to_numpy() <= 0
    )
    route[:, shut] = np.inf
    near = np.argsort(route, axis=1, kind="stable")[:, : problem.nearest]
    grades = gather[["at", "grade", "bale_dry_kg"]].drop_duplicates(["at", "grade"])
    frame = grades.loc[grades.index.repeat(near.shape[1])].reset_index(drop=True)
    frame["yard"] = near[grades["at"]].ravel()
    frame["distance_m"] = route[frame["at"], frame["yard"]]
    return frame[np.isfinite(frame["distance_m"])].reset_index(drop=True)


def storage_options(problem: SupplyProblem) -> pd.DataFrame:
    """Return the storage options, numbered, with their costs a bale; those refused carry no loss and are out."""
    kept = problem.storage[problem.storage["loss_pct"].notna()]
    options = kept.groupby(["wrap", "base"], sort=False, as_index=False)[["wrap_cost", "base_cost", "time_cost"]].mean()
    return options.assign(option=np.arange(len(options)))


def stored(problem: SupplyProblem, arcs: pd.DataFrame, keep: pd.DataFrame) -> pd.DataFrame:
    """Return what may lie in a yard: grade by storage option; bare ground is what the yard's ground is."""
    pairs = arcs[["yard", "grade", "bale_dry_kg"]].drop_duplicates(["yard", "grade"])
    yards = problem.yards.assign(yard=np.arange(len(problem.yards)))
    if "ground" not in yards:
        yards = yards.assign(ground="soil")
    frame = pairs.merge(keep, how="cross").merge(
        yards[["yard", "ground", "base", "base_cost", "capacity_bales"]], on="yard", suffixes=("", "_yard")
    )
    frame = frame[~frame["base"].isin(BARE) | (frame["base"] == frame["ground"])]
    # a pad drawn for the yard is paid for by the share of it that is used
    pad = (frame["base"] == frame["base_yard"]) & (frame["base_cost_yard"] > 0)
    each = frame["base_cost_yard"] / frame["capacity_bales"].clip(lower=1)
    return frame.assign(base_cost=np.where(pad, each, frame["base_cost"])).reset_index(drop=True)


def drawn(
    problem: SupplyProblem, stored: pd.DataFrame, serves: pd.DataFrame, withdrawals: pd.DataFrame
) -> pd.DataFrame:
    """Return what may be drawn: grade and storage option for each need and month, yards being alike by then."""
    kinds = stored[["grade", "option", "wrap", "base"]].drop_duplicates(["grade", "option"])
    frame = kinds.merge(withdrawals.assign(short=np.arange(len(withdrawals))), how="cross")
    able = serves.set_index(["grade", "need"]).index
    frame = frame[pd.MultiIndex.from_frame(frame[["grade", "need"]]).isin(able)]
    wet = frame["grade"].map(serves.drop_duplicates("grade").set_index("grade")["wet"]).astype(bool)
    frame = frame[~wet | (frame["months_stored"] <= problem.wet_months)]
    loss = problem.storage[["wrap", "base", "year", "month", "loss_pct"]]
    frame = frame.merge(loss, on=["wrap", "base", "year", "month"], how="inner")
    weight = serves.drop_duplicates("grade").set_index("grade")["weight"]
    frame = frame.assign(left=1 - frame["loss_pct"] / 100, bale_dry_kg=frame["grade"].map(weight))
    return frame[frame["loss_pct"].notna()].reset_index(drop=True)


def serves(offers: pd.DataFrame) -> pd.DataFrame:
    """Return grade by need it is good for, with wet and weight."""
    rows = offers.drop_duplicates("grade")[["grade", "serves", "wet", "weight"]]
    return rows.explode("serves").rename(columns={"serves": "need"}).reset_index(drop=True)
