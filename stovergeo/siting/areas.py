"""Ground kept clear round wells, wires, roads and the rest, as shapes to draw."""

from __future__ import annotations

import geopandas as gpd

from stovergeo.core.schemas import SETBACK_AREAS
from stovergeo.siting.rate import GroundRatings


def setback_areas(ratings: GroundRatings) -> gpd.GeoDataFrame:
    """Return the ground that vector layers forbid, one row a criterion.

    Returns
    -------
    GeoDataFrame
        `stovergeo.core.schemas.SETBACK_AREAS` in the stack's CRS: all ground within the distance
        asked for, drawn never smaller than it is.
    """
    rows = [
        {
            "criterion": r.name,
            "title": str(r.criterion.title),
            "distance_m": r.rating.limit + r.rating.added,
            "geometry": r.rating.keep_out,
        }
        for r in ratings.rated
        if r.rating.keep_out is not None
    ]
    return gpd.GeoDataFrame(rows, columns=list(SETBACK_AREAS), geometry="geometry", crs=ratings.site.stack.rio.crs)
