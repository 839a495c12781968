"""The farm's grid, and the layers laid onto it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import xarray as xr
from affine import Affine
from odc.geo.geobox import GeoBox
from pyproj import CRS
from rasterio.features import rasterize
from rasterio.warp import Resampling

from stovergeo.core.stack import grid_of, put
from stovergeo.inputs.crs import Bounds
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.rasters import resampled
from stovergeo.inputs.soils import ATTRIBUTES, OF_MAP_UNIT
from stovergeo.inputs.surroundings import HALF_WIDTH_M


def farm_bounds(
    fields: gpd.GeoDataFrame, property_gdf: gpd.GeoDataFrame | None, cell_m: float, margin_m: float
) -> Bounds:
    """Return the box of fields and property with a margin, snapped outward to whole cells."""
    boxes = [f.total_bounds for f in (fields, property_gdf) if f is not None and len(f)]
    west, south = np.floor((np.min([b[:2] for b in boxes], axis=0) - margin_m) / cell_m).tolist()
    east, north = np.ceil((np.max([b[2:] for b in boxes], axis=0) + margin_m) / cell_m).tolist()
    return west * cell_m, south * cell_m, east * cell_m, north * cell_m


def farm_grid(
    fields: gpd.GeoDataFrame, property_gdf: gpd.GeoDataFrame | None, crs: CRS, cell_m: float, margin_m: float
) -> GeoBox:
    """Return the north-up grid of a farm, its edges at whole multiples of the cell.

    Parameters
    ----------
    fields, property_gdf : GeoDataFrame
        In the working CRS.
    crs : pyproj.CRS
    cell_m, margin_m : float
        Cell side, and ground beyond fields and property, m.
    """
    west, south, east, north = farm_bounds(fields, property_gdf, cell_m, margin_m)
    shape = (round((north - south) / cell_m), round((east - west) / cell_m))
    return GeoBox(shape, Affine(cell_m, 0, west, 0, -cell_m, north), crs.to_wkt())


def put_layers(stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame) -> xr.Dataset:
    """Return the stack with field numbers, property, soils, and heights where there are any.

    Cells belong to what lies under their center. Without an elevation layer neither
    `elevation_m` nor `surface_m` is set; put the heights, then call `put_surface`.
    """
    numbers = _burn(stack, fields, np.arange(len(fields), dtype=np.float32))
    ground = farm.surroundings.get("property")
    if ground is not None and len(ground):
        allowed = np.isfinite(_burn(stack, ground, np.ones(len(ground))))
    else:
        # whose ground lies beside a field is not known: only the fields, and places the grower names
        allowed = np.isfinite(numbers)
        if (own := farm.surroundings.get("yards")) is not None:
            named = own[own.geom_type.isin(("Polygon", "MultiPolygon"))]
            allowed |= np.isfinite(_burn(stack, named, np.ones(len(named))))
    stack = put(stack, field_number=numbers, inside_property=allowed)
    soil = _burn(stack, farm.soils, np.arange(len(farm.soils)))
    row = np.nan_to_num(soil, nan=len(farm.soils)).astype(int)  # one past the last where no soil is known
    known = {c: farm.soils[c].to_numpy(dtype=np.float64) for c in ATTRIBUTES if c not in OF_MAP_UNIT}
    stack = put(stack, soil_number=soil, **{column: np.append(v, np.nan)[row] for column, v in known.items()})
    if farm.elevation is None:
        return stack
    return put_surface(put(stack, elevation_m=onto_grid(farm.elevation, grid_of(stack))), farm)


def put_own_numbers(stack: xr.Dataset, plan: Plan, fields: gpd.GeoDataFrame) -> xr.Dataset:
    """Return the stack with what the plan says of single fields: carbon by soil test, and carbon of manure.

    A soil test takes the place of the survey's carbon.
    """
    names = [str(name) for name in fields["name"]]
    row = np.nan_to_num(stack["field_number"].values, nan=len(names)).astype(int)  # the last: outside all fields
    if plan.crop.manure_c_by_field:
        stack = put(stack, manure_carbon=np.array([*map(plan.crop.manure_of, names), np.nan])[row])
    tests = [np.nan if (test := plan.soil_test.of(name)) is None else float(test) for name in names]
    if np.isnan(tests).all():
        return stack
    tested = np.array([*tests, np.nan])[row]
    surveyed = stack["soil_carbon"].values if "soil_carbon" in stack else np.nan
    known = np.isfinite(tested)
    return put(stack, soil_carbon=np.where(known, tested, surveyed), soil_carbon_tested=known.astype(float))


def put_surface(stack: xr.Dataset, farm: FarmLayers) -> xr.Dataset:
    """Return the stack with `surface_m`: the ground, raised by a surface raster, trees and buildings."""
    surface = raised_by(stack, farm, *HALF_WIDTH_M)
    if farm.surface is not None:
        surface = np.fmax(surface, onto_grid(farm.surface, grid_of(stack)))
    return put(stack, surface_m=surface)


def raised_by(stack: xr.Dataset, farm: FarmLayers, *keys: str) -> np.ndarray:
    """Return the ground raised by layers of things with heights, m."""
    surface = stack["elevation_m"].to_numpy().copy()
    for key in keys:
        things = farm.surroundings.get(key)
        if things is not None and len(things):
            # lowest first, so that the tallest stands where two overlap; every touched cell is raised
            order = things.sort_values("height_m")
            height = _burn(stack, order, order["height_m"].to_numpy(), all_touched=True)
            surface = np.fmax(surface, stack["elevation_m"].to_numpy() + height)
    return surface


def onto_grid(array: xr.DataArray, grid: GeoBox) -> np.ndarray:
    """Return a raster on the grid: mean of finer cells, bilinear from coarser ones, NaN where unknown."""
    step = abs(float(array.rio.transform().a))
    method = Resampling.average if step < 0.75 * abs(grid.resolution.x) else Resampling.bilinear
    crs = array.rio.crs.to_wkt()
    return resampled(array.to_numpy(), (array.rio.transform(), crs), grid.shape.yx, (grid.transform, crs), method)


def _burn(stack: xr.Dataset, frame: gpd.GeoDataFrame, values: np.ndarray, all_touched: bool = False) -> np.ndarray:
    """Return values of polygons on the grid, NaN outside all; a later row covers an earlier one."""
    grid = grid_of(stack)
    if len(frame) == 0:
        return np.full(grid.shape, np.nan, dtype=np.float32)
    pairs = [(g, float(v)) for g, v in zip(frame.geometry, values, strict=True) if not g.is_empty]
    return rasterize(
        pairs, out_shape=grid.shape, transform=grid.transform, fill=np.nan, all_touched=all_touched, dtype="float32"
    )


def cells_touched(stack: xr.Dataset, frame: gpd.GeoDataFrame | None) -> np.ndarray | None:
    """Return True on every cell that a shape of a layer touches; None where the layer was not given."""
    if frame is None:
        return None
    return np.isfinite(_burn(stack, frame, np.ones(len(frame)), all_touched=True))
