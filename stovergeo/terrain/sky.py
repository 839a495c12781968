"""The share of the sky that the ground sees: what dries and lights it without direct sun."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import xarray as xr

from stovergeo.terrain.gradient import gradients
from stovergeo.terrain.horizon import NOTHING, Block, Direction, horizon_tangents
from stovergeo.terrain.rasters import as_heights, checked, same_grid
from stovergeo.terrain.sun import THREADS
from stovergeo.terrain.sweep import NO_HORIZON


def sky_view(surface: xr.DataArray | None, ground: xr.DataArray, *, sectors: int = 32) -> xr.Dataset:
    """Return the share of an evenly bright sky that each cell of ground sees.

    Parameters
    ----------
    surface : xarray.DataArray, dims (y, x), or None
        Heights with trees and buildings, m; None: the bare ground alone.
    ground : xarray.DataArray, dims (y, x)
        Bare ground on the same grid, m.
    sectors : int
        Directions in which the horizon is looked up.

    Returns
    -------
    xarray.Dataset
        ``sky_view``, 0 to 1; 1 on open flat ground. Cells under trees or roofs are seen as if the cover
        above them were not there: it is their surroundings that count. NaN where the ground is unknown.
    """
    raster = checked(ground, "sky_view")
    z = raster.heights()
    cover = NOTHING
    if surface is not None:
        same_grid(raster, surface, "sky_view")
        cover = np.fmax(as_heights(surface) - z, np.float32(0))
    block = Block.of(z, cover, (slice(0, z.shape[0]), slice(0, z.shape[1])), (0, 0))
    turned = block.turned()
    east, north = gradients(z, raster.dx, raster.dy)
    total = np.zeros(z.shape, dtype=np.float64)
    with ThreadPoolExecutor(THREADS) as pool:
        for azimuth in 360 * np.arange(sectors) / sectors:
            direction = Direction.of(azimuth, raster.dx, raster.dy)
            tangent = np.full(z.shape[::-1] if direction.down else z.shape, NO_HORIZON)
            horizon_tangents(turned if direction.down else block, direction, tangent, pool)
            total += sky_slice(tangent.T if direction.down else tangent, east, north, azimuth)
    return raster.dataset(sky_view=np.clip(total / sectors, 0, 1).astype(np.float32))


def sky_slice(tangent: Any, east: Any, north: Any, azimuth_deg: Any) -> np.ndarray:
    """Return what one direction adds to the sky view factor; its mean over all directions is the factor.

    Dozier & Frew 1990, eq. 7b: cosS sin2(H) + sinS cos(az - A) (H - sinH cosH), with H the horizon's angle
    from the zenith, S slope, A aspect. The ground's own slope is part of its horizon.

    Parameters
    ----------
    tangent : array_like
        Tangent of the horizon's height, as found by sweeps (without the cell's own slope).
    east, north : array_like
        Rise of the ground towards east and north.
    azimuth_deg : array_like
        Direction looked in, degrees from grid north.
    """
    turn = np.radians(azimuth_deg)
    uphill = east * np.sin(turn) + north * np.cos(turn)
    cos_slope = 1 / np.sqrt(1 + np.square(east) + np.square(north))
    from_zenith = np.pi / 2 - np.arctan(np.maximum(np.maximum(tangent, uphill), 0))
    # sinS cos(az - A) is how far the normal leans towards the direction: -uphill cosS
    lean = -uphill * cos_slope
    return cos_slope * np.sin(from_zenith) ** 2 + lean * (from_zenith - np.sin(from_zenith) * np.cos(from_zenith))
