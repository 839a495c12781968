"""Small drawings to scale, as SVG: a field for the crew, a yard with its rows for the landowner.

Shapes only get classes of our own style sheet; the only text is ids and distances, escaped.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from markupsafe import Markup
from pyproj import CRS, Proj, Transformer
from shapely.geometry.base import BaseGeometry

from stovergeo.core.printing import how_printed, quantity
from stovergeo.report.bare_page import filled

_NICE: Final = (1, 2, 5)


def north_turn_deg(crs: CRS, x: float, y: float) -> float:
    """Return how far true north stands clockwise of the grid's north at a place, in degrees."""
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    return -float(Proj(crs).get_factors(lon, lat).meridian_convergence)


def nice_length(about_m: float, system: str) -> tuple[float, str]:
    """Return a round length of at most `about_m`, in meters, and its label."""
    factor = how_printed("length", system).factor
    about = max(about_m * factor, 1)
    step = 10 ** np.floor(np.log10(about))
    length = float(max(n * step for n in _NICE if n * step <= about) / factor)
    return length, quantity("length", length, system)


class Drawing:
    """A drawing of a piece of ground, north up, one scale in both directions.

    Parameters
    ----------
    bounds : (west, south, east, north)
        In meters; a margin is added.
    width_px : int
        Size along the longer side; the other follows.
    title : str
        What the drawing shows, for those who do not see it.
    """

    def __init__(self, bounds: tuple[float, float, float, float], width_px: int, title: str, prefix: str) -> None:
        west, south, east, north = bounds
        pad = 0.06 * max(east - west, north - south, 1.0)
        self._west, self._north = west - pad, north + pad
        wide, high = east - west + 2 * pad, north - south + 2 * pad
        self._px_per_m = width_px / max(wide, high)
        self._size = (wide * self._px_per_m, high * self._px_per_m + 34)
        self._title = title
        self._prefix = prefix
        self._shapes: list[dict[str, Any]] = []
        self._labels: list[dict[str, Any]] = []

    def _xy(self, points: np.ndarray) -> np.ndarray:
        return np.column_stack([points[:, 0] - self._west, self._north - points[:, 1]]) * self._px_per_m

    def _path(self, line: BaseGeometry, close: bool) -> str:
        xy = self._xy(np.asarray(line.coords)[:, :2])
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in xy) + ("Z" if close else "")

    def shape(self, geometry: BaseGeometry, name: str) -> None:
        """Draw a shape of any kind under a class of the style sheet."""
        for part in getattr(geometry, "geoms", [geometry]):
            if part.is_empty:
                continue
            if part.geom_type == "Polygon":
                path = "".join(self._path(ring, True) for ring in (part.exterior, *part.interiors))
            elif part.geom_type == "LineString":
                path = self._path(part, False)
            else:
                x, y = self._xy(np.array([[part.x, part.y]]))[0]
                path = f"M{x:.1f} {y - 7:.1f}l6 12h-12z"
            self._shapes.append({"name": name, "kind": part.geom_type, "path": path})

    def label(self, at: BaseGeometry, text: str) -> None:
        """Write an id at a point."""
        x, y = self._xy(np.array([[at.x, at.y]]))[0]
        self._labels.append({"x": x, "y": y, "text": text})

    def svg(self, system: str, north_turn: float) -> Markup:
        """Return the drawing with its scale bar and north arrow."""
        wide, high = self._size
        length_m, length = nice_length(0.35 * wide / self._px_per_m, system)
        return filled(
            "drawing.svg",
            wide=wide,
            high=high,
            title=self._title,
            prefix=self._prefix,
            shapes=self._shapes,
            labels=self._labels,
            hatched=any(s["name"] == "d-leave" for s in self._shapes),
            bar=length_m * self._px_per_m,
            length=length,
            turn=north_turn,
        )
