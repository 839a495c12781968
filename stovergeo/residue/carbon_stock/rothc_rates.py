"""RothC-26.3: how fast carbon decomposes in each month, by temperature, moisture and plant cover.

Equations: Coleman, Prout & Milne 2024, RothC model description; the cut-off at -5 C as in the model's open code.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stovergeo.residue.production import Amount

#: open-pan evaporation that counts against rain; pan evaporation is potential evapotranspiration divided by it
PAN: Final = 0.75
#: decomposition under a growing crop, bare ground being 1; dead stover on the ground is bare ground
COVERED: Final = 0.6
#: shares of the largest deficit: at which drying slows decomposition, and to which bare ground dries
_SLOWS: Final = 0.444
_BARE: Final = 0.556
#: years after which a deficit that still drifts is taken as it is: less than 0.1 mm a year is left
_YEARS: Final = 1000


def temperature_rate(temperature_c: Amount) -> Amount:
    """Return the rate modifier of temperature, about 1 at 9.25 C, 0 below -5 C.

    Examples
    --------
    >>> round(float(temperature_rate(3.4)), 4)
    0.3561
    """
    warm = 47.91 / (1 + np.exp(106.06 / (np.maximum(temperature_c, -5.0) + 18.27)))
    return np.where(np.less(temperature_c, -5.0), 0.0, warm)


def max_deficit(clay_pct: Amount, depth_cm: Amount) -> Amount:
    """Return the largest moisture deficit of the soil under a crop, mm, below 0.

    Raises
    ------
    ValueError
        For clay outside 0 to 100 % or a depth that is not above 0.

    Examples
    --------
    >>> round(float(max_deficit(23.4, 23.0)), 2)
    -44.94
    """
    if np.any(np.less(clay_pct, 0) | np.greater(clay_pct, 100)):
        raise ValueError("clay lies between 0 and 100 %")
    if np.any(np.less_equal(depth_cm, 0)):
        raise ValueError("the depth of a soil is above 0 cm")
    return -(20 + 1.3 * clay_pct - 0.01 * np.square(clay_pct)) * depth_cm / 23


def deficits_of_a_year(
    start_mm: Amount, rain_mm: Amount, pan_mm: Amount, covered: Amount, max_deficit_mm: Amount
) -> Amount:
    """Return the moisture deficit at the end of each month, mm, of one year that starts at `start_mm`.

    Bare ground dries to 0.556 of the largest deficit, and no further at all where it is drier already.

    Parameters
    ----------
    start_mm : array, shape (...)
        0 or below.
    rain_mm, pan_mm : array, shape (..., 12)
        Rain and open-pan evaporation.
    covered : array of bool, shape (..., 12)
        Months with a growing crop.
    max_deficit_mm : array, shape (...)
        As `max_deficit` returns it.
    """
    gain = np.asarray(rain_mm, dtype=float) - PAN * np.asarray(pan_mm, dtype=float)
    shape = np.broadcast_shapes(np.shape(start_mm), gain.shape[:-1], np.shape(covered)[:-1], np.shape(max_deficit_mm))
    found = np.empty((*shape, 12))
    before = np.asarray(start_mm, dtype=float)
    for month in range(12):
        driest = np.where(
            np.asarray(covered)[..., month], max_deficit_mm, np.minimum(_BARE * np.asarray(max_deficit_mm), before)
        )
        before = np.maximum(driest, np.minimum(0.0, before + gain[..., month]))
        found[..., month] = before
    return found


def moisture_deficits(rain_mm: Amount, pan_mm: Amount, covered: Amount, max_deficit_mm: Amount) -> Amount:
    """Return the moisture deficit at the end of each month, mm, in a climate that repeats; see `deficits_of_a_year`.

    The soil is full on the first of January; years follow until one ends as it began.
    """
    rain, pan, crop, last = np.broadcast_arrays(rain_mm, pan_mm, covered, np.asarray(max_deficit_mm)[..., None])
    shape = rain.shape
    rain, pan, crop, last = (each.reshape(-1, 12) for each in (rain, pan, crop, last))
    found = deficits_of_a_year(np.zeros(len(rain)), rain, pan, crop, last[:, 0])
    moving = np.arange(len(rain))
    for _ in range(_YEARS):
        again = deficits_of_a_year(found[moving, -1], rain[moving], pan[moving], crop[moving], last[moving, 0])
        still = np.abs(again - found[moving]).max(axis=-1) > 1e-12
        found[moving] = again
        moving = moving[still]
        if not len(moving):
            break
    return found.reshape(shape)


def moisture_rate(deficit_mm: Amount, max_deficit_mm: Amount) -> Amount:
    """Return the rate modifier of moisture: 1 in moist ground, falling to 0.2 at the largest deficit.

    Parameters
    ----------
    deficit_mm, max_deficit_mm : array
        Of one shape or broadcast; 0 and below.
    """
    dry = 0.2 + 0.8 * (max_deficit_mm - deficit_mm) / (max_deficit_mm - _SLOWS * np.asarray(max_deficit_mm))
    return np.where(np.greater(deficit_mm, _SLOWS * np.asarray(max_deficit_mm)), 1.0, dry)


def cover_rate(covered: Amount) -> Amount:
    """Return the rate modifier of plant cover: 0.6 where a crop grows, 1 on bare ground."""
    return np.where(covered, COVERED, 1.0)


def monthly_rates(
    temperature_c: Amount, rain_mm: Amount, pan_mm: Amount, covered: Amount, clay_pct: Amount, depth_cm: Amount
) -> Amount:
    """Return the product of the three rate modifiers in each month of a climate that repeats.

    Parameters
    ----------
    temperature_c, rain_mm, pan_mm : array, shape (..., 12)
        For potential evapotranspiration, divide it by `PAN` and give that as the pan's.
    covered : array of bool, shape (..., 12)
        Months with a growing crop.
    clay_pct, depth_cm : float or array, shape (...)

    Returns
    -------
    array, shape (..., 12)
        NaN where something is not known.
    """
    max_deficit_mm = np.asarray(max_deficit(clay_pct, depth_cm))
    deficit = moisture_deficits(rain_mm, pan_mm, covered, max_deficit_mm)
    return temperature_rate(temperature_c) * moisture_rate(deficit, max_deficit_mm[..., None]) * cover_rate(covered)
