"""Which cells of a grid were harvested, and which ground lies between passes but was not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from stovergeo.yieldmap.passes import Track
from stovergeo.yieldmap.swath import Way, crossed, extent, outline, slopes, way_of


@dataclass(frozen=True, slots=True)
class Driven:
    """Where machines drove, and which of their records harvested, also those whose yield is not used."""

    track: Track
    cut: np.ndarray  #: (n,) in driving order
    stood: tuple[np.ndarray, np.ndarray] | None = None  #: x and y of the kept records, in the order of their table


def harvested_cells(driven: Driven, x: np.ndarray, y: np.ndarray, slack_m: float) -> np.ndarray:
    """Return which cells of a grid have their centre on harvested ground.

    Parameters
    ----------
    driven : Driven
    x, y : array
        Cell centres of a regular north-up grid: x rising, y falling.
    slack_m : float
        Footprints are widened by this on either side, to close what position error opens
        between passes, and where what was cut begins and ends.

    Returns
    -------
    array of bool, (len(y), len(x))
    """
    out = np.zeros((len(y), len(x)), np.bool_)
    cell = float(x[1] - x[0]) if len(x) > 1 else float(y[0] - y[1]) if len(y) > 1 else 1.0
    _mark(way_of(driven.track), driven.cut, slack_m, float(x[0]), float(y[0]), cell, out)
    return out


@njit(cache=True, nogil=True)
def _mark(way: Way, cut: np.ndarray, widen: float, x0: float, y0: float, cell: float, out: np.ndarray) -> None:
    rows, columns = out.shape
    corners, per_y = np.empty((4, 2)), np.empty(4)
    for i in range(len(way.x)):
        if not cut[i]:
            continue
        # the record before or after of the same pass covers what lies there
        back = 0.0 if i > 0 and cut[i - 1] and way.pass_id[i - 1] == way.pass_id[i] else widen
        ahead = 0.0 if i + 1 < len(cut) and cut[i + 1] and way.pass_id[i + 1] == way.pass_id[i] else widen
        outline(way, i, widen, back, ahead, corners)
        slopes(corners, per_y)
        low_y, high_y = extent(corners, 1)
        top = max(int(np.ceil((y0 - high_y) / cell)), 0)
        bottom = min(int(np.floor((y0 - low_y) / cell)), rows - 1)
        for row in range(top, bottom + 1):
            left, right = crossed(corners, per_y, y0 - row * cell)
            if left <= right:
                first = max(int(np.ceil((left - x0) / cell)), 0)
                for col in range(first, min(int(np.floor((right - x0) / cell)), columns - 1) + 1):
                    out[row, col] = True
