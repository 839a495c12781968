"""The storage part of the plan in plain sentences."""

from __future__ import annotations

import math

import pandas as pd

from stovergeo.bales.storage import TITLES
from stovergeo.inputs.plan.need import MONTHS


def storage_words(table: pd.DataFrame, need: pd.DataFrame) -> list[str]:
    """Say which way of keeping is cheapest for which months, and what the herds draw.

    Parameters
    ----------
    table : pandas.DataFrame
        From `wrap_table`.
    need : pandas.DataFrame
        From `need_table`.

    Returns
    -------
    list of str
        Sentences, quantities in metric units.
    """
    season = table[table["in_season"]]
    refused = season[season["words"] != ""].drop_duplicates(["wrap", "words"])
    return [
        *_best(season),
        *_drawn(need, table),
        *(f"{TITLES[r.wrap].capitalize()}: {r.words}" for r in refused.itertuples()),
    ]


def _best(season: pd.DataFrame) -> list[str]:
    best = season[season["best"]].drop_duplicates(["year", "month"])
    if best.empty:
        return []
    way = best["wrap"] + " " + best["base"]
    out = []
    for _, run in best.groupby((way != way.shift()).cumsum()):
        first, last = run.iloc[0], run.iloc[-1]
        name = f"{TITLES[first['wrap']]} on {TITLES[first['base']]}"
        out.append(
            f"For bales used {_span(first, last)}, {name} costs least: "
            f"{first['loss_pct']:.1f} to {last['loss_pct']:.1f} % of the dry matter is lost by then. "
            "Published losses lie from half to twice that."
        )
    return out


def _span(first: pd.Series, last: pd.Series) -> str:
    start = f"{MONTHS[int(first['month']) - 1]} {int(first['year'])}"
    end = f"{MONTHS[int(last['month']) - 1]} {int(last['year'])}"
    return f"in {start}" if start == end else f"from {start} to {end}"


def break_even_words(break_even: pd.DataFrame) -> list[str]:
    """Say from when the rain-shedding cover, which growers ask about first, and gravel pay.

    Parameters
    ----------
    break_even : pandas.DataFrame
        From `break_even_table`.

    Returns
    -------
    list of str
        Sentences with money in them.
    """
    cover = break_even[(break_even["wrap"] == "full_cover") & break_even["base"].isin(["soil", "clay"])]
    gravel = break_even[(break_even["wrap"] == "net") & (break_even["base"] == "gravel")]
    out = [*gravel["words"], *cover["words"]]
    if len(cover):
        out.append(
            "Not counted for a cover: drier bales at delivery, fewer broken ones, no net frozen in, less rot below. "
            "No trial weighed such covers on stover; all were on hay or grass."
        )
    return out


def _drawn(need: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    out = []
    for name, rows in need.groupby("need", sort=False):
        bales = int(rows["bales"].sum())
        dry = float(rows["dry_mg"].sum())
        loss = 100 * (1 - dry / (rows["dry_mg"] / (1 - rows["loss_pct"] / 100)).sum())
        if not math.isfinite(loss):
            continue
        late = rows.merge(table.loc[~table["in_season"], ["year", "month"]].drop_duplicates())
        out.append(
            f"{name}: {dry:.0f} Mg dry to be drawn, for which {bales:,} bales are made; "
            f"{loss:.1f} % is lost before use."
        )
        if len(late):
            months = ", ".join(MONTHS[month - 1] for month in late["month"])
            out.append(f"{name} draws on in {months}, after the last use that the plan's [storage] names.")
    return out
