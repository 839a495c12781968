"""Zones as polygons: ground kept free cut out, cells traced to outlines that tile the field, and back to the grid."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import rasterio.features
import shapely
import xarray as xr
from affine import Affine
from odc.geo.geobox import GeoBox
from scipy import ndimage
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from stovergeo.core.units import M2_PER_HA

_TOUCH_M = 0.01  # rounding of a cut


def divide_field(
    field: BaseGeometry, refused: BaseGeometry, *, min_width_m: float, min_ha: float
) -> tuple[BaseGeometry, BaseGeometry]:
    """Return the part of a field that is kept free and the part that may be worked.

    What is left beside refused ground and is too narrow or, in all, too small for a zone is kept free with it: no
    machine works a strip along an outline drawn by hand. Parts that do not touch refused ground stay as they are.

    Parameters
    ----------
    field, refused : Polygon or MultiPolygon
        In one projected CRS, valid.
    min_width_m, min_ha : float
        Least width and area of a zone; a field that is smaller itself sets its own.

    Returns
    -------
    kept, free : geometry
        They tile the field; either may be empty.
    """
    if shapely.intersection(field, refused).area <= 0:
        return shapely.Polygon(), field
    narrow = not _is_wide(field, min_width_m)
    parts = [p for p in shapely.get_parts(surface(shapely.difference(field, refused))) if p.area > 0]
    free = [p for p in parts if narrow or _is_wide(p, min_width_m) or p.distance(refused) > _TOUCH_M]
    if sum(p.area for p in free) < min(min_ha * M2_PER_HA, 0.5 * field.area):
        free = [p for p in free if p.distance(refused) > _TOUCH_M]
    whole = shapely.union_all(free) if len(free) != 1 else free[0]
    return surface(shapely.difference(field, whole)), whole


def surface(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons of whatever a cut left."""
    parts = [p for p in shapely.get_parts(geometry) if p.geom_type == "Polygon" and p.area > 0]
    if geometry.geom_type == "GeometryCollection":
        parts += [q for p in shapely.get_parts(geometry) if p.geom_type == "MultiPolygon" for q in p.geoms]
    return shapely.union_all(parts) if len(parts) != 1 else parts[0]


def _is_wide(part: BaseGeometry, width_m: float) -> bool:
    """ReportSize whether a disc of a width fits inside."""
    return not part.buffer(-width_m / 2).is_empty


def outlines(
    numbers: np.ndarray, transform: Affine, boundary: BaseGeometry, tolerance_m: float, min_part_m2: float
) -> dict[int, BaseGeometry]:
    """Return one polygon a number; together they tile the boundary exactly.

    The labels are carried outwards past the field, traced, their shared edges smoothed
    together (so no gap opens between neighbors) and cut with the field's own boundary:
    the outer edge is the grower's line, never a stair of cells.

    Parameters
    ----------
    numbers : int array, shape (rows, columns)
        Zone of each cell, -1 outside.
    transform : Affine
        Of the array.
    boundary : Polygon or MultiPolygon
        Of the field.
    tolerance_m : float
        Corners of smaller triangles than about its square are taken out of inner edges.
    min_part_m2 : float
        Smaller detached crumbs, left by the cutting, go to the neighbor they share most edge with.
    """
    wide, moved = _carry_outwards(numbers, transform, boundary)
    traced: dict[int, list[BaseGeometry]] = {}
    for outline, number in rasterio.features.shapes(wide.astype(np.int32), transform=moved):
        traced.setdefault(int(number), []).append(shape(outline))
    names = sorted(traced)
    whole = [shapely.union_all(traced[n]) for n in names]
    smooth = shapely.coverage_simplify(whole, tolerance_m) if len(whole) > 1 else whole
    cut = {n: surface(shapely.intersection(g, boundary)) for n, g in zip(names, smooth, strict=True)}
    return _tidy({n: g for n, g in cut.items() if not g.is_empty}, min_part_m2)


def zone_numbers(zones: gpd.GeoDataFrame, grid: GeoBox) -> xr.DataArray:
    """Return the row of the zone in which each cell's middle lies, NaN outside all zones.

    Parameters
    ----------
    zones : GeoDataFrame, ZONES schema
        In the grid's CRS.
    grid : GeoBox

    Returns
    -------
    DataArray, float32, dims (y, x)
        Row position in `zones`, as `field_number` is for fields.
    """
    burnt = np.full(grid.shape, -1, dtype=np.int32)
    if len(zones):
        pairs = ((g, i) for i, g in enumerate(zones.geometry))
        burnt = rasterio.features.rasterize(
            pairs, out_shape=tuple(grid.shape), transform=grid.transform, fill=-1, dtype="int32"
        )
    places = {name: grid.coordinates[name].values for name in ("y", "x")}
    numbers = np.where(burnt < 0, np.nan, burnt).astype(np.float32)
    attrs = {"units": "1", "long_name": "row of the zone in the zones table, NaN outside all zones"}
    return xr.DataArray(numbers, dims=("y", "x"), coords=places, name="zone_number", attrs=attrs)


def _carry_outwards(numbers: np.ndarray, transform: Affine, boundary: BaseGeometry) -> tuple[np.ndarray, Affine]:
    """Pad the array past the boundary and give every cell the nearest number."""
    left, bottom, right, top = boundary.bounds
    rows, columns = numbers.shape
    (c0, r0), (c1, r1) = ~transform * (left, top), ~transform * (right, bottom)
    before = (max(0, int(np.ceil(-r0))) + 2, max(0, int(np.ceil(-c0))) + 2)
    after = (max(0, int(np.ceil(r1 - rows))) + 2, max(0, int(np.ceil(c1 - columns))) + 2)
    padded = np.pad(numbers, ((before[0], after[0]), (before[1], after[1])), constant_values=-1)
    nearest = ndimage.distance_transform_edt(padded < 0, return_distances=False, return_indices=True)
    return padded[tuple(nearest)], transform * Affine.translation(-before[1], -before[0])


def _tidy(zones: dict[int, BaseGeometry], min_part_m2: float) -> dict[int, BaseGeometry]:
    """Hand crumbs that the cut broke off to the neighbor with which they share most edge."""
    crumbs = []
    for number, geometry in zones.items():
        parts = sorted(shapely.get_parts(geometry), key=lambda p: -p.area)
        small = [p for p in parts[1:] if p.area < min_part_m2]
        if small:
            zones[number] = shapely.union_all([p for p in parts if not any(p is s for s in small)])
            crumbs += [(number, p) for p in small]
    for number, crumb in crumbs:
        shared = {n: g.intersection(crumb.boundary).length for n, g in zones.items()}
        best = max(shared, key=lambda n: (shared[n], n == number))
        if shared[best] <= 0:
            best = number
        zones[best] = surface(shapely.union(zones[best], crumb))
    return zones
