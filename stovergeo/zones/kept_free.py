"""Ground of a field that the landowner keeps free, cut out before zones are drawn."""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry

from stovergeo.core.units import M2_PER_HA

_TOUCH_M = 0.01  # rounding of a cut


def divide_field(
    field: BaseGeometry, refused: BaseGeometry, *, least_width_m: float, least_ha: float
) -> tuple[BaseGeometry, BaseGeometry]:
    """Return the part of a field that is kept free and the part that may be worked.

    What is left beside refused ground and is too narrow or, in all, too small for a zone is kept free with it: no
    machine works a strip along an outline drawn by hand. Parts that do not touch refused ground stay as they are.

    Parameters
    ----------
    field, refused : Polygon or MultiPolygon
        In one projected CRS, valid.
    least_width_m, least_ha : float
        Least width and area of a zone; a field that is smaller itself sets its own.

    Returns
    -------
    kept, free : geometry
        They tile the field; either may be empty.
    """
    if shapely.intersection(field, refused).area <= 0:
        return shapely.Polygon(), field
    narrow = not _is_wide(field, least_width_m)
    parts = [p for p in shapely.get_parts(surface(shapely.difference(field, refused))) if p.area > 0]
    free = [p for p in parts if narrow or _is_wide(p, least_width_m) or p.distance(refused) > _TOUCH_M]
    if sum(p.area for p in free) < min(least_ha * M2_PER_HA, 0.5 * field.area):
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
    """Tell whether a disc of a width fits inside."""
    return not part.buffer(-width_m / 2).is_empty
