"""Work that goes from field to field over the days: the combine, the shredder, the balers."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.window.chain import Blocks

#: a field whose work is not done within the autumn
NEVER = 32_000
#: days of slack below which an open field is left for another (judgment)
_URGENT_D = 2.0


class Calendar(NamedTuple):
    """Days on which the crew of one year works, arrays of (years, days) or (years,)."""

    off: np.ndarray  #: days off and breakdowns
    pace: np.ndarray  #: of the year's balers, over their typical pace, (years,)
    begin: np.ndarray  #: first day of baling, (years,)
    first_hour: float  #: of the crew's day; it may move before stover is fit


class Task(NamedTuple):
    """What there is to bale, arrays of (fields,)."""

    bales: np.ndarray
    rate_dry: np.ndarray  #: bales an hour of all balers together, below the moisture of wet stover
    rate_wet: np.ndarray
    wet_pct: float
    deadline: np.ndarray  #: last day on which the field may be baled
    order: np.ndarray  #: indices of fields, first to last
    daily: bool  #: whether the field is chosen each morning, and not by the order alone
    block_h: float  #: fewest fit hours for which the crew goes out
    move_h: np.ndarray  #: from field to field, (fields, fields)


class Season(NamedTuple):
    """What was baled, by year."""

    done: np.ndarray  #: day on which each field is finished, `NEVER` where it is not, (years, fields)
    left: np.ndarray  #: bales not made, (years, fields)
    made: np.ndarray  #: bales of all fields by day, (years, days)
    worked_h: np.ndarray  #: hours baled by day, (years, days)
    fit_h: np.ndarray  #: hours of the field with the longest fit block by day, (years, days)
    moves: np.ndarray  #: changes of field, (years,)


@njit(cache=True, nogil=True)
def days_of_work(
    carries: np.ndarray, dry: np.ndarray, ready: np.ndarray, area_ha: np.ndarray, order: np.ndarray, ha_day: float
) -> np.ndarray:
    """Return the day on which a machine finishes each field, (years, fields).

    It works on days whose rain is small (`dry`) and in fields whose ground carries all day; each time the field that
    was ready first comes first, and of several the first of the order.
    """
    years, fields, days = carries.shape
    done = np.full((years, fields), NEVER, np.int64)
    for y in range(years):
        left = area_ha.copy()
        for d in range(days):
            share = 1.0 if dry[y, d] else 0.0
            while share > 0:
                best = -1
                for f in order:
                    open_now = left[f] > 0 and ready[y, f] <= d and carries[y, f, d] >= 24
                    if open_now and (best < 0 or ready[y, f] < ready[y, best]):
                        best = f
                if best < 0:
                    break
                taken = min(left[best], share * ha_day)
                share -= taken / ha_day
                left[best] -= taken
                if left[best] <= 1e-9 * area_ha[best]:
                    left[best] = 0.0
                    done[y, best] = d
                if share < 1e-9:
                    break
    return done


@njit(cache=True, nogil=True)
def _goes_out(hours: float, block_h: float) -> bool:
    """Return whether the crew goes out for so many fit hours."""
    return hours > 0 and hours >= block_h


@njit(cache=True, nogil=True)
def _slack_d(task: Task, left: np.ndarray, f: int, d: int, hours: float) -> float:
    """Return days to a field's deadline less days of work left there, at the hours of this day."""
    return task.deadline[f] - d - left[f] / (task.rate_dry[f] * hours)


@njit(cache=True, nogil=True)
def _next(task: Task, blocks: Blocks, left: np.ndarray, here: int, y: int, d: int) -> int:
    """Return the field to bale next, -1 for none.

    A field once opened is finished first while it is fit, unless another one is about to miss its deadline.
    """
    best, least, urgent = -1, 0.0, np.inf
    stays = task.daily and here >= 0 and left[here] > 0 and d <= task.deadline[here]
    if stays and _goes_out(blocks.hours[y, here, d], task.block_h):
        best, urgent = here, _URGENT_D
        least = _slack_d(task, left, here, d, blocks.hours[y, here, d])
    for f in task.order:
        if left[f] <= 0 or d > task.deadline[f]:
            continue
        hours = blocks.hours[y, f, d]
        if not task.daily:
            return f if _goes_out(hours, task.block_h) else -1
        if not _goes_out(hours, task.block_h):
            continue
        slack = _slack_d(task, left, f, d, hours)
        if best < 0 or (slack < least and slack < urgent):
            best, least = f, slack
    return best


@njit(cache=True, nogil=True)
def bale(task: Task, blocks: Blocks, calendar: Calendar) -> Season:
    """Return what is baled on each day of each year.

    All balers work in the same field. By the order, the first field that is not finished is baled and nothing is
    done on days on which it is not fit; chosen daily, the fit field with the least slack is baled: days to its
    deadline less days of work left.
    """
    years, fields, days = blocks.hours.shape
    done = np.full((years, fields), NEVER, np.int64)
    remaining = np.empty((years, fields))
    made, worked, fit = np.zeros((years, days)), np.zeros((years, days)), np.zeros((years, days))
    moves = np.zeros(years, np.int64)
    for y in range(years):
        left = task.bales.copy()
        here = -1
        for d in range(max(0, calendar.begin[y]), days):
            if calendar.off[y, d]:
                continue
            for f in range(fields):
                fit[y, d] = max(fit[y, d], blocks.hours[y, f, d])
            clock = calendar.first_hour
            while True:
                f = _next(task, blocks, left, here, y, d)
                if f < 0:
                    break
                end = float(blocks.first[y, f, d]) + blocks.hours[y, f, d]
                moved = here >= 0 and here != f
                start = max(float(blocks.first[y, f, d]), clock + (task.move_h[here, f] if moved else 0.0))
                if end - start < task.block_h:
                    break
                wet = blocks.moisture[y, f, d] > task.wet_pct
                rate = calendar.pace[y] * (task.rate_wet[f] if wet else task.rate_dry[f])
                now = min(left[f], rate * (end - start))
                moves[y] += moved
                here = f
                made[y, d] += now
                worked[y, d] += now / rate
                clock = start + now / rate
                left[f] -= now
                if left[f] > 1e-9 * task.bales[f]:
                    break
                left[f] = 0.0
                done[y, f] = d
        remaining[y] = left
    return Season(done, remaining, made, worked, fit, moves)
