"""Records near each other: points binned to square cells, and each record's neighbor in the pass beside it.

Binning costs one counting sort, O(n); a search for all neighbors within a radius looks
at the few cells that the radius touches, whatever the number of points.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.yieldmap.many_records import in_threads, typical
from stovergeo.yieldmap.passes import Track, Way, way_of

#: most cells a table of bins may have beyond four for each point
_SPARE_CELLS = 4_000_000


class Bins(NamedTuple):
    """Points sorted by cell, as compiled loops take them.

    `member[start[c]:start[c + 1]]` are the points of cell c = row * columns + column.
    """

    x0: float
    y0: float
    size: float
    rows: int
    columns: int
    start: np.ndarray  #: (rows * columns + 1,) int32
    member: np.ndarray  #: (n,) int32


def bin_points(x: np.ndarray, y: np.ndarray, size: float) -> Bins:
    """Sort points into square cells.

    Parameters
    ----------
    x, y : array, (n,), float64
        Finite plane coordinates, m.
    size : float
        Side of a cell, m; enlarged where the points are so scattered that the table of
        cells would outgrow them.
    """
    x0, y0 = float(x.min()), float(y.min())
    wide, high = float(x.max()) - x0, float(y.max()) - y0
    while (wide / size + 1) * (high / size + 1) > 4 * len(x) + _SPARE_CELLS:
        size *= 1.5
    columns, rows = int(wide / size) + 1, int(high / size) + 1
    start, member = _sort(x, y, x0, y0, size, rows, columns)
    return Bins(x0, y0, size, rows, columns, start, member)


@njit(cache=True, nogil=True)
def _sort(
    x: np.ndarray, y: np.ndarray, x0: float, y0: float, size: float, rows: int, columns: int
) -> tuple[np.ndarray, np.ndarray]:
    n = len(x)
    cell = np.empty(n, np.int32)
    start = np.zeros(rows * columns + 1, np.int32)
    for i in range(n):
        c = int((y[i] - y0) / size) * columns + int((x[i] - x0) / size)
        cell[i] = c
        start[c + 1] += 1
    for c in range(rows * columns):
        start[c + 1] += start[c]
    member = np.empty(n, np.int32)
    fill = start[:-1].copy()
    for i in range(n):
        member[fill[cell[i]]] = i
        fill[cell[i]] += 1
    return start, member


_PARALLEL = 0.94  #: least |cosine| between the headings of neighbors, 20 degrees


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
    swath = typical(track.swath)
    step = typical(track.length)
    other = np.full((2, len(asked)), -1, np.int32)
    along, across = np.zeros((2, len(asked))), np.zeros((2, len(asked)))
    bins = bin_points(track.x, track.y, reach_swaths * swath)
    way = way_of(track)
    limits = 0.4 * swath, reach_swaths * swath, 0.55 * step
    in_threads(lambda low, high: _beside(low, high, asked, way, bins, limits, other, along, across), len(asked))
    side, at = np.nonzero(other >= 0)
    one, there = asked[at], other[side, at]
    cosine = track.east[one] * track.east[there] + track.north[one] * track.north[there]
    return Pairs(one, there, along[side, at], across[side, at], cosine < 0)


@njit(cache=True, nogil=True)
def _beside(
    low: int, high: int, asked: np.ndarray, way: Way, bins: Bins, limits: tuple[float, float, float],
    other: np.ndarray, along: np.ndarray, across: np.ndarray,
) -> None:  # fmt: skip
    """Write the nearest record on either side; `limits` are the least and most across, and the most along, m."""
    min_across, max_across, max_along = limits
    x, y, east, north, pass_id = way.x, way.y, way.east, way.north, way.pass_id
    for m in range(low, high):
        i = asked[m]
        row, col = int((y[i] - bins.y0) / bins.size), int((x[i] - bins.x0) / bins.size)
        best_left, best_right = np.inf, np.inf
        for r in range(max(row - 1, 0), min(row + 2, bins.rows)):
            first = bins.start[r * bins.columns + max(col - 1, 0)]
            last = bins.start[r * bins.columns + min(col + 2, bins.columns)]
            for p in range(first, last):
                j = bins.member[p]
                if pass_id[j] == pass_id[i]:
                    continue
                dx, dy = x[j] - x[i], y[j] - y[i]
                ahead = dx * east[i] + dy * north[i]
                left = dy * east[i] - dx * north[i]
                sideways = abs(left)
                if abs(ahead) > max_along or sideways < min_across or sideways > max_across:
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
