"""Least-cost ways on a grid: the graph of moves, and lengths along its shortest trees. No geography here."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import dijkstra

#: moves to half of the sixteen neighbours (the rest are their reverses), with the cells
#: passed on the way; a way in these directions is at most 2.8 % longer than a straight one
_MOVES = (
    ((0, 1), ()),
    ((1, 0), ()),
    ((1, 1), ((0, 1), (1, 0))),
    ((1, -1), ((0, -1), (1, 0))),
    ((1, 2), ((0, 1), (1, 1))),
    ((2, 1), ((1, 0), (1, 1))),
    ((1, -2), ((0, -1), (1, -1))),
    ((2, -1), ((1, 0), (1, -1))),
)


def move_graph(hardness: np.ndarray, closed_field: np.ndarray, gate: np.ndarray, cell_m: float) -> sparse.csr_array:
    """Return the undirected graph of moves between cells, weighted by metres times hardness.

    Parameters
    ----------
    hardness : array, shape (rows, columns)
        What a metre counts for; NaN where nothing may pass.
    closed_field : int array, same shape
        Closed field a cell belongs to, -1 open ground; a move across its edge needs a gate.
    gate : bool array, same shape
        Cells near a gate.
    cell_m : float

    Returns
    -------
    csr_array, shape (cells, cells)
        One direction of each move; search it undirected.
    """
    rows, columns = hardness.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    starts, ends, weights = [], [], []
    for step, between in _MOVES:
        cells = [(0, 0), step, *between]
        top, left = -min(r for r, _ in cells), -min(c for _, c in cells)
        height = rows - max(r for r, _ in cells) - top
        width = columns - max(c for _, c in cells) - left
        if height <= 0 or width <= 0:
            continue
        views = [(slice(top + r, top + r + height), slice(left + c, left + c + width)) for r, c in cells]
        hard = np.stack([hardness[v] for v in views])
        fields = np.stack([closed_field[v] for v in views])
        free = (fields == fields[0]).all(axis=0) | np.stack([gate[v] for v in views]).any(axis=0)
        go = np.isfinite(hard).all(axis=0) & free
        metres = cell_m * float(np.hypot(*step))
        starts.append(number[views[0]][go])
        ends.append(number[views[1]][go])
        weights.append((metres * hard.mean(axis=0))[go])
    n = rows * columns
    if not starts:
        return sparse.csr_array((n, n))
    return sparse.csr_array((np.concatenate(weights), (np.concatenate(starts), np.concatenate(ends))), shape=(n, n))


def ways_to(graph: sparse.csr_array, target: int, columns: int, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the length of the easiest route from every cell to one, and the next cell on it.

    Parameters
    ----------
    graph : csr_array
        Of `move_graph`.
    target : int
        Flat cell number.
    columns : int
        Of the grid.
    cell_m : float

    Returns
    -------
    (array, int array), shape (cells,)
        Metres along the way of least cost, inf where none leads; next cell, -1 at the target
        and where none leads.
    """
    cost, following = dijkstra(graph, directed=False, indices=target, return_predecessors=True)
    cells = np.arange(len(cost))
    onward = np.where(following < 0, cells, following)
    metres = cell_m * np.hypot(cells // columns - onward // columns, cells % columns - onward % columns)
    jump = onward
    while True:  # each round doubles the number of moves summed
        further = jump[jump]
        metres = metres + metres[jump]
        if np.array_equal(further, jump):
            break
        jump = further
    return np.where(np.isfinite(cost), metres, np.inf), np.where(following < 0, -1, following)


def follow(onward: np.ndarray, start: int) -> list[int]:
    """Return the cells from a start to the target that `ways_to` was asked about."""
    cells = [start]
    while onward[cells[-1]] >= 0:
        cells.append(int(onward[cells[-1]]))
    return cells
