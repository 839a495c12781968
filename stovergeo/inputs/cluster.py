"""Fields that lie together are worked on one grid; those far apart on grids of their own."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stovergeo.inputs.crs import Bounds, center_lonlat, working_crs

#: fields farther apart share no grid, m: bales are seldom carried so far to a stack (judgment)
NEAR_M: Final = 1000.0
#: nor do fields whose common box holds so many times the ground of their own boxes (judgment)
SPARSE: Final = 2.0


def cluster_fields(fields: gpd.GeoDataFrame, margin_m: float) -> list[np.ndarray]:
    """Group fields into clusters that are each worked on one grid.

    Boxes that touch are always joined; others while they are near each other and little ground between them is worked
    in vain, the pair with least such ground first.

    Parameters
    ----------
    fields : GeoDataFrame
        In a projected CRS in meters.
    margin_m : float
        Ground worked beyond each field, m.

    Returns
    -------
    list of array
        Rows of the fields of each cluster, in their order; the cluster of the first field first.

    Examples
    --------
    >>> import geopandas as gpd
    >>> from shapely.geometry import box
    >>> from stovergeo.inputs.cluster import cluster_fields
    >>> at = [(0, 0), (900, 0), (9000, 0)]
    >>> fields = gpd.GeoDataFrame(geometry=[box(x, y, x + 800, y + 800) for x, y in at], crs=32615)
    >>> [rows.tolist() for rows in cluster_fields(fields, 80)]
    [[0, 1], [2]]
    """
    rows = [np.array([row]) for row in range(len(fields))]
    boxes = [_grown(shape.bounds, margin_m) for shape in fields.geometry]
    while len(rows) > 1 and (pair := _best_pair(np.array(boxes))) is not None:
        first, second = pair
        rows[first] = np.sort(np.concatenate([rows[first], rows.pop(second)]))
        boxes[first] = _joined(boxes[first], boxes.pop(second))
    return sorted(rows, key=lambda r: int(r[0]))


def cluster_of_points(points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, clusters: list[np.ndarray]) -> np.ndarray:
    """Return the number of the cluster that each point belongs to: that of the nearest field."""
    cluster_of_field = np.empty(len(fields), int)
    for number, rows in enumerate(clusters):
        cluster_of_field[rows] = number
    at, field = shapely.STRtree(fields.geometry.to_numpy()).query_nearest(points.geometry.to_numpy(), all_matches=False)
    found = np.zeros(len(points), int)
    found[at] = cluster_of_field[field]
    return found


def crs_of(fields: gpd.GeoDataFrame) -> CRS:
    """Return the working CRS of a cluster: the UTM zone of its middle."""
    return working_crs(*center_lonlat(tuple(fields.total_bounds), CRS(fields.crs)))


def _grown(bounds: Bounds, by_m: float) -> Bounds:
    west, south, east, north = bounds
    return west - by_m, south - by_m, east + by_m, north + by_m


def _joined(one: Bounds, other: Bounds) -> Bounds:
    return min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])


def _best_pair(boxes: np.ndarray) -> tuple[int, int] | None:
    """Return the two boxes to join next, or None where all stay apart."""
    first, second = np.triu_indices(len(boxes), 1)
    a, b = boxes[first], boxes[second]
    gap = np.maximum(np.maximum(a[:, :2], b[:, :2]) - np.minimum(a[:, 2:], b[:, 2:]), 0)
    apart = np.hypot(gap[:, 0], gap[:, 1])
    own = np.prod(a[:, 2:] - a[:, :2], axis=1) + np.prod(b[:, 2:] - b[:, :2], axis=1)
    common = np.prod(np.maximum(a[:, 2:], b[:, 2:]) - np.minimum(a[:, :2], b[:, :2]), axis=1)
    ratio = np.where(apart == 0, 0.0, common / own)
    ratio[apart > NEAR_M] = np.inf
    best = int(np.argmin(ratio))
    return (int(first[best]), int(second[best])) if ratio[best] <= SPARSE else None
