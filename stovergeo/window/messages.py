"""Messages on the crew's season: days, order, balers, the cost of a wait, and what would loosen a window that binds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from stovergeo.core.messages import Catalog, Message
from stovergeo.window.autumns import Autumns
from stovergeo.window.compare import Order, Wait

message = Catalog("stovergeo.window")


@dataclass(frozen=True, slots=True)
class Lever:
    """One change that would let more past autumns finish."""

    name: str  #: ``baler``, ``later``, ``shred``, or the store of `limit_pct` that takes wetter stover
    value: float  #: balers, the day of the autumn, or the limit of moisture in %; 0 where there is no number
    finished: int  #: autumns
    years: int


def day_at(past: Autumns, index: float) -> date:
    """Return the calendar day of a day of the autumn; its year means nothing."""
    return date(2001, *past.start) + timedelta(days=int(index))


def likely_messages(likely: pd.DataFrame, past: Autumns) -> list[Message]:
    """Return by field the days on which it is likely to be finished; see `likely_days`."""
    said = []
    for row in likely.itertuples(index=False):
        field = {"field": str(row.field)}
        days = {name: getattr(row, name) for name in ("early", "middle", "late")}
        known = {name: message("likely.day", **_day(past, day)) for name, day in days.items() if not math.isnan(day)}
        if len(known) == 3:
            said.append(message("likely.all", **field, **known))
        elif "middle" in known:
            said.append(message("likely.half", **field, middle=known["middle"], never=1 - row.chance))
        else:
            said.append(message("likely.seldom", **field, chance=row.chance))
    return said


def _day(past: Autumns, index: float) -> dict[str, int]:
    day = day_at(past, index)
    return {"month": day.month, "day": day.day}


def order_messages(order: Order, names: Sequence[str], past: Autumns, by_day: int) -> list[Message]:
    """Return the best fixed order of the fields, and what a choice each morning brings beside it."""
    if len(order.fields) < 2:
        return []
    listed = tuple(names[k] for k in order.fields)
    bales = {"bales": round(order.bales), "daily": round(order.bales_daily)}
    return [message("order.best", fields=listed), message("order.brings", **bales, **_day(past, by_day))]


def fewest_messages(fewest: int | None, tried: int, wanted: float) -> list[Message]:
    """Return the smallest number of balers that finish with the wanted chance."""
    if fewest is None:
        return [message("balers.none", most=tried, wanted=wanted)]
    return [message("balers.fewest", balers=fewest, wanted=wanted)]


def baler_messages(table: pd.DataFrame) -> list[Message]:
    """Return by number of balers the chance with its interval, and the hours they stand still; see `balers_needed`."""
    return [
        message(
            "balers.row", balers=int(row.balers), chance=row.chance, low=row.low, high=row.high, idle=row.idle_hours
        )
        for row in table.itertuples(index=False)
    ]


def wait_messages(wait: Wait) -> list[Message]:
    """Return what it costs to start later: chance, bales, and stover that is lost lying."""
    chances = {"now": wait.chance_now.value, "later": wait.chance_later.value}
    low, high = wait.lost_mg
    said = [message("wait.chance", days=wait.days, **chances)]
    if round(wait.risk_bales) > 0:
        said.append(message("wait.bales", bales=round(wait.risk_bales), cost=wait.risk_value))
    worth = {"cost_low": wait.lost_value[0], "cost_high": wait.lost_value[1]}
    return [*said, message("wait.lost", low=low, high=high, **worth)]


def loosen_messages(
    levers: Sequence[Lever], past: Autumns, sure_bales: int, bales: int, wanted: float
) -> list[Message]:
    """Return that the window binds, what is made with the wanted chance all the same, and what would loosen it.

    Parameters
    ----------
    levers : sequence of Lever
    past : Autumns
    sure_bales : int
        Bales that are made by the day with the wanted chance.
    bales : int
        Bales planned.
    wanted : float
    """
    some = message("loosen.binds", wanted=wanted, bales=sure_bales, planned=bales)
    said = [some if sure_bales else message("loosen.binds_all", wanted=wanted)]
    for lever in levers:
        counts = {"finished": lever.finished, "years": lever.years}
        if lever.name == "baler":
            said.append(message("loosen.baler", **counts, balers=int(lever.value)))
        elif lever.name == "later":
            said.append(message("loosen.later", **counts, **_day(past, lever.value)))
        elif lever.name == "shred":
            said.append(message("loosen.shred", **counts))
        else:
            said.append(message(f"loosen.{lever.name}", **counts, limit=lever.value))
    return said if levers else [*said, message("loosen.none")]
