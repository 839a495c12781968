"""What storage costs in stover, and when a dearer storage option pays, as messages."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pandas as pd

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.storage import break_even_price_per_mg, month_message, way_message
from stovergeo.core.bale_catalog import BASES, STANDARD_WRAP, WRAPS
from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.bales")


def storage_messages(table: pd.DataFrame, need: pd.DataFrame, ends: date) -> list[Message]:
    """Return which storage option is cheapest for which months, and what each need uses.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    need : pandas.DataFrame
        From `need_table`.
    ends : date
        Day the last bale is used, by the plan (`storage_span`).
    """
    season = table[table["in_season"]]
    refused = season[season["message"].notna()].drop_duplicates("wrap")
    return [
        *_best(season),
        *_used(need, table, ends),
        *(message("storage.refused", wrap=WRAPS[r.wrap].title, why=r.message) for r in refused.itertuples()),
    ]


def _best(season: pd.DataFrame) -> list[Message]:
    best = season[season["best"]].drop_duplicates(["year", "month"])
    way = best["wrap"] + " " + best["base"]
    found = []
    for _, run in best.groupby((way != way.shift()).cumsum()):
        first, last = run.iloc[0], run.iloc[-1]
        way_of_run = way_message(first["wrap"], first["base"])
        found.append(message("storage.best", months=_months(first, last), way=way_of_run))
        found.append(message("storage.lost", first=float(first["loss_pct"]), last=float(last["loss_pct"])))
    return [*found, message("storage.band")] if found else []


def _months(first: pd.Series, last: pd.Series) -> Message:
    start, end = (month_message(row["month"], row["year"]) for row in (first, last))
    return (
        message("storage.in_month", month=start) if start == end else message("storage.from_to", first=start, last=end)
    )


def break_even_messages(break_even: pd.DataFrame) -> list[Message]:
    """Return from when gravel, and the covers that growers weigh against net, pay.

    Parameters
    ----------
    break_even : pandas.DataFrame
        From `break_even_table`. What is returned holds money.
    """
    covers = {name for name, wrap in WRAPS.items() if wrap.rain_cover}
    bare = {name for name, base in BASES.items() if base.bare}
    cover = break_even[break_even["wrap"].isin(covers) & break_even["base"].isin(bare)]
    gravel = break_even[(break_even["wrap"] == STANDARD_WRAP) & (break_even["base"] == "gravel")]
    return [*gravel["message"], *cover["message"], *([message("break_even.not_counted")] if len(cover) else [])]


def _used(need: pd.DataFrame, table: pd.DataFrame, ends: date) -> list[Message]:
    found = []
    for name, rows in need.groupby("need", sort=False):
        bales = int(rows["bales"].sum())
        dry = float(rows["dry_mg"].sum())
        loss = 100 * (1 - dry / (rows["dry_mg"] / (1 - rows["loss_pct"] / 100)).sum())
        if not math.isfinite(loss):
            continue
        late = rows.merge(table.loc[~table["in_season"], ["year", "month"]].drop_duplicates())
        found.append(message("storage.need", need=str(name), dry=dry, bales=bales, loss=loss))
        if len(late):
            months = tuple(message("storage.month", month=int(month)) for month in late["month"])
            found.append(message("storage.late", need=str(name), months=months, ends=ends))
    return found


def break_even_table(
    table: pd.DataFrame, bale: BaleSize, against: tuple[str, str] | None = None, *, rejected_max: float = 0.0
) -> pd.DataFrame:
    """Return, for each storage option, from which month and from which price it beats a plain one.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    bale : BaleSize
    against : (wrap, base), optional
        The storage option to beat; left out: the standard wrap on bare ground, or the
        table's first way where it lacks that.
    rejected_max : float
        Most of the spoiled skin that may be thrown away as well (the high end of ``storage.rim_rejected``). An option
        that pays only then is neither said to pay nor not to.

    Returns
    -------
    pandas.DataFrame
        wrap, base, added_cost ($ a bale more than the plain way, loss not counted), saved_pct
        (points of loss saved in the season's last month), price_mg (price of a dry Mg from which
        it pays for that month's bales: 0 at any price, infinite at none), price_if_high_mg (the same
        where losses reach the high end of their band), price_if_rejected_mg (the same where `rejected_max` of the
        spoiled skin is thrown away), from_month and
        from_year (first month of use in which it pays at the table's price; 0 where in none),
        message.
    """
    columns = ["wrap", "base", "added_cost", "saved_pct", "price_mg", "price_if_high_mg"]
    columns += ["price_if_rejected_mg", "from_month", "from_year", "message"]
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
        skin = rejected_max * float((plain["rim_pct"] - own["rim_pct"]).fillna(0.0).iloc[-1])
        saved_rejected = max(float((plain["loss_pct"] - own["loss_pct"]).iloc[-1]) + skin, saved)
        if_rejected = break_even_price_per_mg(added, bale.dry_kg / 1000, saved_rejected / 100)
        pays = own["cost_bale"] < plain["cost_bale"]
        first = own.loc[pays.idxmax()] if pays.any() else None
        month, year = (int(first["month"]), int(first["year"])) if first is not None else (0, 0)
        row = (*way, added, saved, price, if_high, if_rejected, month, year)
        hangs = not month and if_rejected < _worth_per_mg(plain, bale)
        both = {"way": way_message(*way), "share": rejected_max}
        said = message("break_even.unknown", **both) if hangs else _message(against, bool(pays.iloc[0]), row)
        rows.append((*row, said))
    return pd.DataFrame(rows, columns=columns)


def _worth_per_mg(plain: pd.DataFrame, bale: BaleSize) -> float:
    """Return what the table takes a dry Mg to be worth, $, from the largest of its losses; NaN where none is lost."""
    last = plain.loc[plain["counted_pct"].idxmax()]
    lost_mg = bale.dry_kg / 1000 * float(last["counted_pct"]) / 100
    return float(last["loss_cost"]) / lost_mg if lost_mg > 0 else math.nan


def _plainest(table: pd.DataFrame) -> tuple[str, str]:
    wrap = STANDARD_WRAP if (table["wrap"] == STANDARD_WRAP).any() else str(table["wrap"].iloc[0])
    return wrap, str(table["base"].iloc[0])


def _of(table: pd.DataFrame, way: tuple[str, str]) -> pd.DataFrame:
    return table[(table["wrap"] == way[0]) & (table["base"] == way[1])].reset_index(drop=True)


def _message(against: tuple[str, str], from_start: bool, row: tuple[Any, ...]) -> Message:
    """Say what a row of the table means, all but its message given."""
    wrap, base, added, saved, price, if_high, _, month, year = row
    both = {"way": way_message(wrap, base), "plain": way_message(*against)}
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
