"""Horizons of all cells in one direction, by sweeping lines of sight once.

Dozier, J. & Frew, J. 1990, "Rapid calculation of terrain parameters for radiation modeling from
digital elevation data", IEEE Trans. Geosci. Remote Sens. 28(5):963-969. A line is walked from its
far end, in the direction of the sun, towards the viewer. The points ahead that can be a horizon for
anyone further back form a convex chain; a viewer's horizon is where its line of sight touches the
chain, and the points it looks over can never be a horizon again. The work is linear in the cells.

Lines of a direction lie one cell apart across the nearer grid axis and are anchored to the whole
grid, so that blocks cut from it see the same lines. The ground on a line is linear between the two
cells beside it, and a cell takes the ground's horizon from the two lines beside it. What stands on a
cell (trees, buildings) is an upright block that fills it and has a chain of its own; a cell takes that
horizon from the nearer line, so that an edge stays sharp. The higher of the two counts.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from stovergeo.terrain.sweep import sweep_lines
from stovergeo.terrain.tiles import Tiles, transposed

#: the cover of bare ground
NOTHING = np.empty((0, 0), dtype=np.float32)
#: pieces a sweep is cut into; lines differ in length, so more pieces than threads share the work evenly
BANDS = 6
#: a slope that no ground falls below: every horizon matters
ALL = -1e9


@dataclass(frozen=True, slots=True)
class Direction:
    """One azimuth on a grid of given cells."""

    down: bool  #: lines run along columns (arrays are transposed) rather than along rows
    lean: float  #: cells across for each cell along
    towards: int  #: +1 when the direction looked to runs with the index, -1 against it
    step_m: float  #: way between two points of a line, m

    @classmethod
    def of(cls, azimuth_deg: float, dx: float, dy: float) -> Direction:
        """Return the direction of an azimuth, degrees clockwise from grid north."""
        turn = np.radians(azimuth_deg)
        col, row = np.sin(turn) / dx, -np.cos(turn) / dy  # cells a meter
        down = bool(abs(row) > abs(col) * (1 + 1e-9))
        along, across = (row, col) if down else (col, row)
        # rounded, so that lines through cell middles (eight directions) go through them exactly
        return cls(down, round(float(across / along), 12), 1 if along > 0 else -1, float(1 / abs(along)))


@dataclass(frozen=True, slots=True)
class Block:
    """Part of a grid with the ground around it that can shade it; axes (across, along) the lines."""

    ground: np.ndarray  #: float32, heights of the ground, smooth between cells
    cover: np.ndarray  #: float32, what stands on each cell, m, upright at the cell's edges; no cells: nothing does
    core: tuple[slice, slice]  #: the cells wanted
    origin: tuple[int, int]  #: index of the first cell in the whole grid
    tiles: Tiles  #: the same coarsely: what a sweep may pass by

    @classmethod
    def of(cls, ground: np.ndarray, cover: np.ndarray, core: tuple[slice, slice], origin: tuple[int, int]) -> Block:
        """Return a block whose lines run along its rows."""
        return cls(ground, cover, core, origin, Tiles.of(ground, cover))

    def turned(self) -> Block:
        """Return the block with its axes changed over."""
        return Block.of(transposed(self.ground), transposed(self.cover), self.core[::-1], self.origin[::-1])


def horizon_tangents(
    block: Block, direction: Direction, out: np.ndarray, pool: Executor, least: float = ALL
) -> np.ndarray:
    """Write the tangent of the horizon's height for each core cell (below 0 where the ground falls away).

    Parameters
    ----------
    block : Block
        Turned where ``direction.down``.
    direction : Direction
    out : ndarray of float32, shape of the core
        Holds `stovergeo.terrain.sweep.NO_HORIZON` everywhere.
    pool : Executor
        Threads that share the lines.
    least : float
        Tangent below which a horizon does not matter; where it lies there, `out` may stay as it is.

    Returns
    -------
    ndarray of bool
        The block's tiles in which a horizon above `least` may be.
    """
    (j0, j1), (i0, i1) = ((s.start, s.stop) for s in block.core)
    # lines are numbered by where they cross the whole grid's first cell; here they start `shift` further on
    shift = direction.lean * block.origin[1] - block.origin[0]
    corners = [j - direction.lean * i - shift for j in (j0, j1 - 1) for i in (i0, i1 - 1)]
    low, high = int(np.floor(min(corners))), int(np.floor(max(corners))) + 1
    edges = np.unique(np.linspace(low, high, BANDS + 1).astype(int))
    per_step = np.float32(1 / direction.step_m)
    gentle = block.tiles.gentle(direction.lean, direction.towards, least * direction.step_m)
    touched = np.zeros_like(gentle)
    jobs = [
        pool.submit(
            sweep_lines,
            block.ground, block.cover, block.tiles.bare, gentle,
            float(a + shift), int(b - a), direction.lean, direction.towards, per_step, np.float32(least),
            j0, j1, i0, i1, out, touched,
        )
        for a, b in pairwise(edges)
    ]  # fmt: skip
    for job in jobs:
        job.result()
    return touched
