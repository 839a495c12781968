"""What harvest costs the stock of soil carbon in twenty years, and the retention for a stated goal.

The cost is that of harvest alone, against the same ground with all stover returned: it does not say whether the ground
gains or loses carbon already. The goal is the largest share of the stock that harvest may cost; it is a policy.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtri

from stovergeo.residue.production import Amount

#: years over which harvest is judged; the share of carbon that is missing then was measured over such times
YEARS: Final = 20


def lognormal(probability: Amount, median: Amount, sd_ln: Amount) -> Amount:
    """Return the value of a lognormal distribution below which a share `probability` lies.

    Parameters
    ----------
    probability : float or array
        Between 0 and 1.
    median : float or array
        Above 0.
    sd_ln : float or array
        Standard deviation of the logarithm; 0 gives the median.

    Examples
    --------
    >>> [round(float(p), 2) for p in lognormal(np.array([0.1, 0.5, 0.9]), median=1.0, sd_ln=0.35)]
    [0.64, 1.0, 1.57]
    """
    return median * np.exp(sd_ln * ndtri(probability))


def cost_mg_ha(
    removal_mg_ha: Amount, harvests_a_year: Amount, other_mg_ha: Amount, kept: Amount, content: Amount
) -> Amount:
    """Return the carbon that harvest costs the soil in twenty years, Mg C/ha; below 0 is a gain.

    Parameters
    ----------
    removal_mg_ha : float or array
        Dry stover that leaves in a harvest, Mg/ha.
    harvests_a_year : float or array
        Harvests in each calendar year: share of years in corn over years from harvest to harvest.
    other_mg_ha : float or array
        Carbon that manure and cover crops bring because of it, mean of all years, in the worth of stover carbon.
    kept : float or array
        Share of removed stover carbon that is missing from the soil after twenty years.
    content : float or array
        Carbon in stover, Mg/Mg.

    Examples
    --------
    >>> round(cost_mg_ha(4.0, 1.0, 0.0, kept=0.12, content=0.445), 2)
    4.27
    """
    return YEARS * kept * (content * harvests_a_year * removal_mg_ha - other_mg_ha)


def removal_for_goal(
    goal: Amount, stock_mg_ha: Amount, harvests_a_year: Amount, other_mg_ha: Amount, kept: Amount, content: Amount
) -> Amount:
    """Return the most stover, Mg/ha a harvest, that costs no more than a share of the stock: inverse of `cost_mg_ha`.

    Infinite where nothing is harvested, or nothing removed is ever missed.

    Parameters
    ----------
    goal : float or array
        Share of the stock that harvest may cost in twenty years, 0 to 1.
    stock_mg_ha : float or array
        Carbon in the soil, Mg C/ha.
    harvests_a_year, other_mg_ha, kept, content : float or array
        As for `cost_mg_ha`.

    Examples
    --------
    >>> round(float(removal_for_goal(0.05, 80.0, 1.0, 0.0, kept=0.12, content=0.445)), 3)
    3.745
    """
    may_cost = goal * np.asarray(stock_mg_ha) / YEARS + kept * np.asarray(other_mg_ha)
    for_each = np.asarray(content * harvests_a_year * kept, dtype=float)
    none = for_each == 0
    most = np.where(none, np.inf, may_cost / np.where(none, 1.0, for_each))
    return np.where(np.isnan(may_cost), np.nan, most)


def retention_for_goal(stover_mg_ha: Amount, removal_max_mg_ha: Amount) -> Amount:
    """Return the stover that must stay where no more than `removal_for_goal` may leave, Mg/ha, 0 at least."""
    return np.maximum(stover_mg_ha - removal_max_mg_ha, 0.0)


def goal_probability(cost: Amount, stock_mg_ha: Amount, goal: Amount) -> np.ndarray:
    """Return the share of samples in which harvest costs no more than a share of the stock, 0 to 1.

    Parameters
    ----------
    cost : array, shape (..., samples)
        As `cost_mg_ha` returns it.
    stock_mg_ha : array, shape (..., samples)
    goal : float or array, shape (...)

    Returns
    -------
    array, shape (...)
        NaN where the cost or the stock of any sample is not known.
    """
    allowed = np.asarray(goal)[..., None] * np.asarray(stock_mg_ha)
    cost, allowed = np.broadcast_arrays(cost, allowed)
    # a removal that is exactly `removal_for_goal` meets the goal
    held = np.mean(cost <= allowed + 1e-12 * np.abs(allowed), axis=-1)
    return np.where(np.isnan(cost + allowed).any(axis=-1), np.nan, held)
