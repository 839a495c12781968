"""The chance to finish: years that did, of years replayed, and how far it may be off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from stovergeo.core.messages import Catalog, Message
from stovergeo.window.autumns import Autumns
from stovergeo.window.progress import NEVER, Season
from stovergeo.window.replay import Replay

message = Catalog("stovergeo.window")
_Z = 1.96  #: standard deviations of an interval of 95 %


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance to finish by a day, with both of its bands."""

    finished: int  #: years, with the handbook's own numbers
    years: int
    low: float  #: interval by the number of years
    high: float
    drawn: float  #: median over the draws of the model, NaN without draws
    drawn_low: float  #: 10 % of the draws give less
    drawn_high: float  #: 10 % of the draws give more

    @property
    def value(self) -> float:
        """Share of the years."""
        return self.finished / self.years


def wilson(finished: int, years: int) -> tuple[float, float]:
    """Return the interval of a chance from a count of years (Wilson 1927, 95 %, form from memory).

    Examples
    --------
    >>> [round(end, 3) for end in wilson(24, 30)]
    [0.627, 0.905]
    """
    p, z2 = finished / years, _Z * _Z
    middle = p + z2 / (2 * years)
    half = _Z * math.sqrt(p * (1 - p) / years + z2 / (4 * years * years))
    below = 1 + z2 / years
    return max(0.0, (middle - half) / below), min(1.0, (middle + half) / below)


def chance(found: Replay, by_day: int, fields: list[int] | None = None, last: int | None = None) -> Chance:
    """Return the chance that fields are finished by a day of the autumn.

    Parameters
    ----------
    found : Replay
    by_day : int
        That day included.
    fields : list of int, optional
        Indices of fields; all if left out.
    last : int, optional
        Only so many of the latest years, to see a trend.
    """
    rows = slice(None) if last is None else slice(-last, None)
    columns = slice(None) if fields is None else fields

    def share(season: Season) -> np.ndarray:
        return np.all(season.done[rows][:, columns] <= by_day, axis=1)

    own = share(found.middle)
    low, high = wilson(int(own.sum()), len(own))
    drawn = [float(share(season).mean()) for season in found.draws]
    bands = np.quantile(drawn, (0.5, 0.1, 0.9)).tolist() if drawn else [math.nan] * 3
    return Chance(int(own.sum()), len(own), low, high, *bands)


def days_done(fit_hours: np.ndarray, work_h: float) -> np.ndarray:
    """Return the day, counted from 1, on which work of so many hours is done in each year; `NEVER` where it is not.

    Parameters
    ----------
    fit_hours : array (years, days)
    work_h : float
        Hours of the machine, or of all machines over their number.
    """
    enough = np.cumsum(fit_hours, axis=1) >= work_h - 1e-9
    return np.where(enough.any(axis=1), enough.argmax(axis=1) + 1, NEVER)


def likely_days(found: Replay, names: list[str]) -> pd.DataFrame:
    """Return the days on which each field is likely to be finished.

    Returns
    -------
    DataFrame
        field; chance (share of the years in which it is finished at all); early, middle, late: the day by which it is
        finished in 1, 5 and 8 of 10 years, not known where it is finished in fewer years.
    """
    rows = []
    for k, name in enumerate(names):
        done = found.middle.done[:, k]
        days = [_day_in(done, share) for share in (0.1, 0.5, 0.8)]
        rows.append((name, float((done < NEVER).mean()), *days))
    return pd.DataFrame(rows, columns=["field", "chance", "early", "middle", "late"])


def _day_in(done: np.ndarray, share: float) -> float:
    """Return the day by which a share of the years is done, NaN where fewer are."""
    day = int(np.sort(done)[math.ceil(share * len(done)) - 1])
    return math.nan if day >= NEVER else float(day)


def bales_by_day(found: Replay) -> pd.DataFrame:
    """Return bales made by the end of each day: in a poor, a middling and a good year (1, 5 and 9 of 10)."""
    made = np.cumsum(found.middle.made, axis=1)
    low, middle, high = np.quantile(made, (0.1, 0.5, 0.9), axis=0)
    return pd.DataFrame({"day": np.arange(made.shape[1]), "low": low, "middle": middle, "high": high})


def sure_bales(found: Replay, by_day: int, share: float) -> int:
    """Return the bales made by a day in at least such a share of the years, whole."""
    made = np.sort(found.middle.made[:, : by_day + 1].sum(axis=1))[::-1]
    return math.floor(made[math.ceil(share * len(made) - 1e-9) - 1] + 1e-6)


def idle_hours(found: Replay, by_day: int) -> float:
    """Return fit hours up to a day in which the balers did not bale, all balers together, mean of the years."""
    season = found.middle
    idle = np.maximum(0.0, season.fit_h[:, : by_day + 1] - season.worked_h[:, : by_day + 1])
    return float(found.balers * idle.sum(axis=1).mean())


def chance_messages(found: Chance, past: Autumns, by_day: int) -> list[Message]:
    """Return the chance in words: years, both bands, and that it is no forecast."""
    day = date(2001, *past.start) + timedelta(days=by_day)
    years = {"finished": found.finished, "years": found.years, "low": found.low, "high": found.high}
    said = [message("chance.years", **years, month=day.month, day=day.day)]
    if math.isfinite(found.drawn):
        said.append(message("chance.model", low=found.drawn_low, high=found.drawn_high))
    return [*said, message("chance.not_forecast")]
