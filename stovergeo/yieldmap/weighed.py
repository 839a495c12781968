"""A grain map set to totals that were weighed over a scale.

Where totals overlap (a field, and a machine that cut a part of it), the ground they have in common is scaled by each in
turn, until every total is met: iterative proportional fitting (Deming and Stephan 1940, Ann. Math. Stat.
11:427-444; cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

#: totals that miss each other by more cannot both be right: tickets, shrink and spillage explain less (judgment)
AGREE: Final = 0.03
#: within one total, ground is not scaled apart by more than this (judgment)
MAX_APART: Final = 2.0
_ROUNDS: Final = 500


@dataclass(frozen=True, slots=True)
class WeighedFactors:
    """What a map is multiplied by."""

    cells: np.ndarray  #: (cells,), 1 where no total says anything
    totals: np.ndarray  #: (totals,) weighed over mapped mass of each total
    contradiction: tuple[int, int] | None  #: two totals that cannot both be right


def weighed_factors(mass: np.ndarray, belongs: np.ndarray, weighed: np.ndarray) -> WeighedFactors:
    """Return the factors that set mapped masses to weighed totals.

    Parameters
    ----------
    mass : array, (cells,)
        Mapped dry grain of each cell, Mg.
    belongs : array of bool, (totals, cells)
        Which cells each total was harvested from; each has some mass.
    weighed : array, (totals,)
        Weighed dry grain, Mg.
    """
    packed, part = np.unique(np.packbits(belongs, axis=0), axis=1, return_inverse=True)
    inside = np.unpackbits(packed, axis=0, count=len(weighed)).astype(bool)
    part = part.ravel()
    mapped = np.bincount(part, mass, inside.shape[1])
    factor = np.ones(len(mapped))
    for _ in range(_ROUNDS):
        before = factor.copy()
        for mine, total in zip(inside, weighed, strict=True):
            factor[mine] *= total / max((mapped * factor)[mine].sum(), 1e-12)
        if np.allclose(factor, before, rtol=1e-9, atol=0):
            break
    own = inside @ mapped
    return WeighedFactors(factor[part], weighed / own, _contradiction(mapped, factor, inside, weighed))


def _contradiction(
    mapped: np.ndarray, factor: np.ndarray, inside: np.ndarray, weighed: np.ndarray
) -> tuple[int, int] | None:
    """Return two totals that cannot be met together, or only by scaling the ground of one far apart."""
    found = inside @ (mapped * factor)
    missed = abs(found / weighed - 1)
    for k in np.argsort(-missed):
        own = factor[inside[k] & (mapped > 0)]
        if missed[k] <= AGREE and own.max() <= MAX_APART * own.min():
            continue
        shared = inside[:, inside[k]] @ mapped[inside[k]]
        shared[k] = 0.0
        # the one it has most in common with, of these the one that is furthest from it
        other = int(np.argmax(shared * (1 + abs(np.log(found / weighed) - np.log(found[k] / weighed[k])))))
        if shared[other] > 0:
            return int(min(k, other)), int(max(k, other))
    return None
