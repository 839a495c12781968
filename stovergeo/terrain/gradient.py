"""Slope, aspect and roughness of a grid of heights (Horn 1981)."""

from __future__ import annotations

import numpy as np
import xarray as xr
from numba import njit

from stovergeo.terrain.rasters import checked


def slope_aspect(elevation: xr.DataArray) -> xr.Dataset:
    """Return how steep the ground is, which way it falls and how rough it is.

    Parameters
    ----------
    elevation : xarray.DataArray, dims (y, x)
        Ground heights in meters on a projected, north-up grid; NaN where unknown.

    Returns
    -------
    xarray.Dataset
        ``slope_pct`` (percent), ``aspect_deg`` (degrees clockwise from grid north towards which the ground
        falls; NaN on flat ground) and ``roughness_m`` (largest height difference to the eight neighbors).
        NaN where the height is NaN. At the rim of what is known a missing neighbor is continued in a
        straight line through the cell, so that a plane keeps its slope up to the last cell.

    Raises
    ------
    ContractError
        When the grid is not projected in meters, not north-up, or says another unit than meters.

    References
    ----------
    Horn, B. K. P. 1981, "Hill shading and the reflectance map", Proc. IEEE 69(1):14-47.

    Examples
    --------
    A plane that falls 3 m in 100 m towards the east:

    >>> import numpy as np
    >>> import rioxarray
    >>> import xarray as xr
    >>> from stovergeo import slope_aspect
    >>> x, y = np.arange(440_005, 440_300, 10), np.arange(4_650_195, 4_650_000, -10)
    >>> heights = 300 - 0.03 * np.broadcast_to(x - x[0], (len(y), len(x)))
    >>> ground = xr.DataArray(heights, coords={"y": y, "x": x}, dims=("y", "x")).rio.write_crs(32615)
    >>> found = slope_aspect(ground)
    >>> round(float(found.slope_pct.mean()), 2), round(float(found.aspect_deg.mean()), 1)
    (3.0, 90.0)
    """
    raster = checked(elevation, "slope_aspect")
    slope, aspect, roughness = slope_aspect_roughness(raster.heights(), raster.dx, raster.dy)
    return raster.dataset(slope_pct=slope, aspect_deg=aspect, roughness_m=roughness)


def slope_aspect_roughness(z: np.ndarray, dx: float, dy: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return slope (percent), aspect (degrees) and roughness (m) of heights.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Heights in meters, row 0 in the north.
    dx, dy : float
        Cell width and height in meters.
    """
    slope, aspect, roughness = (np.empty_like(z) for _ in range(3))
    _describe(z, np.float32(1 / (8 * dx)), np.float32(1 / (8 * dy)), slope, aspect, roughness)
    return slope, aspect, roughness


def gradients(z: np.ndarray, dx: float, dy: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the rise towards east and towards north, m per m, by Horn's weights."""
    east, north = np.empty_like(z), np.empty_like(z)
    _gradients(z, np.float32(1 / (8 * dx)), np.float32(1 / (8 * dy)), east, north)
    return east, north


@njit(cache=True, nogil=True, inline="always")
def _window(z: np.ndarray, r: int, c: int) -> tuple:
    """Return the 3 x 3 window a..i around a cell, missing neighbors continued straight through the cell."""
    rows, cols = z.shape
    e = z[r, c]
    nan = np.float32(np.nan)
    b = z[r - 1, c] if r > 0 else nan
    h = z[r + 1, c] if r < rows - 1 else nan
    d = z[r, c - 1] if c > 0 else nan
    f = z[r, c + 1] if c < cols - 1 else nan
    if np.isnan(b):
        b = e if np.isnan(h) else e + e - h
    if np.isnan(h):
        h = e + e - b
    if np.isnan(d):
        d = e if np.isnan(f) else e + e - f
    if np.isnan(f):
        f = e + e - d
    a = z[r - 1, c - 1] if r > 0 and c > 0 else nan
    cc = z[r - 1, c + 1] if r > 0 and c < cols - 1 else nan
    g = z[r + 1, c - 1] if r < rows - 1 and c > 0 else nan
    i = z[r + 1, c + 1] if r < rows - 1 and c < cols - 1 else nan
    # a corner is the sum of its two sides less the middle: exact on a plane
    if np.isnan(a):
        a = b + d - e
    if np.isnan(cc):
        cc = b + f - e
    if np.isnan(g):
        g = h + d - e
    if np.isnan(i):
        i = h + f - e
    return a, b, cc, d, e, f, g, h, i


@njit(cache=True, nogil=True)
def _gradients(z: np.ndarray, per_x: np.float32, per_y: np.float32, east: np.ndarray, north: np.ndarray) -> None:
    rows, cols = z.shape
    for r in range(rows):
        for c in range(cols):
            a, b, cc, d, e, f, g, h, i = _window(z, r, c)
            # Horn 1981: weighted differences over the eight neighbors; row 0 lies in the north
            east[r, c] = ((cc + f + f + i) - (a + d + d + g)) * per_x + (e - e)  # e - e: NaN stays NaN
            north[r, c] = ((a + b + b + cc) - (g + h + h + i)) * per_y + (e - e)


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def _direction_deg(east: np.float32, north: np.float32) -> np.float32:
    """Return the direction of a vector, degrees clockwise from north; NaN for no vector.

    The arctangent is our own odd polynomial, fitted to within 2e-5 degree on 0 to 1, because it runs
    on several cells at once where the exact function takes them singly.
    """
    across, along = abs(east), abs(north)
    t = min(across, along) / max(across, along)
    u = t * t
    p = np.float32(0.006811762)
    for c in (-0.033604121, 0.079623550, -0.132333349, 0.198078135, -0.333173678, 0.999996111):
        p = p * u + np.float32(c)
    turn = p * t * np.float32(180 / np.pi)
    turn = np.float32(90) - turn if across > along else turn
    turn = np.float32(180) - turn if north < 0 else turn
    turn = np.float32(360) - turn if east < 0 else turn
    return turn if turn < np.float32(360) else turn - np.float32(360)


@njit(cache=True, nogil=True, error_model="numpy")
def _describe(
    z: np.ndarray, per_x: np.float32, per_y: np.float32, slope: np.ndarray, aspect: np.ndarray, roughness: np.ndarray
) -> None:
    rows, cols = z.shape
    for r in range(rows):
        for c in range(cols):
            a, b, cc, d, e, f, g, h, i = _window(z, r, c)
            zx = ((cc + f + f + i) - (a + d + d + g)) * per_x
            zn = ((a + b + b + cc) - (g + h + h + i)) * per_y
            slope[r, c] = np.float32(100) * np.sqrt(zx * zx + zn * zn) + (e - e)
            aspect[r, c] = _direction_deg(-zx, -zn) + (e - e)  # downslope
            most = max(abs(a - e), abs(b - e), abs(cc - e), abs(d - e))
            roughness[r, c] = max(most, abs(f - e), abs(g - e), abs(h - e), abs(i - e)) + (e - e)
