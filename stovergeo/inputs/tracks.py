"""Outlines from the tracks of a receiver: one walks or drives round a field, and the track is its boundary."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Geod

from stovergeo.core.messages import Catalog
from stovergeo.inputs.place import Place

message = Catalog("stovergeo.inputs")
_EARTH: Final = Geod(ellps="WGS84")
#: how far the ends of a track, or of its parts, may lie apart, m and as a share of its length (judgment: one stops
#: where one began, to within the width of a gate or a machine; a receiver loses its fix for a moment)
MAX_GAP_M: Final = 25.0
MAX_GAP_SHARE: Final = 0.05


def outlines_of(frame: gpd.GeoDataFrame, at: Place) -> gpd.GeoDataFrame:
    """Return tracks in degrees as polygons; the gap that closing one bridged is reported.

    Raises
    ------
    InputError
        ``track.open`` when a track does not come back to where it began.
    """
    lines = frame.geom_type.isin(["LineString", "MultiLineString"]).to_numpy()
    shapes = np.asarray(frame.geometry, dtype=object).copy()
    widest = 0.0
    for i in np.flatnonzero(lines):
        shapes[i], gap = _outline(shapes[i], at.part(f"track {i + 1}"))
        widest = max(widest, gap)
    if lines.any():
        at.add("track.closed", message("length.track_closed", count=int(lines.sum()), gap=widest))
    return frame.set_geometry(shapes, crs=frame.crs)


def _outline(track: shapely.Geometry, at: Place) -> tuple[shapely.Polygon, float]:
    parts = [shapely.get_coordinates(part) for part in shapely.get_parts(track)]
    points = np.concatenate(parts)
    if not np.isfinite(points).all() or len(np.unique(points, axis=0)) < 3:
        raise at.refuse("track.open", message("length.track_points", count=len(points)))
    ends = np.array([[part[0], part[-1]] for part in parts])
    jumps = _meters(ends[:, 1], np.roll(ends[:, 0], -1, axis=0))
    gap = float(jumps.max())
    around = float(_meters(points, np.roll(points, -1, axis=0)).sum())
    if gap > max(MAX_GAP_M, MAX_GAP_SHARE * around):
        raise at.refuse("track.open", message("length.track_open", gap=gap))
    return shapely.Polygon(points), gap


def _meters(begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    return np.asarray(_EARTH.inv(begin[:, 0], begin[:, 1], end[:, 0], end[:, 1])[2])
