"""Carbon that a farm's crops bring to the ground.

Masses oven-dry, carbon in Mg C/ha.
"""

from __future__ import annotations

import numpy as np

from stovergeo.residue.production import Amount


def below_ground(grain_c_mg_ha: Amount, residue_c_mg_ha: Amount, ratio: Amount) -> Amount:
    """Return the carbon of roots and what they exude, from that of the shoot, which is grain and residue.

    Examples
    --------
    Corn of 200 bu/ac:

    >>> round(below_ground(0.44 * 10.6077, 0.445 * 9.6666, ratio=0.29), 3)
    2.601
    """
    return ratio * (grain_c_mg_ha + residue_c_mg_ha)


def residue_of_grain(grain_mg_ha: Amount, harvest_index: Amount) -> Amount:
    """Return the dry residue that stands with some dry grain, from the share of the shoot that is grain."""
    return grain_mg_ha * (1 - harvest_index) / harvest_index


def retention_for_input(needed_mg_ha: Amount, other_mg_ha: Amount, corn_fraction: Amount, content: Amount) -> Amount:
    """Return the stover to return each corn year, Mg/ha, so that a needed input of carbon is met; 0 at least.

    Parameters
    ----------
    needed_mg_ha : float or array
        Carbon that must come in, mean of all years, Mg C/(ha yr).
    other_mg_ha : float or array
        Carbon that comes in beside corn stover, mean of all years: roots of all crops, residue of the other crop, cover
        crop, manure, each in the worth of stover carbon.
    corn_fraction : float or array
        Share of years in corn, above 0.
    content : float or array
        Carbon in stover, Mg/Mg.

    Examples
    --------
    >>> round(float(retention_for_input(6.5091, 2.6010, corn_fraction=1.0, content=0.445)), 2)
    8.78
    """
    return np.maximum((needed_mg_ha - other_mg_ha) / (content * corn_fraction), 0.0)
