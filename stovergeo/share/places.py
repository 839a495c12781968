"""Shapes and places in the form the page reads: small whole numbers, with the way back to longitude and latitude.

The page draws in the farm's own metres (no web projection), so that rows, distances and the
scale bar are true. Places the landowner marks go back to longitude and latitude through a
polynomial fitted here, exact to a few centimetres over a farm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

STEP_M: Final = 0.1  # what the page tells apart
_DEGREE: Final = 4


@dataclass(frozen=True, slots=True)
class Frame:
    """The piece of ground the page shows: its south-west corner and size, in metres of the working CRS."""

    west: float
    south: float
    width: float
    height: float

    def code(self, geometry: BaseGeometry) -> list[Any]:
        """Return a shape as ``["P", [ring, ...], ...]``, ``["L", line, ...]`` or ``["D", [x, y], ...]``.

        Rings and lines are flat lists of steps of `STEP_M`, each from the point before it.
        """
        parts = [p for p in shapely.get_parts(shapely.force_2d(geometry)) if not p.is_empty]
        polygons = [p for p in parts if p.geom_type == "Polygon"]
        lines = [p for p in parts if p.geom_type in ("LineString", "LinearRing")]
        if polygons:
            return ["P", *([self._steps(r) for r in (p.exterior, *p.interiors)] for p in polygons)]
        if lines:
            return ["L", *(self._steps(line) for line in lines)]
        return ["D", *(self._steps(p) for p in parts if p.geom_type == "Point")]

    def _steps(self, line: BaseGeometry) -> list[int]:
        xy = np.asarray(line.coords)[:, :2] - (self.west, self.south)
        whole = np.rint(xy / STEP_M).astype(np.int64)
        return np.diff(whole, axis=0, prepend=np.zeros((1, 2), np.int64)).ravel().tolist()

    def point(self, geometry: BaseGeometry) -> list[float]:
        """Return a place inside a shape, in metres from the corner."""
        inside = geometry.representative_point()
        return [round(inside.x - self.west, 1), round(inside.y - self.south, 1)]


def simplified(layer: gpd.GeoDataFrame, tolerance_m: float) -> gpd.GeoSeries:
    """Return shapes with fewer corners; neighbours keep their common edge."""
    shapes = layer.geometry
    if tolerance_m <= 0 or layer.empty:
        return shapes
    polygons = set(shapes.geom_type) <= {"Polygon", "MultiPolygon"}
    if polygons and shapely.coverage_is_valid(shapes.to_numpy()):
        return gpd.GeoSeries(
            shapely.coverage_simplify(shapes.to_numpy(), tolerance_m), index=layer.index, crs=layer.crs
        )
    return shapes.simplify(tolerance_m)


def way_to_lonlat(frame: Frame, crs: CRS) -> dict[str, Any]:
    """Fit longitude and latitude as polynomials of the page's metres.

    Returns
    -------
    dict
        ``centre`` and ``half`` (metres) to scale x and y into -1..1, ``powers`` of x and y,
        coefficients ``lon`` and ``lat``, and the greatest error found, ``error_m``.
    """
    half = max(frame.width, frame.height, 1.0)  # twice the frame, so that marks beside it are right too
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 17), np.linspace(-1, 1, 17)))
    centre = (frame.width / 2, frame.height / 2)
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(frame.west + centre[0] + u * half, frame.south + centre[1] + v * half)
    powers = [(i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]
    terms = np.stack([u**i * v**j for i, j in powers], axis=1)
    fit = [np.linalg.lstsq(terms, np.asarray(a), rcond=None)[0] for a in (lon, lat)]
    metres = np.array([111_320.0 * np.cos(np.radians(np.mean(lat))), 111_320.0])  # a degree, near enough for an error
    error = max(float(np.abs(terms @ f - a).max() * m) for f, a, m in zip(fit, (lon, lat), metres, strict=True))
    return {
        "centre": centre,
        "half": half,
        "powers": powers,
        "lon": [round(float(c), 12) for c in fit[0]],
        "lat": [round(float(c), 12) for c in fit[1]],
        "error_m": round(error, 4),
    }
