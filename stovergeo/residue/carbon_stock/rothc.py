"""RothC-26.3 without a loop over years: months as matrices, the steady state, its inverse, and projections.

Pools along the last axis: decomposable and resistant plant material, microbes, humus. The inert pool stays as it is and
is left out. A month maps the pools C to A C + q, so a year does too, and a year that repeats has one steady state.
Equations: Coleman, Prout & Milne 2024, RothC model description; the matrix form is our derivation from them.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stovergeo.residue.production import Amount

#: decomposition a year of each pool
RATES: Final = np.array([10.0, 0.3, 0.66, 0.02])
#: shares of farmyard manure by pool
MANURE: Final = np.array([0.49, 0.49, 0.0, 0.02])
#: decomposable to resistant plant material: crops and improved grass, rough grass and scrub, trees
CROPS: Final = 1.44
ROUGH_GRASS: Final = 0.67
TREES: Final = 0.25


def plant_split(ratio: float = CROPS) -> np.ndarray:
    """Return the shares of plant material by pool, from the ratio of decomposable to resistant."""
    return np.array([ratio / (1 + ratio), 1 / (1 + ratio), 0.0, 0.0])


def inert_carbon(stock_mg_ha: Amount) -> Amount:
    """Return the inert pool of a stock of surface soil (Falloon et al. 1998: "very rough").

    Examples
    --------
    >>> round(float(inert_carbon(80.0)), 3)
    7.208
    """
    return 0.049 * np.power(stock_mg_ha, 1.139)


def gas_ratio(clay_pct: Amount) -> Amount:
    """Return the carbon dioxide that leaves for each part that turns into microbes and humus."""
    return 1.67 * (1.85 + 1.60 * np.exp(-0.0786 * np.asarray(clay_pct, dtype=float)))


def month_matrices(rates: Amount, clay_pct: Amount) -> np.ndarray:
    """Return what each month does to the pools before the month's carbon comes in.

    Parameters
    ----------
    rates : array, shape (..., 12)
        As `monthly_rates` returns them.
    clay_pct : float or array, shape (...)

    Returns
    -------
    array, shape (..., 12, 4, 4)
        Row: pool at the month's end; column: pool at its start.
    """
    stays = np.exp(-RATES / 12 * np.asarray(rates, dtype=float)[..., None])
    kept = 1 / (1 + gas_ratio(clay_pct))
    kept = np.broadcast_to(kept[..., None, None], np.broadcast_shapes((*kept.shape, 1, 1), stays.shape))
    matrices = np.zeros((*kept.shape, 4))
    matrices[..., range(4), range(4)] = stays
    turned = kept * (1 - stays)
    matrices[..., 2, :] += 0.46 * turned
    matrices[..., 3, :] += 0.54 * turned
    return matrices


def by_pool(monthly_mg_ha: Amount, split: np.ndarray) -> np.ndarray:
    """Return carbon that comes in by month and pool, shape (..., 12, 4); inputs of different kinds add up."""
    return np.asarray(monthly_mg_ha, dtype=float)[..., None] * split


def in_month(yearly_mg_ha: Amount, month: int, split: np.ndarray) -> np.ndarray:
    """Return carbon that comes in at the end of one month, 1 to 12, by month and pool, shape (..., 12, 4).

    Raises
    ------
    ValueError
        For a month that is not 1 to 12.
    """
    if not 1 <= month <= 12:
        raise ValueError(f"a month is 1 to 12, not {month}")
    yearly = np.asarray(yearly_mg_ha, dtype=float)
    return by_pool(yearly[..., None] * (np.arange(1, 13) == month), split)


def year_map(matrices: np.ndarray, inputs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the year that the twelve months make up: pools at its end are ``matrix @ pools + added``.

    Parameters
    ----------
    matrices : array, shape (..., 12, 4, 4)
        As `month_matrices` returns them.
    inputs : array, shape (..., 12, 4)
        As `by_pool` returns them. A month's carbon comes in at its end.

    Returns
    -------
    matrix : array, shape (..., 4, 4)
    added : array, shape (..., 4)
    """
    matrix, added = matrices[..., 0, :, :], inputs[..., 0, :]
    for month in range(1, 12):
        now = matrices[..., month, :, :]
        matrix = now @ matrix
        added = _times(now, added) + inputs[..., month, :]
    return matrix, added


def steady_state(matrices: np.ndarray, inputs: np.ndarray) -> np.ndarray:
    """Return the pools that a repeating year leaves as they are, at its end, shape (..., 4).

    NaN where nothing decomposes all year, since no input then holds a stock.
    """
    matrix, added = year_map(matrices, inputs)
    frozen = np.max(matrix[..., range(4), range(4)], axis=-1) >= 1
    left = np.where(frozen[..., None, None], np.nan, np.eye(4) - matrix)
    return np.linalg.solve(left, added[..., None])[..., 0]


def stock_per_input(matrices: np.ndarray, inputs: np.ndarray) -> np.ndarray:
    """Return the stock, without inert carbon, that each Mg of carbon a year holds, Mg/(Mg/yr).

    It hangs on when and as what the carbon comes in, not on how much.

    Parameters
    ----------
    matrices : array, shape (..., 12, 4, 4)
    inputs : array, shape (..., 12, 4)
        Any year's carbon above 0.
    """
    return steady_state(matrices, inputs).sum(axis=-1) / inputs.sum(axis=(-2, -1))


def input_to_hold(stock_mg_ha: Amount, per_input: Amount) -> Amount:
    """Return the carbon a year that holds a stock: (stock - inert carbon) / `stock_per_input`.

    Examples
    --------
    >>> round(float(input_to_hold(80.0, 11.1825)), 3)
    6.509
    """
    return (stock_mg_ha - inert_carbon(stock_mg_ha)) / per_input


def stock_held(yearly_mg_ha: Amount, per_input: Amount, inert_mg_ha: Amount) -> Amount:
    """Return the stock that carbon a year holds in the end, with the inert carbon."""
    return yearly_mg_ha * per_input + inert_mg_ha


def pools_of(stock_mg_ha: Amount, matrices: np.ndarray, inputs: np.ndarray) -> np.ndarray:
    """Return the pools of a measured stock, less its inert carbon, in the shares of the steady state."""
    steady = steady_state(matrices, inputs)
    active = np.asarray(stock_mg_ha - inert_carbon(stock_mg_ha))
    return active[..., None] * steady / steady.sum(axis=-1, keepdims=True)


def project(pools: np.ndarray, matrices: np.ndarray, inputs: np.ndarray, years: int = 20) -> np.ndarray:
    """Return the pools at the end of each year, shape (years, ..., 4), of a climate and inputs that repeat.

    Run it with all stover returned and with what harvest leaves: the difference is what harvest costs.
    """
    matrix, added = year_map(matrices, inputs)
    found = []
    for _ in range(years):
        pools = _times(matrix, pools) + added
        found.append(pools)
    return np.array(found)


def fraction_kept(matrices: np.ndarray, inputs: np.ndarray, years: int = 20) -> np.ndarray:
    """Return the share of all carbon brought in over some years that is still in the soil at their end.

    The model is linear: it is also the share of the carbon taken away that is missing then, whatever the stock.
    """
    none = np.zeros((*np.broadcast_shapes(matrices.shape[:-3], inputs.shape[:-2]), 4))
    return project(none, matrices, inputs, years)[-1].sum(axis=-1) / (years * inputs.sum(axis=(-2, -1)))


def _times(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    return (matrix @ vector[..., None])[..., 0]
