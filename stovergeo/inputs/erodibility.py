"""Soil erodibility K where the survey gives none: the nomograph's equation.

US units, as every handbook prints them; multiply by `stovergeo.core.units.K_SI_PER_US`. A surveyed
K is to be preferred: the equation departs from the nomograph itself in over half of some
20,000 soils, at times by half (Auerswald et al. 2014, Catena 118:220-225, abstract).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.units import M_PER_IN

#: structure taken where none is given: medium or coarse granular. The survey's tables read here do not say it, and the
#: fine granular of the handbook's own example would give 0.0325 less: unknown is taken the cautious way (judgment)
STRUCTURE_UNKNOWN: Final = 3
#: organic matter above which a layer is organic material, of which the nomograph knows nothing, % (from memory: about
#: 12 % organic carbon in Soil Taxonomy)
MAX_OM_PCT: Final = 20.0
#: by how much parts of the fine earth may add up beyond the whole: each is rounded on its own, %
_ROUNDED_PCT: Final = 1.0


def erodibility_us(
    fine_pct: ArrayLike, clay_pct: ArrayLike, om_pct: ArrayLike, structure: ArrayLike, permeability: ArrayLike
) -> np.ndarray:
    """Return the soil's K (US units) by the nomograph's equation, where the survey has none.

    Parameters
    ----------
    fine_pct : array
        Silt and very fine sand, %. The equation holds up to 70; beyond it still answers, with less trust.
    clay_pct, om_pct : array
        Clay and organic matter, %. More than 4 % organic matter counts as 4.
    structure : array
        1 very fine granular, 2 fine granular, 3 medium or coarse granular, 4 blocky, platy or massive.
    permeability : array
        1 rapid ... 6 very slow.
    """
    fine, clay, om = (np.asarray(v, dtype=float) for v in (fine_pct, clay_pct, om_pct))
    M = fine * (100 - clay)
    # AH-537, nomograph equation
    K = (
        2.1e-4 * M**1.14 * (12 - np.minimum(om, 4))
        + 3.25 * (np.asarray(structure) - 2)
        + 2.5 * (np.asarray(permeability) - 3)
    )
    return np.maximum(K, 0) / 100


def erodibility_of_layers_us(
    silt_pct: ArrayLike,
    very_fine_sand_pct: ArrayLike,
    clay_pct: ArrayLike,
    om_pct: ArrayLike,
    slowest_um_s: ArrayLike,
    structure: ArrayLike = STRUCTURE_UNKNOWN,
) -> np.ndarray:
    """Return K (US units) from what the survey says of a soil's layers; NaN where that is too little or impossible.

    Stones in the layer would lower it and are left out, so it is the K of the fine earth.

    Parameters
    ----------
    silt_pct, very_fine_sand_pct, clay_pct, om_pct : array
        ``silttotal_r``, ``sandvf_r``, ``claytotal_r`` and ``om_r`` of the first mineral layer, %. K is NaN where one is
        unknown, where together they are more than the whole, and in organic material.
    slowest_um_s : array
        ``ksat_r`` of the slowest layer of the profile, micrometres a second; unknown counts as very slow.
    structure : array
        As `erodibility_us` takes it.
    """
    silt, sand, clay, om = (np.asarray(v, dtype=float) for v in (silt_pct, very_fine_sand_pct, clay_pct, om_pct))
    sound = (np.minimum(np.minimum(silt, sand), np.minimum(clay, om)) >= 0) & (om <= MAX_OM_PCT)
    sound &= silt + sand + clay <= 100 + _ROUNDED_PCT
    fine = np.where(sound, np.minimum(silt + sand, 100.0), np.nan)
    return erodibility_us(fine, np.where(sound, clay, np.nan), om, structure, permeability_class(slowest_um_s))


def permeability_class(ksat_um_s: ArrayLike) -> np.ndarray:
    """Return the nomograph's permeability class from the survey's saturated conductivity.

    Parameters
    ----------
    ksat_um_s : array
        ``ksat_r``, micrometres a second, of the slowest layer in the profile.

    Returns
    -------
    array
        1 rapid (over 6 in/h) ... 6 very slow (under 0.06 in/h); unknown counts as 6, the cautious way.
    """
    inches_per_hour = np.asarray(ksat_um_s, dtype=float) * 1e-6 * 3600 / M_PER_IN
    return 1 + np.digitize(-inches_per_hour, (-6.0, -2.0, -0.6, -0.2, -0.06), right=True)
