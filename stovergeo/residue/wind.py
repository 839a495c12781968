"""Wind erosion: what flat cover and standing stalks leave of the loss of bare ground.

Loss ratios are shares of the loss from bare, flat, loose ground; cover in %.
"""

from __future__ import annotations

import numpy as np

from stovergeo.residue.production import Amount


def silhouette_cm2_m2(stalks_m2: Amount, diameter_cm: Amount, height_m: Amount) -> Amount:
    """Return the standing stalks' side area, cm2 on each m2 of ground."""
    return stalks_m2 * diameter_cm * (100 * height_m)


def standing_ratio(silhouette: Amount, effect: float, power: float) -> Amount:
    """Return the loss ratio of standing stalks (Bilbro & Fryrear 1994; Fryrear et al. 1998)."""
    return np.exp(-effect * silhouette**power)


def cover_needed_pct(ratio: Amount, effect: Amount) -> Amount:
    """Return the flat cover (%) for a loss ratio, the exact inverse of `flat_cover_ratio`; 0 from a ratio of 1 up."""
    return np.maximum(-np.log(ratio), 0.0) / effect


def cover_needed_both_pct(
    water_loss: Amount,
    water_effect: Amount,
    wind_loss: Amount,
    wind_effect: Amount,
    tolerable: Amount,
) -> Amount:
    """Return the cover (%) that holds water and wind loss together to what is tolerable.

    Solves ``water_loss exp(-water_effect C) + wind_loss exp(-wind_effect C) = tolerable`` for C, 0 where
    bare ground already meets it. The sum falls and is convex in C, so Newton's steps from a cover that is too
    small never overshoot.

    Parameters
    ----------
    water_loss, wind_loss : array
        Loss without cover, Mg/(ha yr).
    water_effect, wind_effect : float or array
        Effect of one per cent of cover on each.
    tolerable : array
        Mg/(ha yr), above 0.
    """
    with np.errstate(divide="ignore"):
        # each loss alone must be tolerable: a lower bound from which Newton climbs
        cover = np.maximum(
            np.maximum(np.log(water_loss / tolerable), 0.0) / water_effect,
            np.maximum(np.log(wind_loss / tolerable), 0.0) / wind_effect,
        )
    for _ in range(60):
        water = water_loss * np.exp(-water_effect * cover)
        wind = wind_loss * np.exp(-wind_effect * cover)
        excess = np.maximum(water + wind - tolerable, 0.0)
        steep = water_effect * water + wind_effect * wind
        step = excess / np.maximum(steep, np.finfo(float).tiny)
        cover = cover + step
        if not (step > 1e-11).any():
            break
    return cover
