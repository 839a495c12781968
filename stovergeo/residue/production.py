"""From grain to stover, and from stover mass to ground cover and back.

Dry masses in Mg/ha; flat stover on the surface in kg/ha. Cover is a share 0-1 unless the name says ``pct``.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import prod
from typing import Any, TypeAlias

import numpy as np

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


def cover_of(mass_kg_ha: Amount, k: Amount) -> Amount:
    """Return the share of the ground covered by a mass of flat stover.

    Parameters
    ----------
    mass_kg_ha : float or array
    k : float or array
        Cover coefficient, ha/kg.

    Examples
    --------
    >>> round(float(cover_of(2000.0, k=0.00032)), 2)
    0.47
    """
    return -np.expm1(-k * mass_kg_ha)  # Gregory 1982, Trans. ASAE 25:1333-1337


def mass_of(cover: Amount, k: Amount) -> Amount:
    """Return the mass of flat stover (kg/ha) that covers a share of the ground: the exact inverse of `cover_of`.

    Examples
    --------
    >>> round(float(mass_of(0.30, k=0.00032)))
    1115
    """
    return -np.log1p(-cover) / k


def cover_kept(passes: Iterable[Amount]) -> Amount:
    """Return the share of the ground cover that several passes keep, each its share of what is there.

    Parameters
    ----------
    passes : iterable of float
        Share of cover that each pass keeps. Of the mass on the surface it keeps less, see `mass_kept`.

    Examples
    --------
    >>> round(cover_kept([0.5, 0.9]), 2)
    0.45
    """
    return prod(passes)


def cover_after(mass_kg_ha: Amount, k: Amount, overwinter: Amount, kept: Amount) -> Amount:
    """Return the share of the ground covered after winter and all passes by flat stover that lay there at harvest.

    Winter takes mass, a pass takes cover.

    Parameters
    ----------
    mass_kg_ha : float or array
    k : float or array
        Cover coefficient, ha/kg.
    overwinter : float or array
        Share of the mass left at planting of what lay there in the fall.
    kept : float or array
        Share of the cover that the passes keep together.

    Examples
    --------
    Eight Mg/ha under a twisted chisel, a field cultivator and a planter:

    >>> round(float(cover_after(8000.0, 0.00032, 0.8, cover_kept([0.5, 0.8, 0.9]))), 2)
    0.31
    """
    return np.minimum(kept * cover_of(overwinter * mass_kg_ha, k), 1.0)


def mass_for_cover(cover: Amount, k: Amount, overwinter: Amount, kept: Amount = 1.0) -> Amount:
    """Return the flat stover at harvest (kg/ha) for a cover after winter and all passes: inverts `cover_after`.

    Left out, `kept` is 1: `cover` is then that before the passes. No mass suffices where the passes keep no more than
    `cover`: the answer is then infinite or NaN.

    Examples
    --------
    >>> round(float(mass_for_cover(0.30, 0.00032, 0.8, cover_kept([0.5, 0.8, 0.9]))))
    6999
    """
    return mass_of(cover / kept, k) / overwinter


def mass_kept(kept: Amount, mass_kg_ha: Amount, k: Amount) -> Amount:
    """Return the share of the surface mass that a pass keeps, from the share of cover: less under heavy residue.

    Examples
    --------
    >>> round(float(mass_kept(0.5, 8000.0, 0.00032)), 4)
    0.2417
    """
    return mass_of(kept * cover_of(mass_kg_ha, k), k) / mass_kg_ha


def laid_down(passes: Iterable[Amount]) -> Amount:
    """Return the share of standing stalks that several passes lay flat, each laying its share of those still up.

    Examples
    --------
    >>> laid_down([0.5, 0.5])
    0.75
    """
    return 1 - prod(1 - share for share in passes)
