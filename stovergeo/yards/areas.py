"""Ground kept clear round wells, wires, roads and the rest, as shapes to draw."""

from __future__ import annotations

import geopandas as gpd

from stovergeo.yards.rate import GroundRatings


def setback_areas(ratings: GroundRatings) -> gpd.GeoDataFrame:
    """Return the ground that vector layers forbid, one row a criterion.

    Returns
    -------
    GeoDataFrame
        criterion, title, distance_m (what is asked for), geometry in the stack's CRS: all
        ground within that distance, drawn never smaller than it is.
    """
    rows = [
        {
            "criterion": r.name,
            "title": str(r.criterion.title),
            "distance_m": r.rating.limit,
            "geometry": r.rating.keep_out,
        }
        for r in ratings.rated
        if r.rating.keep_out is not None
    ]
    columns = ["criterion", "title", "distance_m", "geometry"]
    return gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=ratings.site.stack.rio.crs)
