"""Water erosion by the public soil-loss equation, forward and turned round.

Plain formulas on numbers and arrays. SI: R in MJ mm/(ha h yr), K in Mg ha h/(ha MJ mm),
loss in Mg/(ha yr); cover in %. Length and slope come as the LS factor from the terrain.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.units import M_PER_FT
from stovergeo.residue.production import Amount

#: roughness of the unit plot: 0.24 in
UNIT_ROUGHNESS_MM: Final = 6.096

#: contouring: upper slope of the class (%), P, longest slope (ft) for which it holds.
#: Values as read in a state table; limits from AH-537 table 13, from memory.
CONTOUR: Final = (
    (3, 0.60, 400),
    (6, 0.50, 300),
    (9, 0.50, 200),
    (13, 0.60, 120),
    (17, 0.70, 80),
    (21, 0.80, 60),
    (26, 0.90, 50),
)


def soil_loss(R: Amount, K: Amount, LS: Amount, C: Amount, P: Amount = 1.0) -> Amount:
    """Return mean annual soil loss A = R K LS C P (AH-537, AH-703), Mg/(ha yr) when R and K are SI.

    Examples
    --------
    In US units, ton/(ac yr):

    >>> soil_loss(R=160, K=0.25, LS=1.0, C=0.1)
    4.0
    """
    return R * K * LS * C * P


def roughness_subfactor(roughness_mm: Amount) -> Amount:
    """Return the surface roughness subfactor of C (AH-703, ch. 5), 1 on the unit plot."""
    return np.exp(-0.026 * (roughness_mm - UNIT_ROUGHNESS_MM))


def cover_effect(b: Amount, roughness_mm: Amount) -> Amount:
    """Return the effect of one per cent of cover on ground of some roughness (AH-703, ch. 5)."""
    return b * (UNIT_ROUGHNESS_MM / roughness_mm) ** 0.08


def cover_needed_pct(
    bare_loss: Amount, tolerable: Amount, b: Amount, roughness_mm: Amount = UNIT_ROUGHNESS_MM
) -> Amount:
    """Return the cover (%) that brings bare-ground loss down to what is tolerable; above 100 no cover suffices.

    The inverse of `cover_subfactor`: bare_loss * cover_subfactor(answer) = tolerable, or the answer is 0.

    Examples
    --------
    >>> round(float(cover_needed_pct(20.0, 10.0, b=0.035)), 1)
    19.8
    """
    with np.errstate(divide="ignore"):  # no loss at all: log 0 is -inf, and the answer is 0
        return np.maximum(np.log(bare_loss / tolerable), 0.0) / cover_effect(b, roughness_mm)


def contour_factor(slope_pct: ArrayLike, slope_length_m: ArrayLike | None = None) -> np.ndarray:
    """Return P for rows on the contour.

    Parameters
    ----------
    slope_pct : array
        Ground flatter than 1 % or of 26 % and more earns nothing.
    slope_length_m : array, optional
        Beyond the class's longest slope rows break through and P is 1. Left out, length is taken to be within it.
    """
    slope = np.asarray(slope_pct, dtype=float)
    uppers, factors, lengths = (np.array(column, dtype=float) for column in zip(*CONTOUR, strict=True))
    cls = np.digitize(slope, uppers)
    credited = (slope >= 1) & (cls < len(uppers))
    cls = np.minimum(cls, len(uppers) - 1)
    if slope_length_m is not None:
        credited &= np.asarray(slope_length_m, dtype=float) <= lengths[cls] * M_PER_FT
    return np.where(credited, factors[cls], 1.0)


def erodibility_index(R: Amount, K: Amount, LS: Amount, T: Amount) -> Amount:
    """Return R K LS / T; ground of 8 and more is highly erodible (NRCS).

    Examples
    --------
    >>> erodibility_index(R=160, K=0.25, LS=1.0, T=5)
    8.0
    """
    return R * K * LS / T
