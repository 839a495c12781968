"""The season's choice, made and explained."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from stovergeo.core.messages import Message
from stovergeo.supply import messages
from stovergeo.supply.alternatives import alternatives, if_yields_fall, next_bales, without_wrap, without_yard
from stovergeo.supply.choice import Choice, least_cost
from stovergeo.supply.problem import SupplyProblem
from stovergeo.supply.shortage import conflict, no_reliefs, reliefs

POORER_CROP = -0.15  #: the change of stover that is looked at
_SMALL = 1_000  # pairs of zone and yard
_FINE = 1e-6  # of a farm's season that is cents: to lose one of the same places never seems to make it cheaper


def choose(
    problem: SupplyProblem,
    *,
    titles: Mapping[str, str] | None = None,
    gap: float = 0.005,
    seconds: float = 60.0,
    explain: bool = True,
    yards_explained: int = 4,
) -> Choice:
    """Return the season's plan at the least delivered cost, with its reasons.

    Parameters
    ----------
    problem : SupplyProblem
    titles : mapping, optional
        Method name to its title.
    gap : float
        Relative gap at which the solver may stop. A farm's season is small and is solved
        further (`_FINE`), so that plans can be compared to the dollar.
    seconds : float
        Time for the plan itself; when it ends the best plan found is returned with its gap.
    explain : bool
        Also solve for second-best yards and wraps, the next bales, other aims and a poorer
        crop. Each is a season of its own, so a supply shed may want this off.
    yards_explained : int
        Yards to explain, those with most bales first.

    Returns
    -------
    Choice
        A need that cannot be met is a `shortage`, never an error.

    Notes
    -----
    A mixed-integer program, solved by HiGHS through scipy; its variables, limits and aim stand on the
    page of the choice model.

    Examples
    --------
    Two zones of 20 ha that can each give 60 Mg; cows that need 40 Mg in January. The nearer one does:

    >>> import numpy as np
    >>> import pandas as pd
    >>> from stovergeo import choose
    >>> from stovergeo.supply import Prices, SupplyProblem
    >>> ids = {"zone_id": ["F1-a", "F2-a"]}
    >>> zones = pd.DataFrame({**ids, "field_id": ["F1", "F2"], "area_ha": [20.0, 20.0]})
    >>> made = {"removal_mg_ha": 3.0, "moisture_pct": 18.0, "ash_pct": 10.0, "allowed": True, "bale_dry_kg": 470.0}
    >>> offers = pd.DataFrame({**ids, "method": "rake_bale", **made})
    >>> yards = pd.DataFrame({"yard_id": ["Y1"], "capacity_bales": [200], "base": ["soil"], "base_cost": [0.0]})
    >>> january = {"month": [1], "year": [2027]}
    >>> need = pd.DataFrame({"need": ["cows"], **january, "dry_mg": [40.0]})
    >>> asked = {"moisture_max_pct": np.inf, "ash_max_pct": np.inf, "price_per_mg": np.nan, "out_per_bale": 3.0}
    >>> terms = pd.DataFrame({"need": ["cows"], "kind": "herd", **asked})
    >>> costs = {"loss_pct": 2.0, "wrap_cost": 2.0, "base_cost": 0.0, "time_cost": 1.0}
    >>> storage = pd.DataFrame({**january, "wrap": ["net"], "base": "soil", "months_stored": 2.0, **costs})
    >>> of = "rake_bale"
    >>> prices = Prices({of: 20.0}, {of: 14.0}, {of: 60.0}, 4.0, 2e-4, 100.0, {of: 18.0})
    >>> far_m = np.array([[300.0], [2000.0]])
    >>> choice = choose(SupplyProblem(zones, offers, yards, far_m, need, terms, storage, prices))
    >>> choice.methods, int(choice.flows["bales"].sum()), choice.short_bales
    ({'F1-a': 'rake_bale', 'F2-a': 'leave'}, 87, 0)
    """
    named = dict(titles or {})
    if not named and "title" in problem.offers:
        named = dict(zip(problem.offers["method"], problem.offers["title"], strict=True))
    if len(problem.zones) * len(problem.yards) <= _SMALL:
        gap = min(gap, _FINE)
    solved = least_cost(problem, gap=gap, seconds=seconds)
    choice, in_tons = solved.in_bales(), solved.in_tons()  # other plans are compared in tons: half a bale is no reason
    if explain and not choice.short_bales:
        # where bales are short the next ton cannot be had: what the solver prices then is the shortage
        choice = replace(choice, next_mg=solved.next_prices())
    plan = messages.plan_messages(problem, choice, named)
    costs = messages.cost_messages(choice)
    hard: list[Message] = []
    if choice.short_bales:
        hard, eased = (conflict(problem), reliefs(problem)) if explain else ([], no_reliefs())
        plan += messages.shortage_messages(choice, hard, eased, problem.bale_dry_kg / 1000)
    choice = replace(choice, messages=plan, conflict=hard)
    if not explain or not len(choice.flows):
        return replace(choice, grower_messages=costs)

    reasons = _reasons(problem, in_tons, named, gap, yards_explained)
    if not choice.short_bales:
        costs += _next(problem, in_tons, named)
    costs += messages.month_messages(choice.next_mg)
    others = alternatives(problem, choice, gap=gap)
    costs += messages.other_messages(others)
    fallen = if_yields_fall(problem, POORER_CROP, gap=gap)
    if fallen is not None:
        costs.append(messages.poorer_message(in_tons, fallen, POORER_CROP))
    costs += problem.notes
    return replace(choice, grower_messages=costs, reasons=reasons, alternatives=others)


def _reasons(problem: SupplyProblem, choice: Choice, titles: Mapping[str, str], gap: float, most: int) -> pd.DataFrame:
    rows: list[tuple[str, str, Message | tuple[Message, ...]]]
    rows = [("zone", zone, why) for zone, why in messages.method_messages(problem, choice.methods, titles).items()]
    yards = choice.yard_use.sort_values("bales", ascending=False, kind="stable")["yard_id"].head(most)
    rows += [("yard", y, messages.second_message(without_yard(problem, choice, y, gap=gap))) for y in yards]
    for wrap in choice.wrap_use["wrap"].unique():
        if second := without_wrap(problem, choice, wrap, gap=gap):
            rows.append(("wrap", wrap, messages.second_message(second)))
    return pd.DataFrame(rows, columns=["kind", "id", "message"])


def _next(problem: SupplyProblem, choice: Choice, titles: Mapping[str, str]) -> list[Message]:
    """Return what more bales would cost each need."""
    price = problem.terms.set_index("need")["price_per_mg"]
    found: list[Message] = []
    for need in dict.fromkeys(problem.need.loc[problem.need["dry_mg"] > 0, "need"]):
        each = float(price[need]) * problem.bale_dry_kg / 1000
        found += messages.next_messages(next_bales(problem, choice, need), titles, each)
    return found
