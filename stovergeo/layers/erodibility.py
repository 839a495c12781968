"""Soil erodibility K where the survey gives none: the nomograph's equation, or a texture name.

US units, as every handbook prints them; multiply by `stovergeo.units.K_SI_PER_US`. A surveyed
K is to be preferred: the equation departs from the nomograph itself in over half of some
20,000 soils, at times by half (Auerswald et al. 2014, Catena 118:220-225, abstract).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.units import M_PER_IN

#: K (US) by texture at 0.5, 2 and 4 % organic matter, as printed in an agricultural engineering text
TEXTURE_K_US: Final = {
    "fine sand": (0.16, 0.14, 0.10),
    "loamy sand": (0.12, 0.10, 0.08),
    "sandy loam": (0.27, 0.24, 0.19),
    "very fine sandy loam": (0.47, 0.41, 0.33),
    "silt loam": (0.48, 0.42, 0.33),
    "clay loam": (0.28, 0.25, 0.21),
    "silty clay loam": (0.37, 0.32, 0.26),
    "silty clay": (0.25, 0.23, 0.19),
}


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


def erodibility_of_texture_us(texture: str, om_pct: float) -> float:
    """Return K (US units) from a texture name, straight between the printed organic-matter contents.

    Raises
    ------
    KeyError
        For a texture the table does not hold.
    """
    return float(np.interp(om_pct, (0.5, 2, 4), TEXTURE_K_US[texture.lower()]))


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
