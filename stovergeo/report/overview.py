"""The rasters of a whole farm on one grid, coarse enough for a page: of one cluster as they are, of several joined."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import xarray as xr
from affine import Affine
from odc.geo.geobox import GeoBox
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.warp import reproject, transform_bounds

from stovergeo.core.stack import grid_of
from stovergeo.report.pictures import CLASSES, MAX_CELLS, SHOWN
from stovergeo.result import SeasonResult

#: of numbered classes, the attributes that list them side by side, the name first
_LISTS: Final = {
    "binding_rule": ("rules",),
    "yard_reason": ("reasons", "titles", "sources"),
    "yield_stability": ("classes",),
}


def overview_grid(result: SeasonResult) -> GeoBox:
    """Return the grid of the page's rasters: that of the only cluster, or one over all in the farm's CRS."""
    grids = [grid_of(cluster.stack) for cluster in result.clusters]
    if len(grids) == 1:
        return grids[0]
    boxes = np.array([_bounds_in(grid, result) for grid in grids])
    (west, south), (east, north) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    finest = min(abs(grid.resolution.x) for grid in grids)
    cell = max(finest, math.ceil(math.sqrt((east - west) * (north - south) / MAX_CELLS)))
    shape = (math.ceil((north - south) / cell), math.ceil((east - west) / cell))
    return GeoBox(shape, Affine(cell, 0, west, 0, -cell, north), result.crs.to_wkt())


def overview(result: SeasonResult) -> xr.Dataset:
    """Return the variables that a page shows on `overview_grid`: means of what is measured, the middle of classes."""
    if len(result.clusters) == 1:
        return result.clusters[0].stack
    grid = overview_grid(result)
    x = grid.transform.c + grid.transform.a * (np.arange(grid.shape[1]) + 0.5)
    y = grid.transform.f + grid.transform.e * (np.arange(grid.shape[0]) + 0.5)
    whole = xr.Dataset(coords={"y": y, "x": x}).rio.write_crs(result.crs.to_wkt()).rio.write_transform(grid.transform)
    stacks = [cluster.stack for cluster in result.clusters]
    names = ["elevation_m", *(shown.variable for shown in SHOWN), *CLASSES]
    names = [name for name in dict.fromkeys(names) if any(name in stack for stack in stacks)]
    attrs = {name: _attributes(name, [stack for stack in stacks if name in stack]) for name in names}
    values = np.full((len(names), *grid.shape), np.nan, np.float32)
    for stack in stacks:
        _place(stack, names, attrs, values, whole)
    return whole.assign(
        {n: xr.DataArray(v, dims=("y", "x"), attrs=attrs[n]) for n, v in zip(names, values, strict=True)}
    )


def _bounds_in(grid: GeoBox, result: SeasonResult) -> tuple[float, float, float, float]:
    change = Transformer.from_crs(grid.crs.to_wkt() if grid.crs else None, result.crs, always_xy=True)
    return change.transform_bounds(*grid.boundingbox.bbox)


def _place(
    stack: xr.Dataset, names: list[str], attrs: dict[str, dict[str, Any]], values: np.ndarray, whole: xr.Dataset
) -> None:
    """Write the variables of a cluster into values, shape (variables, rows, columns) of the whole's grid."""
    rows, columns = _window(stack, whole)
    around = whole.isel(y=rows, x=columns)
    grids = {
        "src_transform": stack.rio.transform(),
        "src_crs": stack.rio.crs,
        "dst_transform": around.rio.transform(recalc=True),
        "dst_crs": whole.rio.crs,
    }
    for how in (Resampling.average, Resampling.nearest):
        bands = [k for k, n in enumerate(names) if n in stack and (n in _LISTS) == (how == Resampling.nearest)]
        if not bands:
            continue
        given = np.array([_renumbered(names[k], stack, attrs[names[k]]) for k in bands])
        part = values[bands, rows, columns]
        placed = np.full_like(part, np.nan)
        reproject(given, placed, **grids, src_nodata=np.nan, dst_nodata=np.nan, resampling=how)
        values[bands, rows, columns] = np.where(np.isfinite(placed), placed, part)


def _attributes(name: str, stacks: list[xr.Dataset]) -> dict[str, Any]:
    """Return the attributes of a variable of several clusters; classes are numbered anew over all."""
    lists = _LISTS.get(name, ())
    return dict(stacks[0][name].attrs) | (_merged_lists(name, lists, stacks) if lists else {})


def _renumbered(name: str, stack: xr.Dataset, attrs: dict[str, Any]) -> np.ndarray:
    """Return the values of a variable, classes by their number over all clusters."""
    values = stack[name].to_numpy().astype(np.float32)
    lists = _LISTS.get(name, ())
    if not lists:
        return values
    known = list(attrs[lists[0]])
    numbers = np.array([known.index(entry) for entry in stack[name].attrs.get(lists[0], [])] or [0], np.float32)
    return np.where(np.isfinite(values), numbers[np.nan_to_num(values).astype(int)], np.nan)


def _window(stack: xr.Dataset, whole: xr.Dataset) -> tuple[slice, slice]:
    """Return the rows and columns of the whole's grid that a cluster may reach, with a cell more on each side."""
    west, south, east, north = transform_bounds(stack.rio.crs, whole.rio.crs, *stack.rio.bounds())
    corner, cell = whole.rio.transform(), abs(whole.rio.resolution()[0])
    first_row, last_row = (corner.f - north) / cell, (corner.f - south) / cell
    first_column, last_column = (west - corner.c) / cell, (east - corner.c) / cell
    rows = slice(max(math.floor(first_row) - 1, 0), math.ceil(last_row) + 1)
    return rows, slice(max(math.floor(first_column) - 1, 0), math.ceil(last_column) + 1)


def _merged_lists(name: str, lists: tuple[str, ...], stacks: list[xr.Dataset]) -> dict[str, list[str]]:
    rows: dict[str, tuple[str, ...]] = {}
    for stack in stacks:
        held = [stack[name].attrs.get(key, []) for key in lists]
        for row in zip(*held, strict=False):
            rows.setdefault(str(row[0]), row)
    return {key: [row[k] for row in rows.values()] for k, key in enumerate(lists)}
