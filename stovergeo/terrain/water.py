"""Ponding, flow, wetness, height above drainage and LS of a grid of ground heights."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
import xarray as xr

from stovergeo.core.coefficients import Handbook, load_handbook
from stovergeo.core.errors import ContractError
from stovergeo.core.units import M2_PER_HA
from stovergeo.terrain.flood import cut_breaches, flood, inlet_cells, ponding_depth
from stovergeo.terrain.flow import accumulate_d8, accumulate_mfd, height_above, steepest
from stovergeo.terrain.gradient import slope_aspect_roughness
from stovergeo.terrain.length_slope import ls_grid
from stovergeo.terrain.rasters import Raster, checked


def water(
    elevation: xr.DataArray,
    *,
    drainage: xr.DataArray | np.ndarray | None = None,
    breaches: Iterable[shapely.Geometry] | None = None,
    barriers: xr.DataArray | np.ndarray | None = None,
    coefficients: Handbook | None = None,
) -> xr.Dataset:
    """Return where water stands and runs.

    Parameters
    ----------
    elevation : xarray.DataArray, dims (y, x)
        Heights of the bare ground (no trees, no buildings) in meters, projected, north-up; NaN where unknown.
    drainage : array of bool on the same grid, optional
        Mapped streams and ditches. Cells that gather more than the handbook's area count as drainage too.
    breaches : iterable of shapely lines and points, optional
        Where water passes that the survey shows blocked, in the grid's CRS: a line for a culvert or an open
        outlet, a point for a tile inlet, where water leaves the surface.
    barriers : array of bool on the same grid, optional
        Roads, terraces: sheet flow ends there. Mapped drainage always ends it. Only LS heeds them.
    coefficients : Handbook, optional
        Thresholds ``terrain.*``; the shipped ones when left out.

    Returns
    -------
    xarray.Dataset
        ``ponding_m``, ``upslope_area_m2``, ``concentrated_flow``, ``wetness``, ``drainage_height_m``,
        ``ls_factor``; see `stovergeo.core.stack.VARIABLES`. ``drainage_height_m`` is NaN where water leaves the
        grid before it meets drainage; ``ls_factor`` is NaN where flow is concentrated, because no
        sheet-erosion equation holds there.

    Raises
    ------
    ContractError
        When the grid is not projected in meters or not north-up, or a mask has another shape.

    Notes
    -----
    Depressions are filled from the rim inwards and flow is shared among all lower neighbors; methods, equations
    and sources stand on the page "Terrain" of the science pages.

    Examples
    --------
    A hollow half a meter deep in level ground fills before it spills:

    >>> import numpy as np
    >>> import rioxarray
    >>> import xarray as xr
    >>> from stovergeo import water
    >>> x, y = np.meshgrid(np.arange(5, 300, 10.0), np.arange(195, 0, -10.0))
    >>> heights = 300 - 0.5 * np.exp(-((x - 155) ** 2 + (y - 105) ** 2) / 30**2)
    >>> coords = {"y": 4_650_000 + y[:, 0], "x": 440_000 + x[0]}
    >>> ground = xr.DataArray(heights, coords=coords, dims=("y", "x")).rio.write_crs(32615)
    >>> found = water(ground)
    >>> round(float(found.ponding_m.max()), 2), found.ponding_m.attrs["units"]
    (0.5, 'm')
    """
    raster = checked(elevation, "water")
    numbers = load_handbook() if coefficients is None else coefficients
    z = raster.heights()
    mapped = _mask(drainage, raster, "drainage")
    ends = _mask(barriers, raster, "barriers") | mapped
    inlets = None
    if breaches is not None:
        lines = list(breaches)
        place = {"west": raster.west, "north": raster.north, "dx": raster.dx, "dy": raster.dy}
        z = cut_breaches(z, lines, **place)
        inlets = inlet_cells(lines, raster.shape, **place)
    filled, order, reached_from = flood(z, inlets)
    depth_m, area_m2 = numbers.value("terrain.ponding_depth_m"), numbers.value("terrain.ponding_area_m2")
    cell_m2 = raster.dx * raster.dy
    ponding = ponding_depth(z, filled, min_depth_m=depth_m, min_area_m2=area_m2, cell_m2=cell_m2)
    steps = steepest(filled, reached_from, raster.dx, raster.dy)
    del reached_from
    stream_m2 = numbers.value("terrain.drainage_area_ha") * M2_PER_HA
    streams = mapped | (accumulate_d8(steps, order, cell_m2) >= stream_m2)
    height = height_above(z, steps, order, streams)
    exponent = numbers.value("terrain.flow_exponent")
    run: dict[str, Any] = {"exponent": exponent, "weight": cell_m2}
    upslope = accumulate_mfd(filled, steps, order, raster.dx, raster.dy, **run)
    sheet = upslope
    if ends.any():
        sheet = accumulate_mfd(filled, steps, order, raster.dx, raster.dy, **run, barriers=ends)
    del filled, order, steps
    concentrated_m2 = numbers.value("terrain.concentrated_area_ha") * M2_PER_HA
    unknown = np.isnan(z)
    gathered_flow = np.where(unknown, np.float32(np.nan), ((sheet >= concentrated_m2) | mapped).astype(np.float32))
    slope_pct, aspect, _ = slope_aspect_roughness(z, raster.dx, raster.dy)
    slope = slope_pct / np.float32(100)
    width, longest_m = np.sqrt(cell_m2), numbers.value("terrain.slope_length_max_m")
    ratio = numbers.value("terrain.rill_ratio")
    ls = ls_grid(sheet - cell_m2, slope, aspect, float(width), longest_m=longest_m, ratio=ratio)
    result = raster.dataset(
        ponding_m=ponding,
        upslope_area_m2=upslope.astype(np.float32),
        concentrated_flow=gathered_flow,
        wetness=wetness_index(upslope / width, slope, numbers.value("terrain.min_slope")).astype(np.float32),
        drainage_height_m=height,
        ls_factor=np.where(gathered_flow == 1, np.nan, ls).astype(np.float32),
    )
    result["ls_factor"].attrs["longest_slope_m"] = longest_m
    return result


def wetness_index(area_per_width_m: np.ndarray, slope: np.ndarray, min_slope: float) -> np.ndarray:
    """Return the topographic wetness index ln(a / tan slope).

    Beven, K. J. & Kirkby, M. J. 1979, Hydrol. Sci. Bull. 24(1):43-69. Compare it within one grid only: it
    moves with cell size and flow method.

    Parameters
    ----------
    area_per_width_m : array_like
        Upslope area per contour width, m.
    slope : array_like
        Rise over run; flatter than `min_slope` counts as that.
    min_slope : float
    """
    return np.log(np.asarray(area_per_width_m) / np.maximum(slope, min_slope))


def _mask(given: xr.DataArray | np.ndarray | None, raster: Raster, name: str) -> np.ndarray:
    if given is None:
        return np.zeros(raster.shape, dtype=bool)
    mask = np.asarray(given)
    if mask.shape != raster.shape:
        raise ContractError(f"water reads {name} with shape {raster.shape}, not {mask.shape}")
    return np.nan_to_num(mask).astype(bool)
