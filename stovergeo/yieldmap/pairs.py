"""Each record's neighbour in the pass beside it, to the left and to the right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from stovergeo.yieldmap.bins import bin_points
from stovergeo.yieldmap.passes import Track
from stovergeo.yieldmap.threads import in_threads
from stovergeo.yieldmap.usual import usual

_PARALLEL = 0.94  #: least |cosine| between the headings of neighbours, 20 degrees


#: records driven one after the other that are looked at, or have their error computed, together
STRETCH = 32


@dataclass(frozen=True, slots=True)
class Pairs:
    """Pairs of records of different passes that lie beside each other.

    All arrays have one value for each pair; indices are in driving order.
    """

    one: np.ndarray
    other: np.ndarray
    along: np.ndarray  #: how far ahead of `one` the other lies, along the heading of `one`, m
    across: np.ndarray  #: distance between the passes, m
    opposite: np.ndarray  #: whether they were driven in opposite directions

    def where(self, keep: np.ndarray) -> Pairs:
        """Return the pairs for which `keep` holds."""
        return Pairs(*(getattr(self, name)[keep] for name in self.__slots__))


def side_pairs(track: Track, reach_swaths: float = 1.6, most: int = 50_000) -> Pairs:
    """Return for each record the nearest record of another, parallel pass, on either side.

    Parameters
    ----------
    track : Track
    reach_swaths : float
        How far to look sideways, in swaths.
    most : int
        With more records than this, only stretches of passes all over the ground are
        looked at, about this many records.
    """
    n = len(track.x)
    asked = np.arange(n)
    asked = asked[(asked // STRETCH) % (n // most + 1) == 0]
    swath = usual(track.swath)
    step = usual(track.length)
    other = np.full((2, len(asked)), -1, np.int32)
    along, across = np.zeros((2, len(asked))), np.zeros((2, len(asked)))
    bins = bin_points(track.x, track.y, reach_swaths * swath)

    def work(low: int, high: int) -> None:
        _beside(
            low, high, asked, track.x, track.y, track.east, track.north, track.pass_id,
            bins.x0, bins.y0, bins.size, bins.rows, bins.columns, bins.start, bins.member,
            0.4 * swath, reach_swaths * swath, 0.55 * step, other, along, across,
        )  # fmt: skip

    in_threads(work, len(asked))
    side, at = np.nonzero(other >= 0)
    one, there = asked[at], other[side, at]
    cosine = track.east[one] * track.east[there] + track.north[one] * track.north[there]
    return Pairs(one, there, along[side, at], across[side, at], cosine < 0)


@njit(cache=True, nogil=True)
def _beside(
    low: int,
    high: int,
    asked: np.ndarray,
    x: np.ndarray,
    y: np.ndarray,
    east: np.ndarray,
    north: np.ndarray,
    pass_id: np.ndarray,
    x0: float,
    y0: float,
    size: float,
    rows: int,
    columns: int,
    start: np.ndarray,
    member: np.ndarray,
    least_across: float,
    most_across: float,
    most_along: float,
    other: np.ndarray,
    along: np.ndarray,
    across: np.ndarray,
) -> None:
    for m in range(low, high):
        i = asked[m]
        row, col = int((y[i] - y0) / size), int((x[i] - x0) / size)
        best_left, best_right = np.inf, np.inf
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            first = start[r * columns + max(col - 1, 0)]
            last = start[r * columns + min(col + 2, columns)]
            for p in range(first, last):
                j = member[p]
                if pass_id[j] == pass_id[i]:
                    continue
                dx, dy = x[j] - x[i], y[j] - y[i]
                ahead = dx * east[i] + dy * north[i]
                left = dy * east[i] - dx * north[i]
                sideways = abs(left)
                if abs(ahead) > most_along or sideways < least_across or sideways > most_across:
                    continue
                if abs(east[i] * east[j] + north[i] * north[j]) < _PARALLEL:
                    continue
                far = sideways + 0.5 * abs(ahead)
                if left > 0 and far < best_left:
                    best_left = far
                    other[0, m], along[0, m], across[0, m] = j, ahead, sideways
                elif left < 0 and far < best_right:
                    best_right = far
                    other[1, m], along[1, m], across[1, m] = j, ahead, sideways
