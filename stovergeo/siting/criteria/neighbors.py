"""Neighbors' houses and buildings: how near, how many, and whether the wind blows toward them; an option."""

from __future__ import annotations

import numpy as np
import shapely
from numba import njit

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, no_layer

_LAYERS = ("dwellings", "buildings")
_OTHERS = 0.02  # difference of score from which others, or the wind, are spoken of


class Neighbors:
    """Scores up ground away from places off the property, most of all where the wind blows from it to them."""

    name = "neighbors"
    title = "Away from neighbors"
    reads = ()
    source = "distance, number and wind; the scores are judgement, handbook, yards.neighbors"
    order = 72
    of_yard = "least"
    optional = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Multiply over the neighbors what each leaves: nothing next door, all of it at the reach."""
        own = site.layer("property")
        if own is None:
            return NotChecked(message("not_checked.no_owner", layer=message("layer.property")))
        if not any(site.given(layer) for layer in _LAYERS):
            return no_layer(*_LAYERS)
        frames = [frame for layer in _LAYERS if (frame := site.layer(layer)) is not None]
        shapes = np.concatenate([np.empty(0, object), *(frame.geometry.to_numpy() for frame in frames)])
        theirs = shapes[~shapely.intersects(shapes, own.geometry.union_all())]
        reach, upwind, together = options.values("yards.neighbors", "reach", "upwind", "together")
        wind = options.yards.wind_from_deg
        upwind = 1.0 if wind is None else upwind
        score, nearest = np.ones(site.shape, np.float32), np.full(site.shape, np.nan, np.float32)
        for place in one_place(theirs, together):
            ends = site.row_col(shapely.get_coordinates(_sides(place))).reshape(-1, 4) * site.cell_m
            middle = site.row_col(shapely.get_coordinates(place.centroid))[0] * site.cell_m
            _leave(ends, middle, site.cell_m, reach, np.radians(0.0 if wind is None else wind), upwind, score, nearest)
        return site.rating(score, site.everywhere(True), nearest, "m", limit=reach)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far the nearest is, and whether others or the wind make it worse or better."""
        if np.isnan(value):
            return message("neighbors.none", limit=limit)
        alone = value / limit
        if score < alone - _OTHERS:
            return message("neighbors.others", value=value)
        return message("neighbors.upwind" if score > alone + _OTHERS else "neighbors.nearest", value=value)


def one_place(shapes: np.ndarray, together_m: float) -> list[shapely.Geometry]:
    """Return shapes that stand together, a house and its barns, as one place each."""
    if not len(shapes):
        return []
    areas = shapely.get_parts(shapely.union_all(shapely.buffer(shapes, together_m / 2)))
    tree = shapely.STRtree(shapes)
    return [shapely.geometrycollections(shapes[tree.query(area, predicate="intersects")]) for area in areas]


def _sides(place: shapely.Geometry) -> np.ndarray:
    """Return the straight sides of everything in a place; a point is a side of no length."""
    found = []
    for part in shapely.get_parts(shapely.get_parts(place)):
        for ring in shapely.get_parts(shapely.boundary(part) if shapely.get_dimensions(part) == 2 else part):
            at = shapely.get_coordinates(ring)
            found.append(np.stack([at[:-1], at[1:]], axis=1) if len(at) > 1 else np.stack([at, at], axis=1))
    return shapely.linestrings(np.concatenate(found))


@njit(cache=True, nogil=True)
def _leave(
    sides: np.ndarray,
    middle: np.ndarray,
    cell: float,
    reach: float,
    wind: float,
    upwind: float,
    score: np.ndarray,
    nearest: np.ndarray,
) -> None:
    """Multiply the score by what one place leaves of it, and keep the least distance; all in meters from a corner."""
    rows, cols = score.shape
    low_i = max(0, int((min(sides[:, 0].min(), sides[:, 2].min()) - reach) / cell))
    high_i = min(rows, int((max(sides[:, 0].max(), sides[:, 2].max()) + reach) / cell) + 2)
    low_j = max(0, int((min(sides[:, 1].min(), sides[:, 3].min()) - reach) / cell))
    high_j = min(cols, int((max(sides[:, 1].max(), sides[:, 3].max()) + reach) / cell) + 2)
    for i in range(low_i, high_i):
        for j in range(low_j, high_j):
            y, x = i * cell, j * cell
            away = np.inf
            for k in range(len(sides)):
                y1, x1, y2, x2 = sides[k, 0], sides[k, 1], sides[k, 2], sides[k, 3]
                dy, dx = y2 - y1, x2 - x1
                along = dy * dy + dx * dx
                t = 0.0 if along == 0 else min(1.0, max(0.0, ((y - y1) * dy + (x - x1) * dx) / along))
                away = min(away, np.hypot(y1 + t * dy - y, x1 + t * dx - x))
            if away >= reach:
                continue
            if not nearest[i, j] <= away:
                nearest[i, j] = away
            north, east = y - middle[0], middle[1] - x  # rows run south
            far = np.hypot(north, east)
            # 1 where the wind blows straight from the stack to the place, 0 across it and beyond
            to_it = 1.0 if far == 0 else max(0.0, -(north * np.cos(wind) + east * np.sin(wind)) / far)
            score[i, j] *= 1 - (1 - away / reach) * (upwind + (1 - upwind) * to_it)


NEIGHBORS = Neighbors()
