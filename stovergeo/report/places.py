"""Shapes and places in the form the page reads: small whole numbers, with the way back to longitude and latitude.

The page draws in the farm's own meters (no web projection), so that rows, distances and the
scale bar are true. Places the landowner marks go back to longitude and latitude through a
polynomial fitted here, exact to a few centimeters over a farm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

STEP_M: Final = 0.1  # what the page tells apart
_DEGREE: Final = 4
_WEB_M: Final = 2 * np.pi * 6_378_137.0  # side of the world's square in EPSG:3857


@dataclass(frozen=True, slots=True)
class Frame:
    """The piece of ground the page shows: its south-west corner and size, in meters of the working CRS."""

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
        """Return a place inside a shape, in meters from the corner."""
        inside = geometry.representative_point()
        return [round(inside.x - self.west, 1), round(inside.y - self.south, 1)]


def simplified(layer: gpd.GeoDataFrame, tolerance_m: float) -> gpd.GeoSeries:
    """Return shapes with fewer corners; neighbors keep their common edge."""
    shapes = layer.geometry
    if tolerance_m <= 0 or layer.empty:
        return shapes
    polygons = set(shapes.geom_type) <= {"Polygon", "MultiPolygon"}
    if polygons and shapely.coverage_is_valid(shapes.to_numpy()):
        return gpd.GeoSeries(
            shapely.coverage_simplify(shapes.to_numpy(), tolerance_m), index=layer.index, crs=layer.crs
        )
    return shapes.simplify(tolerance_m)


def inside(things: gpd.GeoDataFrame, frame: Frame) -> gpd.GeoDataFrame:
    """Return what lies on the ground shown: a layer of roads may cover a county."""
    bounds = (frame.west, frame.south, frame.west + frame.width, frame.south + frame.height)
    cut = shapely.clip_by_rect(shapely.force_2d(things.geometry.to_numpy()), *bounds)
    kept = things.set_geometry(gpd.GeoSeries(cut, index=things.index, crs=things.crs))
    return kept[[shape is not None and not shape.is_empty for shape in cut]]


def shapes_of(
    frame: Frame, layer: gpd.GeoDataFrame, tolerance_m: float, properties_of: Callable[[Any], dict[str, Any]]
) -> list[dict[str, Any]]:
    """Return the shapes of a layer, simplified and coded, each with what `properties_of` makes of its row."""
    return [
        {**properties_of(row), "shape": frame.code(shape)}
        for row, shape in zip(layer.itertuples(), simplified(layer, tolerance_m), strict=True)
        if shape is not None and not shape.is_empty
    ]


def name_place(frame: Frame, ground: BaseGeometry) -> list[float]:
    """Return where a field's name stands: in its upper part, so that the names of its zones have room below."""
    west, south, east, north = ground.bounds
    top = shapely.clip_by_rect(ground, west, north - 0.16 * (north - south), east, north)
    parts = [p for p in shapely.get_parts(top) if p.area > 0]
    widest = max(parts, key=lambda p: p.area) if parts else ground
    return frame.point(widest.centroid if widest.contains(widest.centroid) else widest)


def transform_from_web(frame: Frame, crs: CRS) -> dict[str, Any]:
    """Fit the page's meters as polynomials of the web's square, in which background pictures come.

    The square holds the world in spherical Mercator (EPSG:3857): 0 to 1 eastwards and southwards.

    Returns
    -------
    dict
        ``center`` and ``half`` to scale the square's coordinates into -1..1, ``powers`` of both, coefficients ``x``
        and ``y`` (meters).
    """
    x, y = _around(frame)
    mx, my = Transformer.from_crs(crs, 3857, always_xy=True).transform(frame.west + x, frame.south + y)
    east, south = mx / _WEB_M + 0.5, 0.5 - my / _WEB_M
    center = (float(east.mean()), float(south.mean()))
    half = float(max(np.abs(east - center[0]).max(), np.abs(south - center[1]).max()))
    fit = _polynomials((east - center[0]) / half, (south - center[1]) / half, {"x": x, "y": y}, decimals=6)
    return {"center": center, "half": half, **fit}


def transform_to_lonlat(frame: Frame, crs: CRS) -> dict[str, Any]:
    """Fit longitude and latitude as polynomials of the page's meters.

    Returns
    -------
    dict
        ``center`` and ``half`` (meters) to scale x and y into -1..1, ``powers`` of x and y,
        coefficients ``lon`` and ``lat``.
    """
    x, y = _around(frame)
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(frame.west + x, frame.south + y)
    center, half = (frame.width / 2, frame.height / 2), _half(frame)
    fit = _polynomials((x - center[0]) / half, (y - center[1]) / half, {"lon": lon, "lat": lat}, decimals=12)
    return {"center": center, "half": half, **fit}


def _half(frame: Frame) -> float:
    return max(frame.width, frame.height, 1.0)


def _around(frame: Frame) -> tuple[np.ndarray, np.ndarray]:
    """Return places in the page's meters over twice the frame, so that marks beside it are right too."""
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 17), np.linspace(-1, 1, 17)))
    return frame.width / 2 + u * _half(frame), frame.height / 2 + v * _half(frame)


def _polynomials(u: np.ndarray, v: np.ndarray, targets: dict[str, np.ndarray], decimals: int) -> dict[str, Any]:
    """Fit each target as a polynomial of u and v; return the powers, and the coefficients by target."""
    powers = [(i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]
    terms = np.stack([u**i * v**j for i, j in powers], axis=1)
    fits = {name: np.linalg.lstsq(terms, target, rcond=None)[0] for name, target in targets.items()}
    return {"powers": powers, **{name: np.round(fit, decimals).tolist() for name, fit in fits.items()}}
