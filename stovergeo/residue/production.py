"""From grain to stover: how much stands, and how wet it is. Dry masses, Mg/ha."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from stovergeo.core.units import CORN_MARKET_MOISTURE

# A number, a numpy array or a DataArray; what goes in comes out. numpy's stubs do not know
# that its functions return a DataArray, so the checker does not know either.
Amount: TypeAlias = Any


def stover(grain_mg_ha: Amount, slope: float, intercept: float) -> Amount:
    """Return dry stover standing before grain harvest, Mg/ha.

    Parameters
    ----------
    grain_mg_ha : float or array
        Dry grain, Mg/ha. No grain means no stover.
    slope : float
        Stover added for each Mg of grain, Mg/Mg.
    intercept : float
        Stover that stands whatever the yield, Mg/ha.

    Notes
    -----
    The ratio of stover to grain falls as the yield rises (Wilhelm et al. 2011), which one
    harvest index for all yields cannot show.

    Examples
    --------
    Ten dry Mg/ha of grain, some 190 bu/ac:

    >>> stover(10.0, slope=0.85, intercept=0.65)
    9.15
    """
    # S = a G + b (Wilhelm et al. 2011, BioEnergy Res. 4:11-21, slope; the intercept is fitted)
    return (slope * grain_mg_ha + intercept) * (grain_mg_ha > 0)


def harvest_index(grain_mg_ha: Amount, stover_mg_ha: Amount) -> Amount:
    """Return grain as a share of all dry matter above ground."""
    return grain_mg_ha / (grain_mg_ha + stover_mg_ha)


def stover_per_grain(index: Amount) -> Amount:
    """Return stover : grain from the harvest index (both dry).

    Examples
    --------
    >>> stover_per_grain(0.5)
    1.0
    """
    return (1 - index) / index


def at_market_moisture(wet_yield: Amount, moisture: Amount) -> Amount:
    """Return a wet grain yield as it would be at 15.5 % moisture.

    Parameters
    ----------
    wet_yield : float or array
        In any unit of mass per area.
    moisture : float or array
        Share of water, wet basis, 0-1.

    Examples
    --------
    >>> round(at_market_moisture(200.0, 0.20), 1)  # bu/ac
    189.3
    """
    return wet_yield * (1 - moisture) / (1 - CORN_MARKET_MOISTURE)


def stover_moisture(grain_moisture: Amount, ratio: float, most: float) -> Amount:
    """Return stover moisture at grain harvest (share, wet basis) from the grain's.

    Raises no error for dry grain; the ratio was measured for grain of 15 to 30 %.
    """
    return np.minimum(most, ratio * grain_moisture)  # Biomass & Bioenergy 31:576-584 (2007)
