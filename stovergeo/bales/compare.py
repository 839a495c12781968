"""Wraps and bases side by side: what each loses and costs by month of use, and when a dearer one pays."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.climate import baled_on, climate_of, months_of_use, rain_by_mm
from stovergeo.bales.loss import break_even_price_per_mg
from stovergeo.bales.storage import Keeping, storage_loss, why_not_kept
from stovergeo.bales.wrap import keeping_cost, net_turns
from stovergeo.handbook import Handbook
from stovergeo.plan_file.gather import Storage, Wrap

#: wraps compared, plainest first
_COMPARED = {"round": ("twine", "net", "tarp", "full_cover", "stretch_film"), "square": ("tarp", "stretch_film")}


def keepings(storage: Storage, bale: BaleSize, ground: str = "soil") -> list[Keeping]:
    """Return the ways of keeping worth comparing at the plan's place.

    Parameters
    ----------
    storage : Storage
        Section ``[storage]``.
    bale : BaleSize
    ground : {"soil", "clay"}
        What bare ground is at the yard (`base_of_ground`).
    """
    covered = storage.place != "outside"
    if covered:
        wraps: tuple[str, ...] = ("twine", "net") if bale.shape == "round" else ("twine",)
    else:
        wraps = _COMPARED[bale.shape]
    return [Keeping(w, b, storage.place, storage.pattern) for w in wraps for b in (ground, "gravel", "tires")]


def planned(storage: Storage, wrap: Wrap, bale: BaleSize, ground: str = "soil") -> list[Keeping]:
    """Return the ways of keeping the plan leaves open: one, or all where it says "best"."""
    base = ground if storage.base == "ground" else storage.base
    if wrap.kind != "best":
        bases = (ground, "gravel", "tires") if base == "best" else (base,)
        return [Keeping(wrap.kind, b, storage.place, storage.pattern) for b in bases]
    return [k for k in keepings(storage, bale, ground) if base in ("best", k.base)]


def wrap_table(
    storage: Storage,
    wrap: Wrap,
    bale: BaleSize,
    book: Handbook,
    season: int,
    *,
    ground: str = "soil",
    value_per_mg: float | None = None,
    among: list[Keeping] | None = None,
    road_haul_km: float = 0.0,
) -> pd.DataFrame:
    """Return loss and cost of each way of keeping, by month of use.

    Parameters
    ----------
    storage, wrap : sections of the plan
    bale : BaleSize
    book : Handbook
    season : int
        Year of the grain harvest.
    ground : {"soil", "clay"}
        What bare ground is where the bales stand.
    value_per_mg : float, optional
        Of a dry Mg where it is used; left out: the handbook's.
    among : list of Keeping, optional
        Compare these; left out: all of `keepings`.
    road_haul_km : float
        Longest road haul of these bales, for the turns of net.

    Returns
    -------
    pandas.DataFrame
        month, year, months_stored, rain_mm, wrap, base, place, loss_low_pct, loss_pct,
        loss_high_pct, wrap_cost, base_cost, time_cost, loss_cost ($ a bale), cost_bale (their
        sum), cost_mg ($ for each dry Mg that is left to use, the stover itself not counted),
        best (least cost_bale in its month), words (why a row is refused, else empty). A refused row
        has no loss and no cost.
    """
    worth = book.value("storage.worth") if value_per_mg is None else value_per_mg
    uses = months_of_use(storage, season)
    stored = np.array([use.months_stored for use in uses])
    rain = rain_by_mm(climate_of(storage, book), baled_on(storage, season), stored)
    turns = net_turns(wrap, storage, season, book, road_haul_km)
    dry_mg = bale.dry_kg / 1000
    parts = []
    for keeping in keepings(storage, bale, ground) if among is None else among:
        frame = pd.DataFrame(
            {
                "month": [use.month for use in uses],
                "year": [use.year for use in uses],
                "months_stored": stored,
                "rain_mm": rain,
                "wrap": keeping.wrap,
                "base": keeping.base,
                "place": keeping.place,
            }
        )
        refused = why_not_kept(keeping, bale.shape, bale.moisture_pct, book)
        numbers = ("loss_low_pct", "loss_pct", "loss_high_pct", "wrap_cost", "base_cost", "time_cost", "loss_cost")
        if refused:
            frame[list(numbers)] = np.nan
        else:
            loss = storage_loss(keeping, bale, stored, rain, book)
            cost = keeping_cost(keeping, bale, turns, wrap.overlap_m, book)
            worth_lost = dry_mg * loss.middle / 100 * worth
            for name, value in zip(numbers, (*loss, cost.wrap, cost.base, cost.time, worth_lost), strict=True):
                frame[name] = value
        frame["cost_bale"] = frame[["wrap_cost", "base_cost", "time_cost", "loss_cost"]].sum(axis=1, skipna=False)
        frame["cost_mg"] = frame["cost_bale"] / (dry_mg * (1 - frame["loss_pct"] / 100))
        frame["words"] = refused
        parts.append(frame)
    table = pd.concat(parts, ignore_index=True)
    least = table.groupby(["year", "month"])["cost_bale"].transform("min")
    table["best"] = table["cost_bale"].notna() & np.isclose(table["cost_bale"], least, rtol=1e-12, atol=0)
    order = table.sort_values(["year", "month"], kind="stable").reset_index(drop=True)
    return order


def break_even_table(table: pd.DataFrame, bale: BaleSize, against: tuple[str, str] = ("net", "soil")) -> pd.DataFrame:
    """Return, for each way of keeping, from which month and from which price it beats another.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    bale : BaleSize
    against : (wrap, base)
        The plain way to beat.

    Returns
    -------
    pandas.DataFrame
        wrap, base, added_cost ($ a bale, loss not counted), saved_pct (points of loss saved in
        the last month), price_mg (stover price from which it pays for the last month's bales,
        infinite where it never does), from_month and from_year (first month of use in which it
        pays at the table's price, 0 where it never does), words.
    """
    plain = table[(table["wrap"] == against[0]) & (table["base"] == against[1])].reset_index(drop=True)
    rows = []
    others = table.drop_duplicates(["wrap", "base"])[["wrap", "base"]]
    for wrap, base in others.itertuples(index=False):
        if (wrap, base) == against or plain.empty or plain["words"].iloc[0]:
            continue
        own = table[(table["wrap"] == wrap) & (table["base"] == base)].reset_index(drop=True)
        if own["words"].iloc[0]:
            continue
        costs = ["wrap_cost", "base_cost", "time_cost"]
        added = float(own[costs].iloc[0].sum() - plain[costs].iloc[0].sum())
        saved = plain["loss_pct"] - own["loss_pct"]
        price = break_even_price_per_mg(added, bale.dry_kg / 1000, float(saved.iloc[-1]) / 100)
        pays = own["cost_bale"] < plain["cost_bale"]
        first = int(pays.to_numpy().argmax()) if pays.any() else -1
        rows.append(
            {
                "wrap": wrap,
                "base": base,
                "added_cost": added,
                "saved_pct": float(saved.iloc[-1]),
                "price_mg": price,
                "from_month": int(own["month"].iloc[first]) if first >= 0 else 0,
                "from_year": int(own["year"].iloc[first]) if first >= 0 else 0,
                "words": _words(first >= 0, price),
            }
        )
    columns = ["wrap", "base", "added_cost", "saved_pct", "price_mg", "from_month", "from_year", "words"]
    return pd.DataFrame(rows, columns=columns)


def _words(pays: bool, price_mg: float) -> str:
    if pays:
        return "pays"
    return "does not pay at any price" if math.isinf(price_mg) else "does not pay"
