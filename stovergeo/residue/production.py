"""From grain to stover: how much stands, and how wet it is. Dry masses, Mg/ha."""

from __future__ import annotations

from typing import Any, TypeAlias

# A number, a numpy array or a DataArray; what goes in comes out. numpy's stubs do not know
# that its functions hand a DataArray back, so the checker is not told either.
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
