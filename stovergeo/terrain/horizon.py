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
from numba import njit

#: tangent of a horizon where nothing lies ahead: level ground beyond the grid
NO_HORIZON = np.float32(0)
#: the cover of bare ground
NOTHING = np.empty((0, 0), dtype=np.float32)
#: pieces a sweep is cut into; lines differ in length, so more pieces than threads share the work evenly
BANDS = 6


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
        col, row = np.sin(turn) / dx, -np.cos(turn) / dy  # cells a metre
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

    def turned(self) -> Block:
        """Return the block with its axes changed over."""
        return Block(
            np.ascontiguousarray(self.ground.T),
            np.ascontiguousarray(self.cover.T),
            self.core[::-1],
            self.origin[::-1],
        )


def horizon_tangents(block: Block, direction: Direction, out: np.ndarray, pool: Executor) -> None:
    """Write the tangent of the horizon's height for each core cell (below 0 where the ground falls away).

    Parameters
    ----------
    block : Block
        Turned where ``direction.down``.
    direction : Direction
    out : ndarray of float32, shape of the core
    pool : Executor
        Threads that share the lines.
    """
    (j0, j1), (i0, i1) = ((s.start, s.stop) for s in block.core)
    # lines are numbered by where they cross the whole grid's first cell; here they start `shift` further on
    shift = direction.lean * block.origin[1] - block.origin[0]
    corners = [j - direction.lean * i - shift for j in (j0, j1 - 1) for i in (i0, i1 - 1)]
    low, high = int(np.floor(min(corners))), int(np.floor(max(corners))) + 1
    edges = np.unique(np.linspace(low, high, BANDS + 1).astype(int))
    per_step = np.float32(1 / direction.step_m)
    jobs = [
        pool.submit(
            _sweep_lines,
            block.ground, block.cover, float(a + shift), int(b - a), direction.lean, direction.towards, per_step,
            j0, j1, i0, i1, out,
        )
        for a, b in pairwise(edges)
    ]  # fmt: skip
    for job in jobs:
        job.result()


def profile_horizon(z: np.ndarray) -> np.ndarray:
    """Return, for each point of a profile, the index of its horizon looking towards larger indices.

    Parameters
    ----------
    z : array_like, shape (n,)
        Heights at equal spacing. A point with nothing higher in sight is its own horizon.

    Returns
    -------
    ndarray of int64, shape (n,)
        Of several points in one line of sight, the farthest.
    """
    heights = np.asarray(z, dtype=np.float32)
    found = np.empty(heights.size, dtype=np.int64)
    _profile(heights, found)
    return found


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _look(g: np.float32, k: np.float32, chain_k: np.ndarray, chain_z: np.ndarray, top: int) -> int:
    """Return the place in the chain where a viewer at height `g`, step `k`, sees its horizon; -1 for none.

    The chain's nearest point is at `top`. Slopes seen rise along the chain up to the horizon, then fall.
    """
    while top > 0 and (chain_z[top] - g) * (k - chain_k[top - 1]) <= (chain_z[top - 1] - g) * (k - chain_k[top]):
        top -= 1
    return top


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _join(z: np.float32, k: np.float32, chain_k: np.ndarray, chain_z: np.ndarray, top: int) -> int:
    """Add a point to the near end of the chain, dropping those it hides; return the new end."""
    top = _look(z, k, chain_k, chain_z, top) + 1
    chain_k[top] = k
    chain_z[top] = z
    return top


