"""How far apart a combine's passes lie, from the positions alone: a check on the width it claims to cut."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import cKDTree

#: records looked at; more would not change a median
SAMPLE: Final = 4000
NEIGHBOURS: Final = 60
#: passes run side by side: headings agree, or are opposite, within this
_PARALLEL: Final = np.cos(np.radians(20))
MIN_PAIRS: Final = 200


def pass_spacing_m(x: np.ndarray, y: np.ndarray, step_m: float) -> float | None:
    """Return the usual distance between neighbouring passes, None where it cannot be found.

    Parameters
    ----------
    x, y : ndarray of shape (n,)
        Positions in the order of the records, m.
    step_m : float
        Usual way between records, m.

    Notes
    -----
    The heading at a record is the way to the next one. Among its neighbours with the same or the
    opposite heading, those beside it (not before or behind) and more than half a step away belong
    to other passes; the nearest of them gives the spacing there, and the median over many records counts.
    """
    if len(x) < MIN_PAIRS or not step_m > 0:
        return None
    heading = np.stack([np.diff(x), np.diff(y)], axis=1)
    length = np.hypot(heading[:, 0], heading[:, 1])
    on_the_way = (length > 0.5 * step_m) & (length < 2 * step_m)
    if on_the_way.sum() < MIN_PAIRS:
        return None
    places = np.stack([x[:-1], y[:-1]], axis=1)[on_the_way]
    heading = heading[on_the_way] / length[on_the_way, None]
    tree = cKDTree(places)
    picked = np.unique(np.linspace(0, len(places) - 1, SAMPLE).astype(int))
    _, near = tree.query(places[picked], k=min(NEIGHBOURS, len(places)))
    apart = places[near] - places[picked][:, None, :]
    own = heading[picked][:, None, :]
    along = np.abs((apart * own).sum(axis=2))
    across = np.abs(apart[..., 0] * own[..., 1] - apart[..., 1] * own[..., 0])
    parallel = np.abs((heading[near] * own).sum(axis=2)) > _PARALLEL
    # less than a metre across is the same pass, or the same place driven twice
    beside = parallel & (along <= step_m) & (across > 1.0)
    nearest = np.where(beside, across, np.inf).min(axis=1)
    known = nearest[np.isfinite(nearest)]
    return float(np.median(known)) if len(known) >= MIN_PAIRS else None
