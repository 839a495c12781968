"""Wraps and bases side by side: what each loses and costs by month of use, and what cannot be kept at all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.bales.bale import BaleSize, bale_of, spoiled_fraction
from stovergeo.bales.climate import baled_on, climate_of, months_of_use, months_outside, rain_by_mm
from stovergeo.bales.storage import StorageMethod, rejection_reason, storage_loss, value_of_loss
from stovergeo.bales.wrap import net_turns, storage_cost
from stovergeo.core.bale_catalog import WRAPS, prepared_bases
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.gather import Storage, Wrap
from stovergeo.residue import Method

COSTS: Final = ["wrap_cost", "base_cost", "time_cost", "loss_cost"]
_NUMBERS: Final = ["loss_low_pct", "loss_pct", "loss_high_pct", "rim_pct", "counted_pct", *COSTS]


def storage_methods(storage: Storage, bale: BaleSize, ground: str = "soil") -> list[StorageMethod]:
    """Return the storage options worth comparing at the plan's place.

    Parameters
    ----------
    storage : Storage
        Section ``[storage]``.
    bale : BaleSize
    ground : {"soil", "clay"}
        What bare ground is at the yard (`base_of_ground`).
    """
    outside = storage.place == "outside"
    wraps = [w for w, kind in WRAPS.items() if bale.shape in (kind.offered if outside else kind.offered_sheltered)]
    return [StorageMethod(w, b, storage.place, storage.pattern) for w in wraps for b in (ground, *prepared_bases())]


def planned(storage: Storage, wrap: Wrap, bale: BaleSize, ground: str = "soil") -> list[StorageMethod]:
    """Return the storage options the plan leaves open: one, or all where it says "best"."""
    base = ground if storage.base == "ground" else storage.base
    if wrap.kind != "best":
        bases = (ground, *prepared_bases()) if base == "best" else (base,)
        return [StorageMethod(wrap.kind, b, storage.place, storage.pattern) for b in bases]
    return [k for k in storage_methods(storage, bale, ground) if base in ("best", k.base)]


def wrap_table(
    storage: Storage,
    wrap: Wrap,
    bale: BaleSize,
    coefficients: Handbook,
    season: int,
    *,
    value_per_mg: float | None = None,
    among: list[StorageMethod] | None = None,
    road_haul_km: float = 0.0,
) -> pd.DataFrame:
    """Return loss and cost of each storage option, by month of use.

    Parameters
    ----------
    storage, wrap : sections of the plan
    bale : BaleSize
    coefficients : Handbook
    season : int
        Year of the grain harvest.
    value_per_mg : float, optional
        Of a dry Mg where it is used; left out: the handbook's.
    among : list of StorageMethod, optional
        Compare these; left out: all of `storage_methods` on drained soil.
    road_haul_km : float
        Longest road haul of these bales, for the turns of net.

    Returns
    -------
    pandas.DataFrame
        One row for each option and each of the twelve months from baling on: month, year,
        months_stored, rain_mm (that counted), in_season (not later than the plan's last use),
        wrap, base, place, title (of the three), loss_low_pct, loss_pct, loss_high_pct,
        rim_pct (visible spoilage of round bales, thrown away only as far as the handbook's
        `storage.rim_rejected` says),
        counted_pct (loss_pct, and the visible spoilage that is thrown away), wrap_cost, base_cost,
        time_cost, loss_cost ($ a bale), cost_bale (their sum), cost_mg
        ($ for each dry Mg left to use, the stover itself not counted), best (least cost_bale of
        its month), message (why a row is refused, else None). A refused row has no numbers.

    Examples
    --------
    What keeping net-wrapped round bales on bare ground loses from month to month:

    >>> from stovergeo import bale_of, load_handbook, wrap_table
    >>> from stovergeo.inputs.plan import Bale, Storage, Wrap
    >>> coefficients = load_handbook()
    >>> table = wrap_table(Storage(), Wrap(), bale_of(Bale(size="5x6"), None, coefficients), coefficients, season=2026)
    >>> net = table[(table["wrap"] == "net") & (table["base"] == "soil")]
    >>> len(net), bool(net["loss_pct"].is_monotonic_increasing), list(net["month"].iloc[[0, 1, 2]])
    (12, True, [11, 12, 1])
    """
    worth = coefficients.value("storage.worth") if value_per_mg is None else value_per_mg
    uses = months_of_use(storage, season)
    stored = np.array([use.months_stored for use in uses])
    climate = climate_of(storage, coefficients)
    months = {
        "month": np.array([use.month for use in uses]),
        "year": np.array([use.year for use in uses]),
        "months_stored": stored,
        "rain_mm": rain_by_mm(climate, baled_on(storage, season), stored),
        "in_season": stored <= months_outside(storage, season) + 0.5,  # a month counts if any of it is used
    }
    turns = net_turns(wrap, storage, season, coefficients, road_haul_km)
    options = storage_methods(storage, bale) if among is None else among
    table = pd.concat(
        [_rows(option, bale, months, climate.spread, turns, wrap.overlap_m, worth, coefficients) for option in options]
    )
    table["cost_bale"] = table[COSTS].sum(axis=1, skipna=False)
    table["cost_mg"] = table["cost_bale"] / (bale.dry_kg / 1000 * (1 - table["counted_pct"] / 100))
    least = table.groupby(["year", "month"])["cost_bale"].transform("min")
    table["best"] = table["cost_bale"].notna() & np.isclose(table["cost_bale"], least, rtol=1e-12, atol=0)
    return table.sort_values(["year", "month"], kind="stable", ignore_index=True)


def _rows(
    option: StorageMethod,
    bale: BaleSize,
    months: dict[str, np.ndarray],
    rain_spread: tuple[float, float],
    turns: float,
    overlap_m: float,
    worth: float,
    coefficients: Handbook,
) -> pd.DataFrame:
    """Return the rows of one storage option, without those columns that compare it with others."""
    refused = rejection_reason(option, bale.shape, bale.moisture_pct, coefficients)
    named = {
        **months,
        "wrap": option.wrap,
        "base": option.base,
        "place": option.place,
        "title": option.title,
        "message": refused,
    }
    if refused is not None:
        return pd.DataFrame({**named, **dict.fromkeys(_NUMBERS, np.nan)})
    stored = months["months_stored"]
    low, loss, high = (
        storage_loss(option, bale, stored, months["rain_mm"] * of, coefficients)
        for of in (rain_spread[0], 1.0, rain_spread[1])
    )
    rim = rim_pct(option, bale, stored, coefficients)
    cost = storage_cost(option, bale, turns, overlap_m, coefficients)
    counted = loss.middle + coefficients.value("storage.rim_rejected") * np.nan_to_num(rim)
    lost_cost = bale.dry_kg / 1000 * value_of_loss(counted / 100, worth)
    numbers = (low.low, loss.middle, high.high, rim, counted, cost.wrap, cost.base, cost.time, lost_cost)
    return pd.DataFrame({**named, **dict(zip(_NUMBERS, numbers, strict=True))})


def rim_pct(option: StorageMethod, bale: BaleSize, months: np.ndarray, coefficients: Handbook) -> np.ndarray:
    """Return the visibly spoiled share of a round bale's volume, %, curved side only; NaN for square bales.

    The skin's depth after a year was measured; that it grows evenly until then is our judgment.
    """
    if not bale.kind.is_cylinder:
        return np.full(len(months), np.nan)
    depth_m = coefficients.value(option.cover.loss_key("rim")) * months / 12
    return 100 * spoiled_fraction(depth_m, bale.diameter_m)


message = Catalog("stovergeo.bales")


def rejected_methods(methods: Mapping[str, Method], plan: Plan, coefficients: Handbook) -> dict[str, Message]:
    """Return for each method whose bales cannot be kept in any option the plan leaves open, the reason.

    Bales too wet to be stored dry, and large squares without a cover, have no place in a stack.
    """
    reasons = {}
    for name, method in methods.items():
        bale = bale_of(plan.bale, method, coefficients)
        options = planned(plan.storage, plan.wrap, bale) or storage_methods(plan.storage, bale)
        refused = [rejection_reason(option, bale.shape, bale.moisture_pct, coefficients) for option in options]
        if refused[0] is not None and None not in refused:
            reasons[name] = refused[0]
    return reasons


def storable_methods(
    methods: Mapping[str, Method], plan: Plan, coefficients: Handbook, report: Report | None = None
) -> dict[str, Method]:
    """Return the methods whose bales can be kept in one of the options the plan leaves open.

    Each method left out that the plan asks for by name is reported (``bale.cannot_be_kept``); one
    that came only by default is left out without a word. Where none is left, the plan is refused
    (``bale.none_can_be_kept``).
    """
    reasons = rejected_methods(methods, plan, coefficients)
    kept = {name: method for name, method in methods.items() if name not in reasons}
    if report is not None and (not kept or "methods" in plan.gather.model_fields_set):
        for name, reason in reasons.items():
            code = "bale.cannot_be_kept" if kept else "bale.none_can_be_kept"
            report.add(code, f"plan file, gather.methods, {name}", str(reason))
    return kept
