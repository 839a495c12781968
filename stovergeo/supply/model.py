"""The choice as a mixed-integer linear program; written out in docs/choice-model.md.

Names follow that page: g gathered share, x method taken, u set-up paid, f flow, a stored,
o yard open, s drawn, short what is lacking.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import sparse

from stovergeo.supply import blocks
from stovergeo.supply.problem import SupplyProblem, by_method

#: the cost steps a plan is broken into, in the order in which a bale meets them
STEPS = ("gather", "bale", "set_up", "nutrients", "land", "haul", "yard", "wrap", "base", "deliver")


@dataclass(slots=True)
class Model:
    """min cost @ v subject to low <= rows @ v <= high, 0 <= v <= top, some v whole."""

    size: int = 0
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)  #: what each block of variables stands for
    first: dict[str, int] = field(default_factory=dict)  #: where it starts
    cost: dict[str, np.ndarray] = field(default_factory=dict)  #: step -> $ per unit of each variable
    top: np.ndarray = field(default_factory=lambda: np.empty(0))
    whole: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=bool))
    rows: sparse.csr_array = field(default_factory=lambda: sparse.csr_array((0, 0)))
    low: np.ndarray = field(default_factory=lambda: np.empty(0))
    high: np.ndarray = field(default_factory=lambda: np.empty(0))
    groups: dict[str, np.ndarray] = field(default_factory=dict)  #: row numbers by what they say

    def block(self, name: str) -> slice:
        """Return where a block of variables stands."""
        return slice(self.first[name], self.first[name] + len(self.tables[name]))

    def total_cost(self) -> np.ndarray:
        """Return $ per unit of each variable, all steps together."""
        return np.sum(list(self.cost.values()), axis=0)


class _Rows:
    """Collects constraint rows as triplets."""

    def __init__(self, model: Model) -> None:
        self.model, self.count = model, 0
        self.at = {name: model.first[name] + np.arange(len(table)) for name, table in model.tables.items()}
        self.triplets: list[tuple[np.ndarray, ...]] = []
        self.bounds: list[tuple[np.ndarray, ...]] = []
        self.groups: dict[str, np.ndarray] = {}

    def add(self, group: str, n: int, low: ArrayLike, high: ArrayLike, *terms: tuple[ArrayLike, ...]) -> None:
        """Add n rows; each term is (row within the group, variable, coefficient)."""
        if n == 0:
            return
        for row, column, weight in terms:
            self.triplets.append(np.broadcast_arrays(np.asarray(row) + self.count, column, np.asarray(weight, float)))
        self.bounds.append((np.broadcast_to(low, n), np.broadcast_to(high, n)))
        self.groups[group] = np.arange(self.count, self.count + n)
        self.count += n

    def under(self, group: str, variables: np.ndarray, limits: np.ndarray, times: ArrayLike = 1.0) -> None:
        """Hold each variable under another one, so many times."""
        n = len(variables)
        self.add(group, n, -np.inf, 0.0, (np.arange(n), variables, 1.0), (np.arange(n), limits, -np.asarray(times)))

    def balance(self, group: str, keys: list[str], source: str, into: str, amount: ArrayLike = 1.0) -> None:
        """Let what comes from a block of variables, each so much, be what goes into another, by their keys."""
        one, other = (self.model.tables[name][keys] for name in (source, into))
        code = pd.concat([one, other]).groupby(keys).ngroup().to_numpy()
        given, taken = (code[: len(one)], self.at[source], amount), (code[len(one) :], self.at[into], -1.0)
        self.add(group, int(code.max(initial=-1)) + 1, 0.0, 0.0, given, taken)

    def finish(self) -> None:
        """Hand the rows over to the model."""
        model, size = self.model, (self.count, self.model.size)
        model.groups = self.groups
        if not self.triplets:
            model.rows = sparse.csr_array(size)
            return
        row, column, weight = (np.concatenate(part) for part in zip(*self.triplets, strict=True))
        model.rows = sparse.csr_array((weight, (row, column)), shape=size)
        model.low, model.high = (np.concatenate(part) for part in zip(*self.bounds, strict=True))


def build(problem: SupplyProblem, *, tight_arcs: int = 12_000) -> Model:
    """Return the program of a problem.

    Parameters
    ----------
    problem : SupplyProblem
    tight_arcs : int
        Up to so many zone-yard pairs, each pair is bound to its yard's opening by a row of
        its own, which proves a gap sooner; above, by the yard's capacity alone.
    """
    offers, withdrawals = problem.usable_offers(), problem.withdrawals()
    offers = blocks.with_grades(problem, offers, withdrawals)
    model = Model()
    methods = offers.groupby("zone_id")["method"].transform("count") > 1
    gather = offers.assign(dry_mg=offers["removal_mg_ha"] * offers["area_ha"])
    gather["bales"] = gather["dry_mg"] * 1000 / gather["bale_dry_kg"]
    setups = blocks.setups(problem, gather)
    arcs = blocks.arcs(problem, gather)
    keep = blocks.storage_options(problem)
    stored = blocks.stored(problem, arcs, keep)
    drawn = blocks.drawn(problem, stored, blocks.serves(offers), withdrawals)
    opened = pd.DataFrame({"yard": np.unique(arcs["yard"]) if len(arcs) else np.empty(0, int)})

    _place(model, "gather", gather, 1.0, False)
    _place(model, "take", gather[methods], 1.0, True)
    _place(model, "setup", setups, 1.0, True)
    _place(model, "flow", arcs, np.inf, False)
    _place(model, "store", stored, np.inf, False)
    _place(model, "open", opened, 1.0, True)
    _place(model, "draw", drawn, np.inf, False)
    _place(model, "short", withdrawals, np.inf, False)
    _price(model, problem)
    _bind(model, problem, tight_arcs)
    return model


def _place(model: Model, name: str, table: pd.DataFrame, top: float, whole: bool) -> None:
    """Add a block of variables, one for each row of a table."""
    model.first[name] = model.size
    model.tables[name] = table
    n = len(table)
    model.size += n
    model.top = np.concatenate([model.top, np.full(n, top)])
    model.whole = np.concatenate([model.whole, np.full(n, whole)])


def _price(model: Model, problem: SupplyProblem) -> None:
    """Set what a unit of each variable costs, step by step."""
    p = problem.prices
    model.cost = {step: np.zeros(model.size) for step in STEPS}
    gather, part = model.tables["gather"], model.block("gather")
    per_ha, per_bale, nutrient = (
        by_method(gather["method"], price) for price in (p.method_per_ha, p.method_per_bale, p.nutrient_per_mg)
    )
    mass, area = gather["dry_mg"].to_numpy(), gather["area_ha"].to_numpy()
    model.cost["gather"][part] = per_ha * area
    model.cost["bale"][part] = per_bale * gather["bales"].to_numpy()
    model.cost["nutrients"][part] = (nutrient + p.soil_carbon_per_mg) * mass
    model.cost["land"][part] = p.landowner_per_mg * mass + p.landowner_per_ha * area
    model.cost["set_up"][model.block("setup")] = model.tables["setup"]["price"]
    flow = model.tables["flow"]
    a_bale = 1000 / flow["bale_dry_kg"]
    model.cost["haul"][model.block("flow")] = (p.stage_per_bale + p.move_per_bale_m * flow["distance_m"]) * a_bale
    model.cost["yard"][model.block("open")] = p.yard_opening
    store = model.tables["store"]
    a_bale = 1000 / store["bale_dry_kg"]
    model.cost["wrap"][model.block("store")] = (store["wrap_cost"] + store["time_cost"]) * a_bale
    model.cost["base"][model.block("store")] = store["base_cost"] * a_bale
    draw = model.tables["draw"]
    out = draw["need"].map(problem.terms.set_index("need")["out_per_bale"]).to_numpy(float)
    model.cost["deliver"][model.block("draw")] = out * 1000 / draw["bale_dry_kg"]


def _bind(model: Model, problem: SupplyProblem, tight_arcs: int) -> None:
    gather, draw, short = (model.tables[name] for name in ("gather", "draw", "short"))
    rows = _Rows(model)
    _bind_methods(model, rows)
    # what is gathered goes to yards, and is stored there
    rows.balance("to_yards", ["at", "grade"], "gather", "flow", gather["dry_mg"].to_numpy())
    rows.balance("stored", ["yard", "grade"], "flow", "store")
    _bind_yards(model, problem, rows, tight_arcs)
    # what is stored one way is drawn from it
    rows.balance("drawn", ["grade", "option"], "store", "draw")
    # each need in each month is met or short
    met = draw["short"].to_numpy(), rows.at["draw"], draw["left"].to_numpy()
    lacking = np.arange(len(short)), rows.at["short"], 1.0
    rows.add("need", len(short), short["dry_mg"].to_numpy(float), np.inf, met, lacking)
    # hours of each machine
    c = problem.capacity
    for machine, hours in c.hours.items():
        per_ha, per_bale = c.needed(gather["method"], machine)
        use = per_ha * gather["area_ha"] + per_bale * gather["bales"]
        rows.add(f"hours {machine}", 1, -np.inf, float(hours), (0, rows.at["gather"], use))
    rows.finish()


def _bind_methods(model: Model, rows: _Rows) -> None:
    """Hold a zone to one method, gathered only as that method, and set-up to come before any zone of a field."""
    gather, take, setup = (model.tables[name] for name in ("gather", "take", "setup"))
    zone, which = np.unique(take["at"], return_inverse=True)
    rows.add("one_method", len(zone), -np.inf, 1.0, (which, rows.at["take"], 1.0))
    rows.under("as_taken", rows.at["gather"][take.index.to_numpy()], rows.at["take"])
    pair = ["field_id", "method"]
    key = gather[pair].merge(setup.assign(s=np.arange(len(setup))), on=pair, how="left")["s"]
    paid = np.flatnonzero(key.notna())
    rows.under("set_up", rows.at["gather"][paid], rows.at["setup"][key.to_numpy()[paid].astype(int)])


def _bind_yards(model: Model, problem: SupplyProblem, rows: _Rows, tight_arcs: int) -> None:
    """Hold what is stored in a yard to its rows, and what comes to it to its being open."""
    gather, flow, store, opened = (model.tables[name] for name in ("gather", "flow", "store", "open"))
    n = len(opened)
    where = pd.Series(np.arange(n), index=opened["yard"])
    room = np.minimum(problem.yards["capacity_bales"].to_numpy(float)[opened["yard"]], _max_bales(gather))
    held = where[store["yard"]].to_numpy(), rows.at["store"], (1000 / store["bale_dry_kg"]).to_numpy()
    rows.add("yard_room", n, -np.inf, 0.0, held, (np.arange(n), rows.at["open"], -room))
    if 0 < len(flow) <= tight_arcs:
        most = gather.groupby(["at", "grade"])["dry_mg"].max()
        bound = most[pd.MultiIndex.from_frame(flow[["at", "grade"]])].to_numpy()
        bound = np.minimum(bound, room[where[flow["yard"]]] * flow["bale_dry_kg"].to_numpy() / 1000)
        rows.under("open_first", rows.at["flow"], rows.at["open"][where[flow["yard"]].to_numpy()], bound)


def _max_bales(gather: pd.DataFrame) -> float:
    """Bales if every zone were gathered by the method that makes most."""
    return float(gather.groupby("at")["bales"].max().sum()) if len(gather) else 0.0
