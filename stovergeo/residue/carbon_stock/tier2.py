"""The steady-state model of the IPCC (2019 Refinement, Vol. 4, ch. 5, tier 2) for mineral soil, 0 to 30 cm.

Pools along the last axis: active, slow, passive. Equations and figures as restated in an open implementation that cites
them by number (eq. 5.0A to 5.0G). Potential evapotranspiration here is that itself, not a pan's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from stovergeo.core.coefficients import Handbook
from stovergeo.residue.production import Amount

Tillage = Literal["full", "reduced", "no_till", "unknown"]


@dataclass(frozen=True, slots=True)
class Tier2Parameters:
    """Numbers of the model for one tillage; each may be an array of samples."""

    active: Amount  #: decomposition of the active pool, 1/yr
    slow: Amount  #: of the slow pool, 1/yr
    passive: Amount  #: of the passive pool, 1/yr
    tillage: Amount  #: how much faster tillage makes the active and slow pools, no-till being 1
    f1: Amount  #: of metabolic litter into the active pool
    f2: Amount  #: of structural litter into the active pool, by tillage
    f3: Amount  #: of lignin into the slow pool
    f5: Amount  #: of the active into the passive pool
    f6: Amount  #: of the slow into the passive pool
    f7: Amount  #: of the slow into the active pool
    f8: Amount  #: of the passive into the active pool
    lignin: Amount  #: share of the dry mass that comes in
    nitrogen: Amount  #: share of the dry mass that comes in
    best_temperature_c: Amount  #: at which decomposition is fastest
    rain_slope: Amount  #: of the water factor with rain over evapotranspiration


def tier2_parameters(coefficients: Handbook, tillage: Tillage) -> Tier2Parameters:
    """Return the handbook's numbers of the model for a tillage.

    Parameters
    ----------
    coefficients : Handbook
    tillage : str
        "full", "reduced", "no_till" or "unknown"; with "unknown", the rates are those of full tillage.
    """
    of = {name: coefficients.value(f"carbon.tier2.{name}") for name in _NAMES}
    return Tier2Parameters(
        f2=coefficients.value(f"carbon.tier2.f2.{tillage}"),
        tillage=coefficients.value(f"carbon.tier2.tillage.{tillage}"),
        **of,
    )


_NAMES = (
    *("active", "slow", "passive", "f1", "f3", "f5", "f6", "f7", "f8"),
    *("lignin", "nitrogen", "best_temperature_c", "rain_slope"),
)


def temperature_factor(temperature_c: Amount, best_temperature_c: Amount) -> Amount:
    """Return the year's factor of temperature, 0 to 1 (eq. 5.0E); a month of 45 C or more counts as 0.

    Parameters
    ----------
    temperature_c : array, shape (..., 12)
    best_temperature_c : float or array, shape (...)
    """
    best = np.asarray(best_temperature_c, dtype=float)[..., None]
    x = np.maximum((45 - np.asarray(temperature_c, dtype=float)) / (45 - best), 0.0)
    return np.mean(x**0.2 * np.exp(0.2 / 2.63 * (1 - x**2.63)), axis=-1)


def water_factor(rain_mm: Amount, pet_mm: Amount, rain_slope: Amount, irrigated: Amount = False) -> Amount:
    """Return the year's factor of water (eq. 5.0F).

    Parameters
    ----------
    rain_mm, pet_mm : array, shape (..., 12)
        Rain over evapotranspiration counts up to 1.25, as where there is none.
    rain_slope : float or array, shape (...)
    irrigated : array of bool, shape (..., 12)
        Months with irrigation.
    """
    rain, pet = np.asarray(rain_mm, dtype=float), np.asarray(pet_mm, dtype=float)
    ratio = np.where(pet == 0, 1.25, np.minimum(1.25, rain / np.where(pet == 0, 1.0, pet)))
    slope = np.asarray(rain_slope, dtype=float)[..., None]
    month = 0.2129 + slope * ratio - 0.2413 * ratio**2
    return 1.5 * np.mean(np.where(irrigated, 0.775, month), axis=-1)


def yearly_rates(parameters: Tier2Parameters, sand_pct: Amount, temperature: Amount, water: Amount) -> np.ndarray:
    """Return the decomposition of each pool, 1/yr, shape (..., 3) (eq. 5.0B to 5.0D).

    Parameters
    ----------
    parameters : Tier2Parameters
    sand_pct : float or array, shape (...)
    temperature, water : float or array, shape (...)
        As `temperature_factor` and `water_factor` return them.
    """
    climate = temperature * water
    active = parameters.active * climate * parameters.tillage * (0.25 + 0.75 * _fraction(sand_pct))
    slow = parameters.slow * climate * parameters.tillage
    return np.stack(np.broadcast_arrays(active, slow, parameters.passive * climate), axis=-1)


def steady_state(yearly_mg_ha: Amount, parameters: Tier2Parameters, sand_pct: Amount, rates: np.ndarray) -> np.ndarray:
    """Return the pools that carbon a year holds, shape (..., 3) (eq. 5.0B to 5.0D and 5.0G).

    NaN where nothing decomposes.

    Parameters
    ----------
    yearly_mg_ha : float or array, shape (...)
        Carbon that comes in, Mg C/(ha yr).
    parameters : Tier2Parameters
    sand_pct : float or array, shape (...)
    rates : array, shape (..., 3)
        As `yearly_rates` returns them.
    """
    p, carbon = parameters, np.asarray(yearly_mg_ha, dtype=float)
    f4 = 1 - p.f5 - (0.17 + 0.68 * _fraction(sand_pct))
    metabolic = carbon * (0.85 - 0.018 * p.lignin / p.nitrogen)
    lignin = carbon * p.lignin
    structural = carbon - lignin - metabolic
    comes = metabolic * p.f1 + structural * p.f2 + lignin * p.f3 * (p.f7 + p.f6 * p.f8)
    through_active = comes / (1 - f4 * p.f7 - p.f5 * p.f8 - f4 * p.f6 * p.f8)
    through_slow = lignin * p.f3 + through_active * f4
    through_passive = through_active * p.f5 + through_slow * p.f6
    through = np.stack(np.broadcast_arrays(through_active, through_slow, through_passive), axis=-1)
    return through / np.where(rates > 0, rates, np.nan)


def stock_per_input(parameters: Tier2Parameters, sand_pct: Amount, rates: np.ndarray) -> np.ndarray:
    """Return the stock that each Mg of carbon a year holds, Mg/(Mg/yr); the input for a stock is the stock over it."""
    return steady_state(1.0, parameters, sand_pct, rates).sum(axis=-1)


def project(pools: np.ndarray, steady: np.ndarray, rates: np.ndarray, years: int = 20) -> np.ndarray:
    """Return the pools at the end of each year, shape (years, ..., 3) (eq. 5.0A).

    Parameters
    ----------
    pools : array, shape (..., 3)
        Today's: of a measured stock, in the shares of the steady state.
    steady : array, shape (..., 3)
        What the input of the coming years would hold.
    rates : array, shape (..., 3)
    """
    found = []
    for _ in range(years):
        pools = pools + (steady - pools) * np.minimum(rates, 1.0)
        found.append(pools)
    return np.array(found)


def fraction_kept(parameters: Tier2Parameters, sand_pct: Amount, rates: np.ndarray, years: int = 20) -> np.ndarray:
    """Return the share of all carbon brought in over some years that is still in the soil at their end."""
    steady = steady_state(1.0, parameters, sand_pct, rates)
    return project(np.zeros_like(steady), steady, rates, years)[-1].sum(axis=-1) / years


def _fraction(pct: Amount) -> Amount:
    if np.any(np.less(pct, 0) | np.greater(pct, 100)):
        raise ValueError("sand lies between 0 and 100 %")
    return np.asarray(pct, dtype=float) / 100