@njit(cache=True, nogil=True, error_model="numpy")
def _profile(z: np.ndarray, found: np.ndarray) -> None:
    n = z.size
    chain_k = np.empty(n, dtype=np.float32)
    chain_z = np.empty(n, dtype=np.float32)
    top = -1
    for k in range(n):
        i = n - 1 - k
        top = _look(z[i], np.float32(k), chain_k, chain_z, top)
        found[i] = i if top < 0 or chain_z[top] <= z[i] else n - 1 - int(chain_k[top])
        top = _join(z[i], np.float32(k), chain_k, chain_z, top)


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _between(a: np.float32, b: np.float32, part: np.float32) -> np.float32:
    """Return the height between two cells; the known one where the other is unknown."""
    if np.isnan(a):
        return b
    if np.isnan(b):
        return a
    return a + part * (b - a)


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _sweep_line(
    ground: np.ndarray,
    cover: np.ndarray,
    line: float,
    lean: float,
    towards: int,
    per_step: np.float32,
    major_from: int,
    major_to: int,
    chains: np.ndarray,
    seen: np.ndarray,
) -> None:
    """Write to `seen` the tangents of the horizons of ground and of cover along one line, for the core.

    `line` is the minor coordinate at major index 0 and `lean` what it gains a step, both in this block.
    """
    minors, majors = ground.shape
    steps = majors - major_from if towards > 0 else major_to
    start = majors - 1 if towards > 0 else 0
    half = np.float32(0.5)
    half_lean = 0.5 * lean * towards  # what the line gains from a cell's middle to its far edge
    ground_k, ground_z, cover_k, cover_z = chains
    covered = cover.size > 0
    ground_top, cover_top = -1, -1
    for k in range(steps):
        i = start - towards * k
        m = line + lean * i
        if m < 0 or m > minors - 1:
            continue
        kf = np.float32(k)
        low = min(int(m), minors - 2)
        g = _between(ground[low, i], ground[low + 1, i], np.float32(m - low))
        if np.isnan(g):
            continue
        ground_top = _look(g, kf, ground_k, ground_z, ground_top)
        if major_from <= i < major_to:
            top = ground_top
            seen[0, i] = (ground_z[top] - g) * per_step / (kf - ground_k[top]) if top >= 0 else NO_HORIZON
            top = _look(g, kf, cover_k, cover_z, cover_top)
            seen[1, i] = (cover_z[top] - g) * per_step / (kf - cover_k[top]) if top >= 0 else NO_HORIZON
        ground_top += 1
        ground_k[ground_top], ground_z[ground_top] = kf, g
        if covered and (cover[low, i] > 0 or cover[low + 1, i] > 0):
            tall = cover[low + min(int(m - low + half_lean + 0.5), 1), i]
            if tall > 0:
                cover_top = _join(g + tall, kf, cover_k, cover_z, cover_top)
            tall = cover[low + min(int(m - low - half_lean + 0.5), 1), i]
            if tall > 0:  # first seen at the edge of the cell that is nearer to the viewer
                cover_top = _join(g + tall, kf + half, cover_k, cover_z, cover_top)


@njit(cache=True, nogil=True, error_model="numpy")
def _sweep_lines(
    ground: np.ndarray,
    cover: np.ndarray,
    first: float,
    lines: int,
    lean: float,
    towards: int,
    per_step: np.float32,
    minor_from: int,
    minor_to: int,
    major_from: int,
    major_to: int,
    out: np.ndarray,
) -> None:
    last, majors = ground.shape[0] - 1, ground.shape[1]
    chains = np.empty((4, 2 * majors), dtype=np.float32)
    near, far = np.zeros((2, majors), dtype=np.float32), np.zeros((2, majors), dtype=np.float32)
    _sweep_line(ground, cover, first, lean, towards, per_step, major_from, major_to, chains, near)
    for n in range(lines):
        line = first + n
        _sweep_line(ground, cover, line + 1, lean, towards, per_step, major_from, major_to, chains, far)
        for i in range(major_from, major_to):
            m = line + lean * i
            j = int(np.ceil(m))
            if minor_from <= j < minor_to:
                part = np.float32(j - m)
                if m < 0:  # the rim of the grid: one line only runs beside the cell
                    part = np.float32(1)
                elif m + 1 > last:
                    part = np.float32(0)
                upright = far[1, i] if part > 0.5 else near[1, i]
                smooth = near[0, i] + part * (far[0, i] - near[0, i])
                out[j - minor_from, i - major_from] = max(smooth, upright)
        near, far = far, near
