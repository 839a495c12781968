"""Whether the layers belong together: points on the fields, fields on the property."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely

from stovergeo.errors import Report
from stovergeo.layers.crs import geodesic_ha
from stovergeo.plan_file.layers import PointsLayer

#: share of records outside all fields that is worth a word, and that means the wrong field (bad-inputs sheet, row 34)
SOME_OUTSIDE: Final = 0.02
MOST_OUTSIDE: Final = 0.20
#: fewer records than this on a field say little of its pattern (judgement)
LEAST_POINTS: Final = 100


def check_points_on_fields(
    points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, layer: PointsLayer | None, report: Report
) -> None:
    """Hold the points against the field outlines.

    Raises
    ------
    InputError
        ``overlay.empty`` when no point lies on a field, ``points.outside_most`` when over a fifth lie outside.
    """
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    counts = {}
    inside = np.zeros(len(points), dtype=bool)
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        west, south, east, north = shape.bounds
        near = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
        shapely.prepare(shape)
        on = near[shapely.contains_xy(shape, x[near], y[near])]
        inside[on] = True
        counts[name] = len(on)
    outside = 1 - inside.mean()
    said = f"{(~inside).sum():,} of {len(points):,} records ({outside:.0%}) lie outside all fields."
    if not inside.any():
        raise report.refuse("overlay.empty", "yield_points", said)
    if outside > MOST_OUTSIDE and not (layer is not None and layer.allow_outside):
        raise report.refuse("points.outside_most", "yield_points", said)
    if outside > SOME_OUTSIDE:
        report.add("points.outside", "yield_points", said)
    for name, count in counts.items():
        if count < LEAST_POINTS:
            report.add("points.sparse", f"fields, {name!r}", f"Only {count:,} yield records lie on it.")


def check_property(fields: gpd.GeoDataFrame, owned: gpd.GeoDataFrame, report: Report) -> None:
    """Report field ground outside the property lines."""
    ground = shapely.union_all(owned.geometry.to_numpy()) if len(owned) else shapely.Polygon()
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        beyond = shapely.difference(shape, ground)
        share = beyond.area / shape.area
        if share > 0.02:
            hectares = share * geodesic_ha(gpd.GeoDataFrame(geometry=[shape], crs=fields.crs))[0]
            report.add(
                "property.field_outside",
                f"fields, {name!r}",
                f"{hectares:,.1f} ha ({share:.0%}) lie outside the property lines.",
            )
