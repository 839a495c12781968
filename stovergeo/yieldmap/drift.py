"""The drift of GPS height in time, separated from the ground by one least-squares fit of both.

Neighbouring passes cross the same ground at different times. That alone does not tell
drift from a slope across the passes, for a field is worked from one side to the other; but
where a machine turns, two passes lie minutes apart at one end and seconds at the other, and
along a pass drift has the same sign up and down while slope has not. So height = ground +
drift is fitted as a whole: ground on a lattice that resists bending (any plane is free),
drift as a random walk in time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import spsolve

from stovergeo.yieldmap.passes import Track

_MOST_RECORDS = 40_000  #: records used, evenly in driving order; heights are far denser than drift needs
_MOST_NODES = 20_000


@dataclass(frozen=True, slots=True)
class DriftModel:
    """What is expected of each part; standard deviations."""

    record_m: float  #: height of one record about ground and drift
    walk_m: float  #: change of the drift from one knot to the next
    bend_m: float  #: second difference of the ground between lattice nodes
    knot_s: float  #: time between knots
    node_m: float  #: lattice step


def height_drift(track: Track, height: np.ndarray, model: DriftModel, use: np.ndarray) -> np.ndarray:
    """Return the drift of each record's height, m, with mean zero.

    Parameters
    ----------
    track : Track
    height : array, (n,)
        In driving order.
    model : DriftModel
    use : array of bool, (n,)
        Records to fit to; the drift of all is returned.

    Notes
    -----
    Least squares of (h - z(x, y) - d(t)) / record_m, with d piecewise linear between knots,
    (d_k+1 - d_k) / walk_m, and second differences of z over bend_m.
    """
    chosen = np.flatnonzero(use)
    chosen = chosen[:: len(chosen) // _MOST_RECORDS + 1]
    drift = _drift_matrix(track, model.knot_s)
    ground, rows, columns = _ground_matrix(track.x[chosen], track.y[chosen], model.node_m)
    data = sparse.hstack([ground, drift[chosen]]) / model.record_m
    walk = _differences(drift.shape[1], 1) / model.walk_m
    bend = sparse.vstack(
        [
            sparse.kron(sparse.eye(rows), _differences(columns, 2)),
            sparse.kron(_differences(rows, 2), sparse.eye(columns)),
            np.sqrt(2) * sparse.kron(_differences(rows, 1), _differences(columns, 1)),
        ]
    )
    smooth = sparse.block_diag([bend / model.bend_m, walk])
    # the level of the drift and that of the ground cannot be separated: a weak hold at zero
    hold = sparse.eye(data.shape[1]) * 1e-6
    middle = height[chosen].mean()
    normal = (data.T @ data + smooth.T @ smooth + hold).tocsc()
    found = spsolve(normal, data.T @ ((height[chosen] - middle) / model.record_m))
    out = drift @ found[ground.shape[1] :]
    return out - out.mean()


def _drift_matrix(track: Track, knot_s: float) -> sparse.csr_matrix:
    """Return the shares of the knots in each record's drift; each machine has its own knots."""
    n = len(track.clock)
    column, share = np.empty((n, 2), np.int64), np.empty((n, 2))
    first = 0
    for number in np.unique(track.machine):
        mine = track.machine == number
        at = (track.clock[mine] - track.clock[mine].min()) / knot_s
        low = np.floor(at).astype(np.int64)
        column[mine] = first + np.column_stack([low, low + 1])
        share[mine] = np.column_stack([1 - (at - low), at - low])
        first += int(low.max()) + 2
    row = np.repeat(np.arange(n), 2)
    return sparse.csr_matrix((share.ravel(), (row, column.ravel())), shape=(n, first))


def _ground_matrix(x: np.ndarray, y: np.ndarray, node_m: float) -> tuple[sparse.csr_matrix, int, int]:
    """Return the shares of the lattice nodes in each place, bilinear, and the lattice's rows and columns."""
    step = max(node_m, float(np.sqrt(np.ptp(x) * np.ptp(y) / _MOST_NODES)))
    fx, fy = (x - x.min()) / step, (y - y.min()) / step
    col, row = np.floor(fx).astype(np.int64), np.floor(fy).astype(np.int64)
    columns, rows = int(col.max()) + 2, int(row.max()) + 2
    u, v = fx - col, fy - row
    node = np.column_stack([row * columns + col, row * columns + col + 1])
    node = np.column_stack([node, node + columns])
    share = np.column_stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v])
    at = np.repeat(np.arange(len(x)), 4)
    return sparse.csr_matrix((share.ravel(), (at, node.ravel())), shape=(len(x), rows * columns)), rows, columns


def _differences(n: int, order: int) -> sparse.csr_matrix:
    weights = (-1.0, 1.0) if order == 1 else (1.0, -2.0, 1.0)
    return sparse.diags(weights, range(order + 1), shape=(max(n - order, 0), n), format="csr")
