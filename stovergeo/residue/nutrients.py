"""Nutrients that leave with the stover, and what it costs to replace."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import KG_PER_MG
from stovergeo.inputs.plan.money import Money
from stovergeo.residue.collection import Method
from stovergeo.residue.production import Amount

#: what is counted, with the plan's own price for it
NUTRIENTS: Final = {
    "n": "nitrogen_per_mg",
    "p2o5": "phosphate_per_mg",
    "k2o": "potash_per_mg",
    "s": "sulfur_per_mg",
}


@dataclass(frozen=True, slots=True)
class Nutrient:
    """One nutrient in the stover of one method of gathering."""

    content: float  #: kg/Mg of dry stover
    content_low: float
    content_high: float
    price: float  #: $/kg
    replaced: float  #: share bought again
    replaced_low: float
    replaced_high: float


def after_rain(content_at_maturity: Amount, leached_fraction: float) -> Amount:
    """Return the content of what is baled from that of the mature plant, rain having washed a share back to the soil.

    Not for contents measured in bales, which are after the rain already.
    """
    return content_at_maturity * (1 - leached_fraction)


def nutrients_of(
    coefficients: Handbook, method: Method, money: Money | None = None, basis: str = "bale"
) -> dict[str, Nutrient]:
    """Return content, price and share replaced of each nutrient, for one method of gathering.

    Parameters
    ----------
    coefficients : Handbook
    method : Method
        Bales mostly of cob and husk hold less.
    money : Money, optional
        The plan's prices; what it leaves out comes from the handbook.
    basis : {"bale", "maturity"}
        What the handbook's (or the plan's own) contents were measured on; the mature plant loses P and K to rain.
    """
    found = {}
    for name, own in NUTRIENTS.items():
        content = coefficients[f"nutrients.{name}.{'content_cob_husk' if method.takes_ear_only else 'content'}"]
        washed = 0.0
        if basis == "maturity" and name in ("p2o5", "k2o"):
            washed = coefficients.value(f"nutrients.{name}.leached")
        price = getattr(money, own, None)
        if price is None:
            price = coefficients.value(f"nutrients.{name}.price") * KG_PER_MG
        replaced = coefficients[f"nutrients.{name}.replaced"]
        found[name] = Nutrient(
            content=after_rain(content.value, washed),
            content_low=after_rain(content.low, washed),
            content_high=after_rain(content.high, washed),
            price=price / KG_PER_MG,
            replaced=replaced.value,
            replaced_low=replaced.low,
            replaced_high=replaced.high,
        )
    return found


def nutrients(
    zones: pd.DataFrame,
    methods: Mapping[str, Method],
    coefficients: Handbook,
    money: Money | None = None,
    basis: str = "bale",
) -> pd.DataFrame:
    """Return what leaves each zone in nutrients and what it costs to replace.

    Parameters
    ----------
    zones : DataFrame
        zone_id, method ("leave" gives zeros) and removal_mg, dry Mg over the zone.
    methods, coefficients, money, basis
        As for `nutrients_of`.

    Returns
    -------
    DataFrame
        zone_id, n_kg, p2o5_kg, k2o_kg, s_kg, lime_kg, cost, cost_low, cost_high ($), cost_mg ($ per dry Mg).
        The low and high cost take every content and share replaced at its low or high end together.
    """
    per_mg = {name: _per_mg(coefficients, method, money, basis) for name, method in methods.items()}
    rows = []
    for zone_id, method, mass in zip(zones["zone_id"], zones["method"], zones["removal_mg"], strict=True):
        each = per_mg.get(method, {})
        row = {"zone_id": zone_id, **{c: each.get(c, 0.0) * mass for c in _COLUMNS}}
        rows.append({**row, "cost_mg": each.get("cost", 0.0)})
    return pd.DataFrame(rows, columns=["zone_id", *_COLUMNS, "cost_mg"])


_COLUMNS: Final = ("n_kg", "p2o5_kg", "k2o_kg", "s_kg", "lime_kg", "cost", "cost_low", "cost_high")


def _per_mg(coefficients: Handbook, method: Method, money: Money | None, basis: str) -> dict[str, float]:
    """Return the columns for one dry Mg gathered."""
    found = nutrients_of(coefficients, method, money, basis)
    lime = coefficients.value("nutrients.lime.content")
    lime_cost = lime * coefficients.value("nutrients.lime.price")
    return {
        **{f"{name}_kg": f.content for name, f in found.items()},
        "lime_kg": lime,
        "cost": lime_cost + sum(f.content * f.price * f.replaced for f in found.values()),
        "cost_low": lime_cost + sum(f.content_low * f.price * f.replaced_low for f in found.values()),
        "cost_high": lime_cost + sum(f.content_high * f.price * f.replaced_high for f in found.values()),
    }
