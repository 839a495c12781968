"""Which filled depressions are real, and cutting a grid open where the user says water passes."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from scipy import ndimage

_EIGHT = np.ones((3, 3), dtype=bool)


def ponding_depth(
    z: np.ndarray, filled: np.ndarray, *, least_depth_m: float, least_area_m2: float, cell_m2: float
) -> np.ndarray:
    """Return how deep each depression stands before it spills, noise set to zero.

    Parameters
    ----------
    z, filled : ndarray of float32, shape (rows, cols)
        Ground and plain fill, m.
    least_depth_m, least_area_m2 : float
        A depression whose deepest cell is shallower, or whose area is smaller, is noise of the survey.
    cell_m2 : float
        Area of a cell.
    """
    depth = filled - z
    labels, count = ndimage.label(depth > 0, structure=_EIGHT)
    if count == 0:
        return depth
    cells = np.bincount(labels.ravel(), minlength=count + 1)
    deepest = np.zeros(count + 1, dtype=depth.dtype)
    wet = labels > 0
    np.maximum.at(deepest, labels[wet], depth[wet])
    real = (deepest >= least_depth_m) & (cells * cell_m2 >= least_area_m2)
    return np.where(wet & ~real[labels], np.float32(0), depth)


def cut_breaches(
    z: np.ndarray, breaches: Iterable[shapely.Geometry], *, west: float, north: float, dx: float, dy: float
) -> np.ndarray:
    """Return heights with a straight channel cut along each breach line.

    The cells under the line are lowered, never raised, to a ramp between the heights at its two ends, so
    that water the survey cannot see passing (a culvert under a road, a tile outlet) passes.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Ground heights, m.
    breaches : iterable of shapely geometries
        Lines in the grid's CRS; parts outside the known ground, and what is not a line, are left out.
    west, north : float
        Outer corner of the grid, m.
    dx, dy : float
        Cell width and height, m.
    """
    cut = z.copy()
    rows, cols = z.shape
    for line in shapely.get_parts(np.asarray(list(breaches), dtype=object)):
        if line is None or line.is_empty or line.geom_type != "LineString":
            continue
        steps = max(int(np.ceil(line.length / (0.25 * min(dx, dy)))), 1)
        share = np.linspace(0, 1, steps + 1)
        x, y = shapely.get_coordinates(shapely.line_interpolate_point(line, share, normalized=True)).T
        r = np.floor((north - y) / dy).astype(int)
        c = np.floor((x - west) / dx).astype(int)
        inside = (r >= 0) & (r < rows) & (c >= 0) & (c < cols)
        r, c, share = r[inside], c[inside], share[inside]
        known = ~np.isnan(z[r, c])
        r, c, share = r[known], c[known], share[known]
        if r.size == 0:
            continue
        ramp = np.interp(share, [share[0], share[-1]], [z[r[0], c[0]], z[r[-1], c[-1]]]).astype(z.dtype)
        np.minimum.at(cut, (r, c), ramp)
    return cut


def inlet_cells(
    breaches: Iterable[shapely.Geometry],
    shape: tuple[int, int],
    *,
    west: float,
    north: float,
    dx: float,
    dy: float,
) -> np.ndarray:
    """Return the cells in which water goes down an inlet (points among the breaches), as a mask.

    Parameters are those of `cut_breaches`; `shape` is that of the grid.
    """
    mask = np.zeros(shape, dtype=bool)
    for point in shapely.get_parts(np.asarray(list(breaches), dtype=object)):
        if point is None or point.is_empty or point.geom_type != "Point":
            continue
        r, c = int(np.floor((north - point.y) / dy)), int(np.floor((point.x - west) / dx))
        if 0 <= r < shape[0] and 0 <= c < shape[1]:
            mask[r, c] = True
    return mask
