"""When a dearer wrap or base pays: from which month of use, and from which price of stover."""

from __future__ import annotations

import math

import pandas as pd

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.loss import break_even_price_per_mg
from stovergeo.bales.storage import TITLES
from stovergeo.inputs.plan.need import MONTHS


def break_even_table(table: pd.DataFrame, bale: BaleSize, against: tuple[str, str] | None = None) -> pd.DataFrame:
    """Return, for each way of keeping, from which month and from which price it beats a plain one.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    bale : BaleSize
    against : (wrap, base), optional
        The way to beat; left out: net on bare ground, or the table's first way where it has no net.

    Returns
    -------
    pandas.DataFrame
        wrap, base, added_cost ($ a bale more than the plain way, loss not counted), saved_pct
        (points of loss saved in the season's last month), price_mg (price of a dry Mg from which
        it pays for that month's bales: 0 at any price, infinite at none), price_if_high_mg (the same
        where losses reach the high end of their band), from_month and
        from_year (first month of use in which it pays at the table's price; 0 where in none),
        words.
    """
    columns = [
        "wrap",
        "base",
        "added_cost",
        "saved_pct",
        "price_mg",
        "price_if_high_mg",
        "from_month",
        "from_year",
        "words",
    ]
    season = table[table["in_season"]]
    against = against or _plainest(season)
    plain = _of(season, against)
    if plain.empty or plain["words"].iloc[0]:
        return pd.DataFrame(columns=columns)
    rows = []
    for way in season.drop_duplicates(["wrap", "base"])[["wrap", "base"]].itertuples(index=False, name=None):
        own = _of(season, way)
        if way == against or own["words"].iloc[0]:
            continue
        # what it costs more does not change with the months
        fixed = ["wrap_cost", "base_cost", "time_cost"]
        added = float((own[fixed] - plain[fixed]).iloc[0].sum())
        saved = float((plain["counted_pct"] - own["counted_pct"]).iloc[-1])
        price = break_even_price_per_mg(added, bale.dry_kg / 1000, saved / 100)
        saved_high = float((plain["loss_high_pct"] - own["loss_high_pct"]).iloc[-1])
        if_high = break_even_price_per_mg(added, bale.dry_kg / 1000, saved_high / 100)
        pays = own["cost_bale"] < plain["cost_bale"]
        first = own.loc[pays.idxmax()] if pays.any() else None
        month, year = (int(first["month"]), int(first["year"])) if first is not None else (0, 0)
        words = _words(way, against, month, year, added, saved, price, if_high, bool(pays.iloc[0]))
        rows.append((*way, added, saved, price, if_high, month, year, words))
    return pd.DataFrame(rows, columns=columns)


def _plainest(table: pd.DataFrame) -> tuple[str, str]:
    wrap = "net" if (table["wrap"] == "net").any() else str(table["wrap"].iloc[0])
    return wrap, str(table["base"].iloc[0])


def _of(table: pd.DataFrame, way: tuple[str, str]) -> pd.DataFrame:
    return table[(table["wrap"] == way[0]) & (table["base"] == way[1])].reset_index(drop=True)


def _words(
    way: tuple[str, str],
    against: tuple[str, str],
    month: int,
    year: int,
    added: float,
    saved: float,
    price: float,
    if_high: float,
    from_start: bool,
) -> str:
    name, plain = (f"{TITLES[w]} on {TITLES[b]}" for w, b in (way, against))
    start = f"{name[0].upper()}{name[1:]}"
    if month and from_start:
        return f"{start} pays against {plain} for bales used in any month."
    if month:
        return f"{start} pays against {plain} for bales used from {MONTHS[month - 1]} {year} on."
    if math.isinf(price):
        return f"{start} does not pay: it costs ${added:.2f} a bale more than {plain} and loses no less."
    return (
        f"{start} does not pay: it saves {saved:.1f} points of loss for ${added:.2f} a bale, "
        f"which takes stover worth {price:.0f} $/Mg ({if_high:.0f} $/Mg where losses run high)."
    )
