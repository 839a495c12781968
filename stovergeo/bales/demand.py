"""What herds and plants need, month by month, and the bales that must be made for it."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.climate import MonthOfUse, months_of_use
from stovergeo.bales.compare import planned, wrap_table
from stovergeo.bales.storage import OutsideGroundError
from stovergeo.core.coefficients import Handbook
from stovergeo.inputs.plan.gather import Storage, Wrap
from stovergeo.inputs.plan.need import MONTHS, Contract, Herd, Need


def herd_mass_kg(
    head: float, kg_head_day: float, days: ArrayLike, waste: float = 0.0, spare: float = 0.0
) -> np.ndarray:
    """Return what a herd draws from the stack, kg at the moisture the rate is given at.

    Parameters
    ----------
    head : float
    kg_head_day : float
        Used (bedded, or eaten).
    days : float or array
    waste : float
        Share of what is drawn that is wasted before use.
    spare : float
        Share on top.
    """
    return head * kg_head_day * np.asarray(days, dtype=float) * (1 + spare) / (1 - waste)


def bales_needed(mass_kg: ArrayLike, bale_kg: float, loss: ArrayLike = 0.0) -> np.ndarray:
    """Return bales to make (not rounded) so that a mass is left after storage.

    Parameters
    ----------
    mass_kg : float or array
        To be drawn, at the moisture of `bale_kg`.
    bale_kg : float
        As made.
    loss : float or array
        Share lost in storage.
    """
    return np.asarray(mass_kg, dtype=float) / (bale_kg * (1 - np.asarray(loss, dtype=float)))


def herd_rate(herd: Herd, coefficients: Handbook) -> tuple[float, float]:
    """Return a herd's rate, kg a head and day as weighed out, and the share wasted."""
    kind = "feed" if herd.use == "feed" else "bedding"
    rate = herd.kg_head_day
    if rate is None:
        rate = coefficients.value(f"demand.{kind}.{herd.housing}")
    waste = coefficients.value(f"demand.waste.{herd.housing}") if kind == "feed" else 0.0
    return rate, waste


def need_table(
    need: Need,
    storage: Storage,
    wrap: Wrap,
    bale: BaleSize,
    coefficients: Handbook,
    season: int,
    *,
    ground: str = "soil",
    value_per_mg: float | None = None,
) -> pd.DataFrame:
    """Return the draw of each need, month by month, and the bales to make for it.

    Bales age until they are drawn, so the same need takes more bales late than early. Where the
    plan leaves wrap or base open, each month counts with the cheapest one for bales drawn then.

    Parameters
    ----------
    need, storage, wrap : sections of the plan
    bale : BaleSize
    coefficients : Handbook
    season : int
        Year of the grain harvest.
    ground : {"soil", "clay"}
        What bare ground is where the bales stand.
    value_per_mg : float, optional
        Of a dry Mg where it is used, for choosing among open storage options.

    Returns
    -------
    pandas.DataFrame
        need, month, year, days, dry_mg (to be drawn, feeding waste in it), months_stored, wrap,
        base, loss_pct, bales (whole bales to make; a need's months add up to its whole number).

    Raises
    ------
    OutsideGroundError
        When no storage option the plan allows can be answered for, with the reason.

    Examples
    --------
    A hundred head bedded in January and February, at 2 kg a head and day as weighed out:

    >>> from stovergeo import bale_of, load_handbook, need_table
    >>> from stovergeo.inputs.plan import Bale, Need, Storage, Wrap
    >>> coefficients = load_handbook()
    >>> herd = {"name": "cows", "head": 100, "kg_head_day": 2, "months": ["Jan", "Feb"]}
    >>> bale = bale_of(Bale(size="5x6"), None, coefficients)
    >>> table = need_table(Need(herd=[herd]), Storage(), Wrap(), bale, coefficients, season=2026)
    >>> table[["month", "year", "days"]].values.tolist()
    [[1, 2027, 31], [2, 2027, 28]]
    >>> bool(table["bales"].sum() * bale.dry_kg / 1000 > table["dry_mg"].sum())  # storage loses some
    True
    """
    among = planned(storage, wrap, bale, ground)
    more: dict[str, Any] = {"value_per_mg": value_per_mg, "among": among, "road_haul_km": need.longest_haul_km}
    table = wrap_table(storage, wrap, bale, coefficients, season, **more)
    if not table["best"].any():
        raise OutsideGroundError(table["message"].iloc[0])
    best = table[table["best"]].drop_duplicates(["year", "month"]).reset_index(drop=True)
    kept = best[["wrap", "base", "counted_pct"]].rename(columns={"counted_pct": "loss_pct"})
    uses = months_of_use(storage, season)
    frames = [_draw(herd.name, _herd_mg(herd, uses, coefficients), uses, kept, bale) for herd in need.herd]
    frames += [_draw(c.name, _contract_mg(c, uses), uses, kept, bale) for c in need.contract]
    columns = ["need", "month", "year", "days", "dry_mg", "months_stored", "wrap", "base", "loss_pct", "bales"]
    return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


def _herd_mg(herd: Herd, uses: list[MonthOfUse], coefficients: Handbook) -> np.ndarray:
    """Return what a herd draws in each month, dry Mg."""
    rate, waste = herd_rate(herd, coefficients)
    as_used = herd_mass_kg(herd.head, rate, _days_in(herd.months, uses), waste, coefficients.value("demand.spare"))
    return as_used * (1 - coefficients.value("bale.moisture_in_use") / 100) / 1000


def _days_in(months: Collection[str], uses: list[MonthOfUse]) -> np.ndarray:
    return np.array([use.days if MONTHS[use.month - 1] in months else 0 for use in uses], dtype=float)


def _contract_mg(contract: Contract, uses: list[MonthOfUse]) -> np.ndarray:
    """Return what a contract draws in each month, dry Mg, spread over its days."""
    days = _days_in(contract.months, uses)
    return contract.dry_mg * days / days.sum()


def _draw(name: str, dry_mg: np.ndarray, uses: list[MonthOfUse], kept: pd.DataFrame, bale: BaleSize) -> pd.DataFrame:
    frame = kept.assign(
        need=name,
        month=[use.month for use in uses],
        year=[use.year for use in uses],
        days=[use.days for use in uses],
        months_stored=[use.months_stored for use in uses],
        dry_mg=dry_mg,
    )
    exact = bales_needed(dry_mg * 1000, bale.dry_kg, kept["loss_pct"].to_numpy() / 100)
    # round up the running sum, so that the months add up to the whole need rounded up once
    running = np.array([math.ceil(sum_ - 1e-9) for sum_ in np.cumsum(exact)])
    frame["bales"] = np.diff(running, prepend=0)
    return frame[frame["dry_mg"] > 0]
