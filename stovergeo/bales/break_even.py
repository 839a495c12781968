"""When a dearer wrap or base pays: from which month of use, and from which price of stover."""

from __future__ import annotations

import math

import pandas as pd

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.loss import break_even_price_per_mg
from stovergeo.bales.storage import month_message, way_message
from stovergeo.core.bale_catalog import STANDARD_WRAP
from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.bales")


def break_even_table(table: pd.DataFrame, bale: BaleSize, against: tuple[str, str] | None = None) -> pd.DataFrame:
    """Return, for each storage option, from which month and from which price it beats a plain one.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    bale : BaleSize
    against : (wrap, base), optional
        The storage option to beat; left out: the standard wrap on bare ground, or the
        table's first way where it lacks that.

    Returns
    -------
    pandas.DataFrame
        wrap, base, added_cost ($ a bale more than the plain way, loss not counted), saved_pct
        (points of loss saved in the season's last month), price_mg (price of a dry Mg from which
        it pays for that month's bales: 0 at any price, infinite at none), price_if_high_mg (the same
        where losses reach the high end of their band), from_month and
        from_year (first month of use in which it pays at the table's price; 0 where in none),
        message.
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
        "message",
    ]
    season = table[table["in_season"]]
    against = against or _plainest(season)
    plain = _of(season, against)
    if plain.empty or plain["message"].iloc[0] is not None:
        return pd.DataFrame(columns=columns)
    rows = []
    for way in season.drop_duplicates(["wrap", "base"])[["wrap", "base"]].itertuples(index=False, name=None):
        own = _of(season, way)
        if way == against or own["message"].iloc[0] is not None:
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
        told = _message(way, against, month, year, added, saved, price, if_high, bool(pays.iloc[0]))
        rows.append((*way, added, saved, price, if_high, month, year, told))
    return pd.DataFrame(rows, columns=columns)


def _plainest(table: pd.DataFrame) -> tuple[str, str]:
    wrap = STANDARD_WRAP if (table["wrap"] == STANDARD_WRAP).any() else str(table["wrap"].iloc[0])
    return wrap, str(table["base"].iloc[0])


def _of(table: pd.DataFrame, way: tuple[str, str]) -> pd.DataFrame:
    return table[(table["wrap"] == way[0]) & (table["base"] == way[1])].reset_index(drop=True)


def _message(
    way: tuple[str, str],
    against: tuple[str, str],
    month: int,
    year: int,
    added: float,
    saved: float,
    price: float,
    if_high: float,
    from_start: bool,
) -> Message:
    both = {"way": way_message(*way), "plain": way_message(*against)}
    if month and from_start:
        return message("break_even.any_month", **both)
    if month:
        return message("break_even.from_month", **both, start=month_message(month, year))
    if math.isinf(price):
        return message("break_even.saves_nothing", **both, added=added)
    values = {"way": both["way"], "added": added, "saved": saved, "price": price}
    if math.isinf(if_high):
        return message("break_even.too_dear", **values)
    return message("break_even.too_dear_if_high", **values, price_if_high=if_high)
