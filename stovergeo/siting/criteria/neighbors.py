"""Neighbors' houses and buildings: how near, how many, and whether the wind blows toward them; an option."""

from __future__ import annotations

import numpy as np
import shapely

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, no_layer

_LAYERS = ("dwellings", "buildings")
_OTHERS = 0.02  # difference of score from which others, or the wind, are spoken of


class Neighbors:
    """Scores up ground away from places off the property, most of all where the wind blows from it to them."""

    name = "neighbors"
    title = "Away from neighbors"
    reads = ()
    source = "distance, number and wind; the scores are judgment, handbook, yards.neighbors"
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
        wind_from = np.radians(0.0 if wind is None else wind)
        upwind = 1.0 if wind is None else upwind
        score, nearest = np.ones(site.shape, np.float32), np.full(site.shape, np.nan, np.float32)
        for place in one_place(theirs, together):
            west, south, east, north = shapely.bounds(place) + np.array([-reach, -reach, reach, reach])
            rows, cols = (site.y >= south) & (site.y <= north), (site.x >= west) & (site.x <= east)
            window = np.ix_(rows, cols)
            x, y = np.meshgrid(site.x[cols], site.y[rows])
            away = shapely.distance(place, shapely.points(x, y))
            away[away >= reach] = np.nan
            nearest[window] = np.fmin(nearest[window], away)
            # 1 where the wind blows straight from the stack to the place, 0 across it and beyond
            to_east, to_north = place.centroid.x - x, place.centroid.y - y
            blown = -(to_north * np.cos(wind_from) + to_east * np.sin(wind_from))
            to_it = np.clip(blown / np.maximum(np.hypot(to_east, to_north), 1e-9), 0, 1)
            left = 1 - (1 - away / reach) * (upwind + (1 - upwind) * to_it)
            score[window] *= np.nan_to_num(left, nan=1)
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


NEIGHBORS = Neighbors()
