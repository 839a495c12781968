"""What of the plan cannot be baled, kept or delivered, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol, TypeVar

import pandas as pd

from stovergeo.bales.bale import Gathered, bale_of
from stovergeo.bales.compare import keepings, planned
from stovergeo.bales.storage import why_not_kept
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.need import Contract

message = Catalog("stovergeo.bales")


class Delivered(Gathered, Protocol):
    """A method of gathering, as far as a plant asks (see `stovergeo.residue.methods`)."""

    @property
    def ash_pct(self) -> float:
        """Ash of the bale's dry matter, %."""


AMethod = TypeVar("AMethod", bound=Gathered)


def why_not_storable(methods: Mapping[str, Gathered], plan: Plan, book: Handbook) -> dict[str, Message]:
    """Return for each method whose bales cannot be kept in any way the plan leaves open, the reason.

    Bales too wet to be stored dry, and large squares without a cover, have no place in a stack.
    """
    reasons = {}
    for name, method in methods.items():
        bale = bale_of(plan.bale, method, book)
        ways = planned(plan.storage, plan.wrap, bale) or keepings(plan.storage, bale)
        refused = [why_not_kept(way, bale.shape, bale.moisture_pct, book) for way in ways]
        if refused[0] is not None and None not in refused:
            reasons[name] = refused[0]
    return reasons


def storable_methods(
    methods: Mapping[str, AMethod], plan: Plan, book: Handbook, report: Report | None = None
) -> dict[str, AMethod]:
    """Return the methods whose bales can be kept in one of the ways the plan leaves open.

    Each method left out that the plan asks for by name is reported (``bale.cannot_be_kept``); one
    that came only by default is left out without a word. Where none is left, the plan is refused
    (``bale.none_can_be_kept``).
    """
    reasons = why_not_storable(methods, plan, book)
    kept = {name: method for name, method in methods.items() if name not in reasons}
    if report is not None and (not kept or "methods" in plan.gather.model_fields_set):
        for name, reason in reasons.items():
            code = "bale.cannot_be_kept" if kept else "bale.none_can_be_kept"
            report.add(code, f"plan file, gather.methods, {name}", str(reason))
    return kept


def contract_terms(
    contracts: Iterable[Contract], methods: Mapping[str, Delivered], plan: Plan, book: Handbook
) -> pd.DataFrame:
    """Return, for each contract and method, whether its bales meet the plant's moisture and ash.

    Moisture is taken as baled: stover dries in the stack, but a plant may be served at once.

    Returns
    -------
    pandas.DataFrame
        need, method, moisture_pct, ash_pct, allowed, message (a tuple, empty where allowed).
    """
    rows = []
    for contract in contracts:
        for name, method in methods.items():
            moisture = bale_of(plan.bale, method, book).moisture_pct
            faults = []
            if moisture > contract.moisture_most_pct:
                faults.append(message("contract.too_wet", moisture=moisture, limit=contract.moisture_most_pct))
            if method.ash_pct > contract.ash_most_pct:
                faults.append(message("contract.too_much_ash", ash=method.ash_pct, limit=contract.ash_most_pct))
            rows.append((contract.name, name, moisture, method.ash_pct, not faults, tuple(faults)))
    return pd.DataFrame(rows, columns=["need", "method", "moisture_pct", "ash_pct", "allowed", "message"])
