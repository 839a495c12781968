"""Order of fields, number of balers, and what a wait costs: replays compared on the same years and draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import KG_PER_MG
from stovergeo.window.autumns import Autumns
from stovergeo.window.chance import Chance, chance, idle_hours
from stovergeo.window.draws import middle
from stovergeo.window.replay import Replay, blocks_of, replay, replay_balers, season_of, setting
from stovergeo.window.work import Crew, FieldToBale


@dataclass(frozen=True, slots=True)
class Order:
    """An order of fields, and what it brings."""

    fields: list[int]
    bales: float  #: made by the day, mean of the years
    bales_at_start: float  #: by the order one would start from
    bales_daily: float  #: where the field is chosen each morning


def best_order(
    past: Autumns,
    fields: list[FieldToBale],
    crew: Crew,
    coefficients: Handbook,
    by_day: int,
    bales_per_move: float = 0.0,
) -> Order:
    """Return a good fixed order of the fields: neighbors are swapped as long as a swap gains.

    What counts is the mean over the years of bales made by a day, less a number of bales for each change of field;
    all orders meet the same years. A choice each morning mostly beats any order; both are reported.
    """
    shared = setting(past, fields, crew, coefficients)
    one = middle(past, fields, coefficients)
    blocks = blocks_of(shared, one)
    fixed = shared._replace(crew=replace(crew, daily=False))

    def worth(order: list[int], chosen_daily: bool = False) -> float:
        plan = shared._replace(crew=replace(crew, daily=True)) if chosen_daily else fixed
        season = season_of(plan, one, blocks, order, crew.balers)
        made = season.made[:, : by_day + 1].sum(axis=1) - bales_per_move * season.moves
        return float(made.mean())

    order = list(shared.order)
    start = best = worth(order)
    gained = True
    while gained:
        gained = False
        for k in range(len(order) - 1):
            other = [*order[:k], order[k + 1], order[k], *order[k + 2 :]]
            if (bales := worth(other)) > best + 1e-9:
                order, best, gained = other, bales, True
    return Order(order, best, start, worth(shared.order, chosen_daily=True))


def balers_needed(
    past: Autumns,
    fields: list[FieldToBale],
    crew: Crew,
    coefficients: Handbook,
    by_day: int,
    counts: Sequence[int] = (1, 2, 3, 4),
    draws: int = 200,
    seed: int = 0,
) -> tuple[int | None, pd.DataFrame]:
    """Return the fewest balers that finish by a day with the wanted chance, and all that were tried.

    Returns
    -------
    int or None
        None where no number tried reaches `window.chance.wanted`.
    DataFrame
        balers, chance, low, high, drawn, drawn_low, drawn_high; means of the years, of all balers together: idle_hours,
        hours, cost ($ of the hours).
    """
    return baler_table(replay_balers(past, fields, crew, coefficients, counts, draws, seed), coefficients, by_day)


def baler_table(found: Sequence[Replay], coefficients: Handbook, by_day: int) -> tuple[int | None, pd.DataFrame]:
    """Return what `balers_needed` does, of replays that are there already."""
    wanted = coefficients.value("window.chance.wanted")
    rows, fewest = [], None
    for one in found:
        by = chance(one, by_day)
        if fewest is None and by.value >= wanted:
            fewest = one.balers
        hours = one.balers * float(one.middle.worked_h[:, : by_day + 1].sum(axis=1).mean())
        spread = (by.low, by.high, by.drawn, by.drawn_low, by.drawn_high)
        cost = hours * coefficients.value("machine.baler_hour")
        rows.append((one.balers, by.value, *spread, idle_hours(one, by_day), hours, cost))
    names = ["balers", "chance", "low", "high", "drawn", "drawn_low", "drawn_high", "idle_hours", "hours", "cost"]
    return fewest, pd.DataFrame(rows, columns=names)


@dataclass(frozen=True, slots=True)
class Wait:
    """What it costs to start some days after the first day on which the crew could bale."""

    days: int
    chance_now: Chance
    chance_later: Chance
    unfinished_now: float  #: bales not made by the day, mean of the years
    unfinished_later: float
    lost_mg: tuple[float, float]  #: dry stover lost by lying for these days, low and high
    lost_value: tuple[float, float]  #: $, low and high
    risk_value: float  #: $ of the bales that are no longer made

    @property
    def risk_bales(self) -> float:
        """Bales that are no longer made, mean of the years."""
        return self.unfinished_later - self.unfinished_now


def cost_of_waiting(
    past: Autumns,
    fields: list[FieldToBale],
    crew: Crew,
    coefficients: Handbook,
    by_day: int,
    value_per_mg: float,
    days: int = 7,
    draws: int = 200,
) -> Wait:
    """Return what it costs to start some days after the first day of each year on which the crew could bale.

    Parameters
    ----------
    past, fields, crew, coefficients : see `replay`
    by_day : int
        Day by which the work is to be done.
    value_per_mg : float
        $ a dry Mg that would have to be bought, less what not baling it saves.
    days : int
    draws : int
    """
    later = replace(crew, wait_d=days)
    now, then = (replay(past, fields, who, coefficients, draws) for who in (crew, later))
    mass_mg = sum(f.bales * f.bale_dry_kg for f in fields) / KG_PER_MG
    loss = coefficients["window.wait.loss"]
    lost = (mass_mg * days * loss.low / 100, mass_mg * days * loss.high / 100)
    short = [unfinished(found, by_day) for found in (now, then)]
    bale_mg = mass_mg / sum(f.bales for f in fields)
    return Wait(
        days=days,
        chance_now=chance(now, by_day),
        chance_later=chance(then, by_day),
        unfinished_now=short[0],
        unfinished_later=short[1],
        lost_mg=lost,
        lost_value=(lost[0] * value_per_mg, lost[1] * value_per_mg),
        risk_value=(short[1] - short[0]) * bale_mg * value_per_mg,
    )


def unfinished(found: Replay, by_day: int) -> float:
    """Return the bales not made by a day, mean of the years."""
    season = found.middle
    all_bales = season.made.sum(axis=1) + season.left.sum(axis=1)
    return float(np.maximum(0.0, all_bales - season.made[:, : by_day + 1].sum(axis=1)).mean())
