"""Dry matter lost in the stack: the formulas.

The form is ours, calibrated to published weighed losses of round bales (docs/storage-fit.md):
respiration, which needs no rain, plus the weather's share, which enters through the skin and
from the ground and grows with the rain.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike


class Loss(NamedTuple):
    """Loss in percent of the dry matter baled; each a number or an array."""

    low: np.ndarray
    middle: np.ndarray
    high: np.ndarray


def respiration_pct(
    months: ArrayLike,
    moisture_pct: float,
    *,
    start: float,
    month: float,
    moisture_from: float,
    moisture_to: float,
    moisture_point: float,
) -> np.ndarray:
    """Return loss by respiration, percentage points.

    Parameters
    ----------
    months : float or array
        Time since baling.
    moisture_pct : float
        At baling, wet basis. Above `moisture_from` respiration rises by `moisture_point` a point,
        up to `moisture_to`.
    start, month : float
        Points at once, and points a month.
    """
    wetter = max(0.0, min(moisture_pct, moisture_to) - moisture_from)
    return (start + month * np.asarray(months, dtype=float)) * (1 + moisture_point * wetter)


def weather_pct(
    months: ArrayLike,
    rain_mm: ArrayLike,
    *,
    through: float,
    wick: float,
    base: float,
    pattern: float,
    crop: float,
    rain_reference: float,
    age_from: float,
    age_month: float,
) -> np.ndarray:
    """Return loss to rain and ground, percentage points.

    Parameters
    ----------
    months, rain_mm : float or array, same shape
        Time since baling, and the rain that counted in it.
    through, wick : float
        Points through the skin, and from drained soil, at the reference rain: by wrap.
    base, pattern, crop : float
        Wicking against drained soil; stack pattern against single rows; crop against hay.
    rain_reference : float
        mm.
    age_from, age_month : float
        From this many months on, each month adds this share: a spoiled skin sheds less water.
    """
    worn = 1 + age_month * np.maximum(0, np.asarray(months, dtype=float) - age_from)
    return (through + wick * base) * pattern * crop * worn * np.asarray(rain_mm, dtype=float) / rain_reference


def loss_band(
    respiration: np.ndarray,
    weather: np.ndarray,
    *,
    most: float,
    low_breath: float,
    low_weather: float,
    high_breath: float,
    high_weather: float,
) -> Loss:
    """Return low, middle and high loss from its two parts, none above `most`."""
    return Loss(
        np.minimum(most, low_breath * respiration + low_weather * weather),
        np.minimum(most, respiration + weather),
        np.minimum(most, high_breath * respiration + high_weather * weather),
    )


def value_of_loss(loss: ArrayLike, price_per_mg: ArrayLike) -> np.ndarray:
    """Return what a loss costs for each Mg put in, $/Mg: loss (fraction) x price (Huhnke, BAE-1716 table).

    Examples
    --------
    >>> round(float(value_of_loss(0.10, 80.0)), 2)  # $/Mg
    8.0
    """
    return np.asarray(loss, dtype=float) * np.asarray(price_per_mg, dtype=float)


def break_even_price_per_mg(added_cost: float, bale_dry_mg: float, loss_saved: float) -> float:
    """Return the stover price from which a dearer wrap pays, $/Mg; infinite where it saves nothing.

    Parameters
    ----------
    added_cost : float
        What the dearer wrap costs more, $/bale, the baler's longer stop included.
    bale_dry_mg : float
        Dry mass baled, Mg.
    loss_saved : float
        Loss of the cheaper less loss of the dearer, fraction.

    Examples
    --------
    A wrap that costs $2 more and saves a tenth of half a Mg:

    >>> break_even_price_per_mg(2.0, bale_dry_mg=0.5, loss_saved=0.1)
    40.0
    """
    if loss_saved <= 0:
        return 0.0 if added_cost <= 0 else float("inf")
    return added_cost / (bale_dry_mg * loss_saved)
