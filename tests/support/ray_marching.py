"""A slow method for a season's sun, as a reference: every hour, every cell, along the exact ray.

Shares no code with the package but the sun's path. The ground is bilinear between cell middles, what
stands on a cell fills it upright to its edges. A ray is held against both wherever it crosses the middle
line or the edge of a row or a column of cells.
"""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def _height(ground, cover, r, c):
    """Return the ground at a place between cell middles, and the highest that stands on a cell touching it."""
    i, j = min(int(r), ground.shape[0] - 2), min(int(c), ground.shape[1] - 2)
    v, u = r - i, c - j
    g = (ground[i, j] * (1 - u) + ground[i, j + 1] * u) * (1 - v) + (
        ground[i + 1, j] * (1 - u) + ground[i + 1, j + 1] * u
    ) * v
    most = 0.0
    for ii in range(2):
        for jj in range(2):
            if abs(v - ii) < 0.5 + 1e-9 and abs(u - jj) < 0.5 + 1e-9:
                most = max(most, cover[i + ii, j + jj])
    return g + most


@njit(cache=True, nogil=True)
def _shaded(ground, cover, r, c, z, d_row, d_col, tangent, top):
    """March from cell (r, c) at height z; d_row, d_col are cells a meter towards the sun."""
    rows, cols = ground.shape
    half_row = np.inf if d_row == 0 else 0.5 / abs(d_row)  # way between middle lines and edges
    half_col = np.inf if d_col == 0 else 0.5 / abs(d_col)
    row_turns, col_turns = 1, 1
    while True:
        if row_turns * half_row <= col_turns * half_col:
            s = row_turns * half_row
            row_turns += 1
        else:
            s = col_turns * half_col
            col_turns += 1
        rr, cc = r + d_row * s, c + d_col * s
        if rr < 0 or rr > rows - 1 or cc < 0 or cc > cols - 1:
            return False
        ray = z + tangent * s
        if _height(ground, cover, rr, cc) > ray:
            return True
        if ray > top:
            return False


@njit(cache=True, nogil=True)
def _march(ground, cover, east, north, cells, d_row, d_col, tangent, se, sn, su, energy, out):
    top = np.nanmax(ground + cover)
    for n in range(cells.shape[0]):
        r, c = cells[n]
        length = np.sqrt(1 + east[r, c] ** 2 + north[r, c] ** 2)
        total = 0.0
        for t in range(tangent.size):
            facing = (su[t] - east[r, c] * se[t] - north[r, c] * sn[t]) / length
            if facing > 0 and not _shaded(ground, cover, r, c, ground[r, c], d_row[t], d_col[t], tangent[t], top):
                total += energy[t] * facing
        out[n] = total


def season_by_marching(surface, ground, cell, rise_east, rise_north, days, cells, threads=2):
    """Return the season's beam on the ground of `cells`, kWh/m2, and on open flat ground.

    surface, ground: float64 arrays, row 0 north; rise_*: gradients of the ground; days: a
    `stovergeo.terrain.beam.Season`; cells: (n, 2) rows and columns.
    """
    azimuth, height = np.radians(days.azimuth_deg), np.radians(days.elevation_deg)
    energy = days.energy_wh_m2 / 1000
    se, sn, su = np.cos(height) * np.sin(azimuth), np.cos(height) * np.cos(azimuth), np.sin(height)
    out = np.zeros(len(cells))
    arrays = [np.ascontiguousarray(a, dtype=np.float64) for a in (ground, surface - ground, rise_east, rise_north)]
    sun = -np.cos(azimuth) / cell, np.sin(azimuth) / cell, np.tan(height), se, sn, su, energy
    parts = np.array_split(np.arange(len(cells)), threads)
    with ThreadPoolExecutor(threads) as pool:
        jobs = [pool.submit(_march, *arrays, cells[p], *sun, out[p[0] : p[-1] + 1]) for p in parts if len(p)]
        for job in jobs:
            job.result()
    return out, float((energy * su).sum())
