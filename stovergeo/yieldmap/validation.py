"""Spatially blocked cross-validation: whole blocks of ground are left out at a time.

Leaving out single records flatters any map, since the next record two meters on holds
nearly the same value (Roberts et al. 2017, Ecography 40:913-929; cited from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from stovergeo.yieldmap.levels import Records, make_levels, predict
from stovergeo.yieldmap.many_records import for_each

#: how far each level shrinks towards the one before it, from the liveliest candidate to the calmest;
#: an infinite shrinkage leaves the finest level out
CANDIDATES = (
    (0.01, 0.05, 0.05, 0.05),
    (0.01, 0.05, 0.05, 0.3),
    (0.01, 0.05, 0.4, 0.3),
    (0.01, 0.1, 0.1, 1.0),
    (0.01, 0.1, 0.3, 4.0),
    (0.01, 0.1, 1.0, np.inf),
)
_SAMPLE = 6_000  #: records in one window of ground on which candidates are compared
_WINDOWS = 4
_FOLDS = 10  #: into which blocks are dealt to compare candidates
_HELD_OUT_FOLDS = 5  #: into which blocks are dealt to tell the error


def block_folds(x: np.ndarray, y: np.ndarray, block_m: float, folds: int = 5, seed: int = 1) -> np.ndarray:
    """Return the fold of each record: square blocks, dealt at random but in equal numbers to the folds."""
    column = np.floor((x - x.min()) / block_m).astype(np.int64)
    row = np.floor((y - y.min()) / block_m).astype(np.int64)
    blocks, block = np.unique(row * (column.max() + 1) + column, return_inverse=True)
    dealt = np.random.default_rng(seed).permutation(len(blocks)) % folds
    return dealt[block]


def held_out_errors(
    records: Records,
    values: np.ndarray,
    scales: Sequence[float],
    shrinks: Sequence[Sequence[float]],
    block_m: float,
    folds: int,
    tried: int,
) -> np.ndarray:
    """Return measured less predicted for every record, predicted from the blocks it does not lie in.

    Parameters
    ----------
    records, values, scales
        As for `levels.fit`.
    shrinks : sequence of sequence of float
        Candidates to compare; lattices are shared between them.
    block_m : float
        Side of a block, m.
    folds, tried : int
        Into how many folds blocks are dealt, and how many of these are left out in turn.

    Returns
    -------
    array, (candidates, n)
        NaN for records of folds that were not left out.
    """
    fold = block_folds(records.x, records.y, block_m, folds)
    errors = np.full((len(shrinks), len(values)), np.nan)
    for left_out in range(tried):
        out = fold == left_out
        if not out.any() or out.all():
            continue
        known = Records(records.x[~out], records.y[~out], records.weight[~out])
        levels = make_levels(known, scales)
        errors[:, out] = values[out] - predict(known, levels, values[~out], shrinks, records.x[out], records.y[out])
    return errors


@dataclass(frozen=True, slots=True)
class Sample:
    """Records of one compact window of ground, to validate on."""

    records: Records
    values: np.ndarray


def samples(records: Records, values: np.ndarray) -> list[Sample]:
    """Return the records to validate on: all, or of a large field those in a few compact windows."""
    x, y, weight = records.x, records.y, records.weight
    n = len(x)
    if n <= _SAMPLE * _WINDOWS:
        return [Sample(records, values)]
    half = 0.5 * np.sqrt(_SAMPLE / n * (np.ptp(x) + 1) * (np.ptp(y) + 1))
    found = []
    for m in np.linspace(0, n - 1, _WINDOWS + 2).astype(int)[1:-1]:
        w = np.flatnonzero(abs(x - x[m]) < half)
        w = w[abs(y[w] - y[m]) < half]
        found.append(Sample(Records(x[w], y[w], weight[w]), values[w]))
    return found


def _tried(parts: Sequence[Sample], folds: int) -> int:
    """Return how many folds are left out in turn: all, or of many windows two in five."""
    return folds if len(parts) == 1 else 2 * folds // 5


def choose(parts: Sequence[Sample], scales: Sequence[float], block_m: float) -> int:
    """Return which of `CANDIDATES` predicts left-out blocks best."""
    tried = _tried(parts, _FOLDS)

    def squares(part: Sample) -> np.ndarray:
        away = held_out_errors(part.records, part.values, scales, CANDIDATES, block_m, _FOLDS, tried)
        return np.nansum(away**2, axis=1)

    return int(np.argmin(np.sum(for_each(squares, parts), axis=0)))


def held_out(
    parts: Sequence[Sample], scales: Sequence[float], shrink: Sequence[float], block_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return what a candidate misses on blocks left out, and how far from the nearest record used, m.

    Returns
    -------
    errors, distance : array, (m,)
        Measured less predicted, for all records left out in turn.
    """
    tried = _tried(parts, _HELD_OUT_FOLDS)

    def found(part: Sample) -> tuple[np.ndarray, np.ndarray]:
        errors = held_out_errors(part.records, part.values, scales, [shrink], block_m, _HELD_OUT_FOLDS, tried)[0]
        known = np.isfinite(errors)
        return errors[known], _distance_to_used(part.records, block_m, _HELD_OUT_FOLDS, tried)[known]

    errors, distance = zip(*for_each(found, parts), strict=True)
    return np.concatenate(errors), np.concatenate(distance)


def _distance_to_used(records: Records, block_m: float, folds: int, tried: int) -> np.ndarray:
    """Return how far each record of the folds tried lies from the nearest one of another fold, m; else infinite."""
    fold = block_folds(records.x, records.y, block_m, folds)
    out = np.full(len(fold), np.inf)
    xy = np.column_stack([records.x, records.y])
    for k in range(tried):
        here = fold == k
        if here.any() and not here.all():
            out[here] = cKDTree(xy[~here], compact_nodes=False, balanced_tree=False).query(xy[here])[0]
    return out
