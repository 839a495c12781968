"""Arithmetic on cells: the cautious limit of a piece of ground, breaks between classes, widths.

Plain functions on arrays; nothing here knows a coordinate system.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy import ndimage


def cautious_limit(spare: np.ndarray, area: np.ndarray, over_fraction: float) -> float:
    """Return the take that merged ground can stand when it is gathered evenly.

    The smaller of two numbers: the area-weighted mean of what its cells can spare, and the
    take that at most `over_fraction` of its known area falls short of. The mean keeps the
    zone's total within the sum over its cells; the percentile keeps good ground from
    paying for poor ground beside it. Unknown cells spare nothing in the mean and have no
    vote in the percentile.

    Parameters
    ----------
    spare : array, shape (n,)
        What each cell can spare, Mg/ha; NaN where unknown.
    area : array, shape (n,)
        Area of each cell, any unit.
    over_fraction : float
        Share of the known area, 0 to 1, that may be asked for more than it can spare.

    Returns
    -------
    float
        Mg/ha; 0 where nothing is known.
    """
    spare, area = np.asarray(spare, float).ravel(), np.asarray(area, float).ravel()
    known = np.isfinite(spare)
    if not known.any():
        return 0.0
    mean = float((spare[known] * area[known]).sum() / area.sum())
    order = np.argsort(spare[known], kind="stable")
    below = np.cumsum(area[known][order])
    # the first cell whose own area would carry the ground left short past the share
    at = int(np.searchsorted(below, over_fraction * below[-1] * (1 + 1e-12), side="right"))
    percentile = float(spare[known][order][min(at, len(order) - 1)])
    return max(0.0, min(mean, percentile))


def natural_breaks(values: np.ndarray, weights: np.ndarray, classes: int, min_step: float) -> np.ndarray:
    """Return inner breaks that split values into classes with the least weighted variance inside.

    Fisher 1958, J. Am. Stat. Assoc. 53:789-798 (optimal grouping on a line, by dynamic
    programming), run on a histogram of 96 bins. Classes whose means lie closer than
    `min_step` are not separated: fewer classes are made instead.

    Parameters
    ----------
    values, weights : array, shape (n,)
        Finite values and their areas.
    classes : int
        Most classes wanted.
    min_step : float
        Least difference of neighboring class means, in the unit of `values`.

    Returns
    -------
    array, shape (k - 1,)
        Rising breaks, k <= classes.
    """
    low, high = float(values.min()), float(values.max())
    if high - low < min_step or classes < 2:
        return np.empty(0)
    count, edges = np.histogram(values, bins=96, range=(low, high), weights=weights)
    middle = (edges[:-1] + edges[1:]) / 2
    for k in range(classes, 1, -1):
        starts = _best_starts(middle, count, k)
        bounds = [*starts, len(middle)]
        means = [
            np.average(middle[a:b], weights=count[a:b]) if count[a:b].sum() > 0 else np.nan for a, b in pairwise(bounds)
        ]
        if np.all(np.diff(means) >= min_step):
            return edges[starts[1:]]
    return np.empty(0)


def _best_starts(x: np.ndarray, w: np.ndarray, k: int) -> list[int]:
    """First bin of each of k groups of neighboring bins with the least squared deviation."""
    n = len(x)
    s0, s1, s2 = (np.concatenate([[0.0], np.cumsum(w * x**p)]) for p in range(3))
    a, b = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")
    mass = s0[b] - s0[a]
    with np.errstate(invalid="ignore", divide="ignore"):
        cost = np.where(mass > 0, (s2[b] - s2[a]) - (s1[b] - s1[a]) ** 2 / mass, 0.0)
    cost[b <= a] = np.inf  # a group holds at least one bin
    best, came = cost[0].copy(), []
    for _ in range(k - 1):
        through = best[:, None] + cost
        came.append(np.argmin(through, axis=0))
        best = through.min(axis=0)
    starts, end = [], n
    for origin in reversed(came):
        end = int(origin[end])
        starts.append(end)
    return [0, *reversed(starts)]


def smooth_known(values: np.ndarray, weight: np.ndarray, sigma_cells: float) -> np.ndarray:
    """Return a Gaussian mean over cells with weight; NaN where nothing lies within reach."""
    known = np.isfinite(values) & (weight > 0)
    mass = ndimage.gaussian_filter(np.where(known, weight, 0.0), sigma_cells, mode="constant", truncate=3.0)
    total = ndimage.gaussian_filter(
        np.where(known, values, 0.0) * np.where(known, weight, 0.0), sigma_cells, mode="constant", truncate=3.0
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(mass > 1e-9, total / mass, np.nan)


def opened(mask: np.ndarray, width_cells: float) -> np.ndarray:
    """Return the part of a mask in which a disc of a given width can lie (morphological opening)."""
    radius = width_cells / 2
    # the mask ends half a cell before the nearest outside center
    deep = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1] - 0.5 >= radius
    if not deep.any():
        return np.zeros_like(mask)
    return mask & (ndimage.distance_transform_edt(~deep) <= radius + 0.5)


def inscribed_width(mask: np.ndarray) -> float:
    """Return the width, in cells, of the largest disc inside a mask, never rounded up."""
    return 2 * float(ndimage.distance_transform_edt(np.pad(mask, 1)).max()) - 1


def settle(labels: np.ndarray, inside: np.ndarray, sigma_cells: float, rounds: int) -> np.ndarray:
    """Return labels after each cell has taken the label that prevails around it.

    Diffusing each label's indicator and keeping the greatest shortens borders and removes
    necks and specks narrower than about 1.3 sigma (Merriman, Bence and Osher 1994, J.
    Comput. Phys. 112:334-363). Labels below 0 keep their place and give no vote.

    Parameters
    ----------
    labels : int array, shape (rows, columns)
    inside : bool array, same shape
        Cells that may change.
    sigma_cells : float
    rounds : int
    """
    moving = inside & (labels >= 0)
    if not moving.any():
        return labels
    kinds = np.unique(labels[moving])
    now = labels.copy()
    for _ in range(rounds):
        votes = np.stack(
            [
                ndimage.gaussian_filter(
                    (moving & (now == k)).astype(np.float32), sigma_cells, mode="constant", truncate=3.0
                )
                for k in kinds
            ]
        )
        after = np.where(moving, kinds[np.argmax(votes, axis=0)], now)
        if np.array_equal(after, now):
            break
        now = after
    return now
