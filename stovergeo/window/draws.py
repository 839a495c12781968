"""Draws of what is not known: the model's constants, the ground, the year's machines and its start."""

from __future__ import annotations

from typing import NamedTuple
from zlib import crc32

import numpy as np

from stovergeo.core.coefficients import Coefficient, Handbook
from stovergeo.window.autumns import Autumns
from stovergeo.window.drying import KEYS, Drying, drying_of, moisture_at_combining_pct
from stovergeo.window.work import FieldToBale

#: constants that are drawn once for all years; the dew offset has a spread of its own
_DRAWN = ("tissue", "rain_water", "uptake", "held", "fills_mm", "soak", "a_pct")


class Draw(NamedTuple):
    """One set of what is not known."""

    drying: Drying
    start_pct: np.ndarray  #: moisture at combining, (years, fields)
    share: np.ndarray  #: water at which ground carries over its capacity, (fields,)
    pace: np.ndarray  #: (years,)
    broken: np.ndarray  #: days lost to breakdowns, (years, days)
    later_d: np.ndarray  #: days that the harvest starts later, (years,)


def middle(past: Autumns, fields: list[FieldToBale], coefficients: Handbook) -> Draw:
    """Return the handbook's own numbers, without breakdowns."""
    years = len(past.years)
    grain = np.array([f.grain_moisture_pct for f in fields])
    return Draw(
        drying=drying_of(coefficients),
        start_pct=np.tile(moisture_at_combining_pct(grain, coefficients), (years, 1)),
        share=np.full(len(fields), coefficients.value("window.ground.share")),
        pace=np.full(years, coefficients.value("window.draw.pace")),
        broken=np.zeros((years, past.days), dtype=bool),
        later_d=np.zeros(years, dtype=np.int64),
    )


def draw(past: Autumns, fields: list[FieldToBale], coefficients: Handbook, seed: int, number: int) -> Draw:
    """Return one draw; the same for a seed and number whatever is asked of it.

    What differs between fields comes from a stream named by the field, so that it does not hang on what other fields
    are planned with it. Years are counted from the calendar, so that it does not hang on which are left out.
    """
    base = middle(past, fields, coefficients)
    rng = np.random.default_rng([seed, number])
    constants = {name: float(_triangle(coefficients[f"window.{KEYS[name]}"], rng, ())) for name in _DRAWN}
    constants["dew_offset_c"] = float(_triangle(coefficients["window.draw.dew_offset"], rng, ()))
    pace, later, broken = [], [], []
    for year in past.years:
        own = np.random.default_rng([seed, number, year])
        pace.append(float(_triangle(coefficients["window.draw.pace"], own, ())))
        later.append(round(float(_triangle(coefficients["window.draw.start"], own, ()))))
        broken.append(own.random(past.days) < coefficients.value("window.draw.breakdown"))
    spread = coefficients.value("window.start.spread")
    start, share = base.start_pct.copy(), np.empty(len(fields))
    for k, one in enumerate(fields):
        own = np.random.default_rng([seed, number, crc32(one.name.encode())])
        share[k] = float(_triangle(coefficients["window.ground.share"], own, ()))
        by_year = own.triangular(-1, 0, 1, 200)  # more than a station has years
        start[:, k] += spread * by_year[np.array(past.years) % 200]
    return base._replace(
        drying=base.drying._replace(**constants),
        start_pct=np.clip(start, 1, 95),
        share=share,
        pace=np.array(pace),
        broken=np.array(broken),
        later_d=np.array(later, dtype=np.int64),
    )


def _triangle(number: Coefficient, rng: np.random.Generator, size: tuple[int, ...]) -> np.ndarray:
    if number.low == number.high:
        return np.full(size, number.value)
    return np.asarray(rng.triangular(number.low, number.value, number.high, size))
