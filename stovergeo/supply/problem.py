"""What the choice is made from: plain tables, checked once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from stovergeo.core.bale_catalog import BASES
from stovergeo.core.errors import ContractError
from stovergeo.core.messages import Message
from stovergeo.supply.loads import edge_cost_per_mg

#: columns that each table must have; further ones are left alone
ASKED = {
    "zones": ("zone_id", "field_id", "area_ha"),
    "offers": ("zone_id", "method", "removal_mg_ha", "moisture_pct", "ash_pct", "allowed", "bale_dry_kg"),
    "yards": ("yard_id", "capacity_bales", "base", "base_cost"),
    "need": ("need", "month", "year", "dry_mg"),
    "storage": ("month", "year", "wrap", "base", "months_stored", "loss_pct", "wrap_cost", "base_cost", "time_cost"),
    "terms": ("need", "kind", "moisture_max_pct", "ash_max_pct", "price_per_mg", "out_per_bale"),
}
BARE = tuple(base.name for base in BASES.values() if base.bare)  #: what bare ground is to a bale


def by_method(methods: pd.Series, amounts: Mapping[Any, float]) -> np.ndarray:
    """Return what each row's method has among some amounts, 0 where it has none."""
    return np.array([amounts.get(method, 0.0) for method in methods], dtype=float)


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices of the season, SI, in dollars of the handbook's years."""

    method_per_ha: Mapping[str, float]  #: chopping, raking, merging: $ per hectare gathered
    method_per_bale: Mapping[str, float]  #: baling with the plainest wrap's time, $ per bale
    method_setup: Mapping[str, float]  #: bringing a method's machines to a field, $
    stage_per_bale: float  #: picking up in the field and setting down in the stack
    move_per_bale_m: float  #: each meter between them
    yard_opening: float  #: lane and mowing of a yard that is used, $
    nutrient_per_mg: Mapping[str, float]  #: by method, what replaces the nutrients that leave, $/Mg
    landowner_per_mg: float = 0.0
    landowner_per_ha: float = 0.0
    soil_carbon_per_mg: float = 0.0  #: an own price on each dry Mg that leaves


@dataclass(frozen=True, slots=True)
class Capacity:
    """Machine time of the baling season: hours needed and hours there are."""

    hours_per_ha: Mapping[tuple[str, str], float] = field(default_factory=dict)  #: (method, machine) -> h/ha
    hours_per_bale: Mapping[tuple[str, str], float] = field(default_factory=dict)  #: (method, machine) -> h/bale
    hours: Mapping[str, float] = field(default_factory=dict)  #: machine -> hours in the season; absent: no limit

    def needed(self, methods: pd.Series, machine: str) -> tuple[np.ndarray, np.ndarray]:
        """Return the hours that a machine needs by each method, for a hectare and for a bale."""
        keys = pd.Series([(method, machine) for method in methods], dtype=object)
        return by_method(keys, self.hours_per_ha), by_method(keys, self.hours_per_bale)


@dataclass(frozen=True, slots=True)
class SupplyProblem:
    """One season's supply question. All masses are oven-dry Mg as baled."""

    zones: pd.DataFrame  #: zone_id, field_id, area_ha; stover_mg_ha and removable_mg_ha where yields may change
    offers: pd.DataFrame  #: zone_id, method, removal_mg_ha, moisture_pct, ash_pct, allowed, bale_dry_kg
    yards: pd.DataFrame  #: yard_id, capacity_bales, base, base_cost; `ground` soil or clay where known
    distance_m: np.ndarray  #: (zones, yards), one way, over the ground; inf where there is no route
    need: pd.DataFrame  #: need, month, year, dry_mg to be drawn
    terms: pd.DataFrame  #: one row a need: kind, limits, price, cost of bringing a bale from the yard to its use
    storage: pd.DataFrame  #: one row for each wrap, base and month: loss and costs a bale
    prices: Prices
    capacity: Capacity = field(default_factory=Capacity)
    wet_pct: float = 30.0  #: bales made wetter than this are not stored
    wet_months: float = 1.0  #: they must be used within so many months
    nearest: int = 20  #: yards looked at for each zone
    no_go_zones: frozenset[str] = frozenset()
    no_go_yards: frozenset[str] = frozenset()
    unpaid: frozenset[str] = frozenset()  #: contracts left out, because their price does not cover what they add
    habit: Mapping[str, str] = field(default_factory=dict)  #: field_id -> method used today
    notes: tuple[Message, ...] = ()  #: on roads and loads, for any plan

    def __post_init__(self) -> None:
        for name, columns in ASKED.items():
            table = getattr(self, name)
            lacking = [c for c in columns if c not in table.columns]
            if lacking:
                raise ContractError(f"the choice reads the table {name!r}, which lacks {', '.join(lacking)}")
        if self.distance_m.shape != (len(self.zones), len(self.yards)):
            raise ContractError(
                f"distances have shape {self.distance_m.shape}, there are {len(self.zones)} zones "
                f"and {len(self.yards)} yards"
            )
        unknown = set(self.need["need"]) - set(self.terms["need"])
        if unknown:
            raise ContractError(f"the table 'terms' lacks the need {sorted(unknown)[0]!r}")

    def usable_offers(self) -> pd.DataFrame:
        """Return the offers that may be chosen, with what their zone is and what a dry Mg costs at the field's edge."""
        places = self.zones.assign(at=np.arange(len(self.zones)))[["zone_id", "field_id", "area_ha", "at"]]
        offers = self.offers.merge(places, on="zone_id", how="inner", validate="many_to_one")
        good = offers["allowed"].astype(bool) & (offers["removal_mg_ha"] > 0) & (offers["area_ha"] > 0)
        good &= ~offers["zone_id"].isin(self.no_go_zones)
        offers = offers[good].reset_index(drop=True)
        p = self.prices
        per_ha, per_bale, nutrients = (
            by_method(offers["method"], price) for price in (p.method_per_ha, p.method_per_bale, p.nutrient_per_mg)
        )
        made = edge_cost_per_mg(
            [per_ha + p.landowner_per_ha], [per_bale], offers["removal_mg_ha"], offers["bale_dry_kg"]
        )
        return offers.assign(edge_cost_mg=made + nutrients + p.soil_carbon_per_mg + p.landowner_per_mg)

    @property
    def bale_dry_kg(self) -> float:
        """Dry mass of a typical bale, for counting what is not there."""
        return float(self.offers["bale_dry_kg"].median()) if len(self.offers) else 500.0

    def withdrawals(self) -> pd.DataFrame:
        """Return the months in which something is needed, with the months stored until then."""
        stored = self.storage.groupby(["year", "month"], as_index=False)["months_stored"].first()
        withdrawals = self.need[self.need["dry_mg"] > 0].merge(
            stored, on=["year", "month"], how="left", suffixes=("_", "")
        )
        if withdrawals["months_stored"].isna().any():
            row = withdrawals[withdrawals["months_stored"].isna()].iloc[0]
            raise ContractError(
                f"the table 'storage' lacks {row['year']}-{row['month']:02d}, in which something is needed"
            )
        return withdrawals[["need", "month", "year", "dry_mg", "months_stored"]].reset_index(drop=True)
