"""What storage costs in stover, and when a dearer storage option pays, as messages."""

from __future__ import annotations

import math
from datetime import date

import pandas as pd

from stovergeo.bales.storage import month_message, way_message
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
    told = []
    for _, run in best.groupby((way != way.shift()).cumsum()):
        first, last = run.iloc[0], run.iloc[-1]
        way_of_run = way_message(first["wrap"], first["base"])
        told.append(message("storage.best", months=_months(first, last), way=way_of_run))
        told.append(message("storage.lost", first=float(first["loss_pct"]), last=float(last["loss_pct"])))
    return [*told, message("storage.band")] if told else []


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
    told = []
    for name, rows in need.groupby("need", sort=False):
        bales = int(rows["bales"].sum())
        dry = float(rows["dry_mg"].sum())
        loss = 100 * (1 - dry / (rows["dry_mg"] / (1 - rows["loss_pct"] / 100)).sum())
        if not math.isfinite(loss):
            continue
        late = rows.merge(table.loc[~table["in_season"], ["year", "month"]].drop_duplicates())
        told.append(message("storage.need", need=str(name), dry=dry, bales=bales, loss=loss))
        if len(late):
            months = tuple(message("storage.month", month=int(month)) for month in late["month"])
            told.append(message("storage.late", need=str(name), months=months, ends=ends))
    return told
