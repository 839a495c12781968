"""The choice as a mixed-integer linear programme; written out in docs/choice-model.md.

Names follow that page: g gathered share, x method taken, u set-up paid, f flow, a stored,
o yard open, s drawn, short what is lacking.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import sparse

from stovergeo.supply import blocks
from stovergeo.supply.problem import SupplyProblem

#: the cost steps a plan is broken into, in the order of the way of a bale
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

    def __init__(self) -> None:
        self.count = 0
        self.i: list[np.ndarray] = []
        self.j: list[np.ndarray] = []
        self.v: list[np.ndarray] = []
        self.low: list[np.ndarray] = []
        self.high: list[np.ndarray] = []
        self.groups: dict[str, np.ndarray] = {}

    def add(
        self, group: str, low: np.ndarray, high: np.ndarray, *terms: tuple[np.ndarray, np.ndarray, np.ndarray]
    ) -> None:
        """Add rows; each term is (row within the group, variable, coefficient)."""
        n = len(low)
        if n == 0:
            return
        for i, j, v in terms:
            i, j, v = np.broadcast_arrays(i, j, v)
            self.i.append(i + self.count)
            self.j.append(j)
            self.v.append(v)
        self.low.append(low)
        self.high.append(high)
        self.groups[group] = np.arange(self.count, self.count + n)
        self.count += n


def build(problem: SupplyProblem, *, tight_arcs: int = 12_000) -> Model:
    """Return the programme of a problem.

    Parameters
    ----------
    problem : SupplyProblem
    tight_arcs : int
        Up to so many zone-yard pairs, each pair is bound to its yard's opening by a row of
        its own, which proves a gap sooner; above, by the yard's capacity alone.
    """
    offers, draws = problem.usable_offers(), problem.draws()
    offers = blocks.with_grades(problem, offers, draws)
    model = Model()
    methods = offers.groupby("zone_id")["method"].transform("count") > 1
    gather = offers.assign(tonnes=offers["take_mg_ha"] * offers["area_ha"])
    gather["bales"] = gather["tonnes"] * 1000 / gather["bale_dry_kg"]
    setups = blocks.setups(problem, gather)
    arcs = blocks.arcs(problem, gather)
    keep = blocks.keep_ways(problem)
    stored = blocks.stored(problem, arcs, keep)
    drawn = blocks.drawn(problem, stored, blocks.serves(offers), draws)
    opened = pd.DataFrame({"yard": np.unique(arcs["yard"]) if len(arcs) else np.empty(0, int)})

    _place(model, "gather", gather, 1.0, False)
    _place(model, "take", gather[methods], 1.0, True)
    _place(model, "setup", setups, 1.0, True)
    _place(model, "flow", arcs, np.inf, False)
    _place(model, "store", stored, np.inf, False)
    _place(model, "open", opened, 1.0, True)
    _place(model, "draw", drawn, np.inf, False)
    _place(model, "short", draws, np.inf, False)
    _price(model, problem)
    _bind(model, problem, tight_arcs)
    return model


def _place(model: Model, name: str, table: pd.DataFrame, top: float, whole: bool) -> None:
    model.first[name] = model.size
    model.tables[name] = table
    n = len(table)
    model.size += n
    model.top = np.concatenate([model.top, np.full(n, top)])
    model.whole = np.concatenate([model.whole, np.full(n, whole)])


def _price(model: Model, problem: SupplyProblem) -> None:
    p = problem.prices
    model.cost = {step: np.zeros(model.size) for step in STEPS}
    gather, part = model.tables["gather"], model.block("gather")
    method = gather["method"]
    per_ha = method.map(lambda m: p.method_per_ha.get(m, 0.0)).to_numpy(float)
    per_bale = method.map(lambda m: p.method_per_bale.get(m, 0.0)).to_numpy(float)
    nutrient = method.map(lambda m: p.nutrient_per_mg.get(m, 0.0)).to_numpy(float)
    tonnes, area = gather["tonnes"].to_numpy(), gather["area_ha"].to_numpy()
    model.cost["gather"][part] = per_ha * area
    model.cost["bale"][part] = per_bale * gather["bales"].to_numpy()
    model.cost["nutrients"][part] = (nutrient + p.soil_carbon_per_mg) * tonnes
    model.cost["land"][part] = p.landowner_per_mg * tonnes + p.landowner_per_ha * area
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
    gather, take, setup = model.tables["gather"], model.tables["take"], model.tables["setup"]
    flow, store, opened = model.tables["flow"], model.tables["store"], model.tables["open"]
    draw, short = model.tables["draw"], model.tables["short"]
    v = {name: model.first[name] + np.arange(len(model.tables[name])) for name in model.tables}
    rows = _Rows()
    minus = np.array(-1.0)

    # one method a zone, gathered only as that method
    zone, which = np.unique(take["at"], return_inverse=True)
    rows.add("one_method", np.full(len(zone), -np.inf), np.ones(len(zone)), (which, v["take"], np.ones(len(take))))
    n = len(take)
    many = take.index.to_numpy()
    rows.add(
        "as_taken",
        np.full(n, -np.inf),
        np.zeros(n),
        (np.arange(n), v["gather"][many], np.ones(n)),
        (np.arange(n), v["take"], minus),
    )
    # set-up of a method in a field before any of its zones is gathered so
    key = gather[["field_id", "method"]].merge(
        setup.assign(s=np.arange(len(setup))), on=["field_id", "method"], how="left"
    )["s"]
    paid = np.flatnonzero(key.notna())
    n = len(paid)
    rows.add(
        "set_up",
        np.full(n, -np.inf),
        np.zeros(n),
        (np.arange(n), v["gather"][paid], np.ones(n)),
        (np.arange(n), v["setup"][key.to_numpy()[paid].astype(int)], minus),
    )
    # what is gathered goes to yards
    both = pd.concat([gather[["at", "grade"]], flow[["at", "grade"]]])
    code = both.groupby(["at", "grade"]).ngroup().to_numpy()
    n = code.max(initial=-1) + 1
    rows.add(
        "to_yards",
        np.zeros(n),
        np.zeros(n),
        (code[: len(gather)], v["gather"], gather["tonnes"].to_numpy()),
        (code[len(gather) :], v["flow"], minus),
    )
    # what comes to a yard is stored there
    both = pd.concat([flow[["yard", "grade"]], store[["yard", "grade"]]])
    code = both.groupby(["yard", "grade"]).ngroup().to_numpy()
    n = code.max(initial=-1) + 1
    rows.add(
        "stored",
        np.zeros(n),
        np.zeros(n),
        (code[: len(flow)], v["flow"], np.ones(len(flow))),
        (code[len(flow) :], v["store"], minus),
    )
    # an open yard holds its rows' bales
    n = len(opened)
    where = pd.Series(np.arange(n), index=opened["yard"])
    room = problem.yards["capacity_bales"].to_numpy(float)[opened["yard"]]
    room = np.minimum(room, _most_bales(gather))
    rows.add(
        "yard_room",
        np.full(n, -np.inf),
        np.zeros(n),
        (where[store["yard"]].to_numpy(), v["store"], (1000 / store["bale_dry_kg"]).to_numpy()),
        (np.arange(n), v["open"], -room),
    )
    if 0 < len(flow) <= tight_arcs:
        most = gather.groupby(["at", "grade"])["tonnes"].max()
        bound = most[pd.MultiIndex.from_frame(flow[["at", "grade"]])].to_numpy()
        bound = np.minimum(bound, room[where[flow["yard"]]] * flow["bale_dry_kg"].to_numpy() / 1000)
        n = len(flow)
        rows.add(
            "open_first",
            np.full(n, -np.inf),
            np.zeros(n),
            (np.arange(n), v["flow"], np.ones(n)),
            (np.arange(n), v["open"][where[flow["yard"]].to_numpy()], -bound),
        )
    # what is stored one way is drawn from it
    both = pd.concat([store[["grade", "way"]], draw[["grade", "way"]]])
    code = both.groupby(["grade", "way"]).ngroup().to_numpy()
    n = code.max(initial=-1) + 1
    rows.add(
        "drawn",
        np.zeros(n),
        np.zeros(n),
        (code[: len(store)], v["store"], np.ones(len(store))),
        (code[len(store) :], v["draw"], minus),
    )
    # each need in each month is met or short
    wanted = short["dry_mg"].to_numpy(float)
    rows.add(
        "need",
        wanted,
        np.full(len(short), np.inf),
        (draw["short"].to_numpy(), v["draw"], draw["left"].to_numpy()),
        (np.arange(len(short)), v["short"], np.ones(len(short))),
    )
    # hours of each machine
    c = problem.capacity
    for machine, hours in c.hours.items():
        use = [
            c.hours_per_ha.get((m, machine), 0.0) * ha + c.hours_per_bale.get((m, machine), 0.0) * bales
            for m, ha, bales in zip(gather["method"], gather["area_ha"], gather["bales"], strict=True)
        ]
        zero = np.zeros(len(gather), int)
        rows.add(f"hours {machine}", np.array([-np.inf]), np.array([float(hours)]), (zero, v["gather"], np.array(use)))

    size = (rows.count, model.size)
    if rows.i:
        triplets = (np.concatenate(rows.v).astype(float), (np.concatenate(rows.i), np.concatenate(rows.j)))
        model.rows = sparse.csr_array(triplets, shape=size)
        model.low, model.high = np.concatenate(rows.low), np.concatenate(rows.high)
    else:
        model.rows = sparse.csr_array(size)
    model.groups = rows.groups


def _most_bales(gather: pd.DataFrame) -> float:
    """Bales if every zone were gathered the way that makes most."""
    return float(gather.groupby("at")["bales"].max().sum()) if len(gather) else 0.0
