"""A field's outline drawn from its points: as wide as the swath, with holes for what was not cut."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Geod

from stovergeo.core.errors import ContractError
from stovergeo.core.schemas import check_table
from stovergeo.core.units import M2_PER_HA
from stovergeo.yieldmap.passes import coordinates, placed, track_of
from stovergeo.yieldmap.swath import footprints


def boundary_from_points(
    points: gpd.GeoDataFrame,
    *,
    close_m: float = 2.0,
    min_hole_m2: float = 400.0,
    min_part_ha: float = 0.1,
    simplify_m: float = 0.5,
    gap_records: float = 2.5,
    turn_deg: float = 60.0,
) -> gpd.GeoDataFrame:
    """Draw field outlines around harvested ground.

    Every record with grain covers its true swath. Footprints are joined, gaps narrower
    than twice `close_m` between passes are closed (position error opens them), and the
    outline is drawn back by the same width.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS`, raw; records without grain do not count.
    close_m : float
        Half the widest gap between footprints that is closed, m.
    min_hole_m2 : float
        Smaller holes are filled: they are not worth driving around.
    min_part_ha : float
        Smaller parts are left out.
    simplify_m : float
        Largest shift of the outline when corners are dropped.
    gap_records, turn_deg : float
        What ends a pass; see `passes.track_of`.

    Returns
    -------
    GeoDataFrame
        `schemas.FIELDS`, one row for each separate part, largest first.

    Raises
    ------
    ContractError
        When no record harvested anything.
    """
    check_table(points, "points", "the boundary from points")
    cut = points[(points["grain_kg"] > 0) & (points["area_m2"] > 0) & placed(*coordinates(points))]
    if cut.empty:
        raise ContractError("no outline can be drawn: no yield point holds grain")
    track = track_of(cut, *coordinates(cut), gap_records=gap_records, turn_deg=turn_deg)
    corners = footprints(track)
    ground = shapely.make_valid(shapely.polygons(corners))
    # pass by pass first: few large unions are much faster than one of every footprint
    passes = [shapely.union_all(part) for part in np.split(ground, track.start[1:-1])]
    joined = shapely.union_all(passes).buffer(close_m, join_style="mitre").buffer(-close_m, join_style="mitre")
    parts = [_without_small_holes(part, min_hole_m2) for part in _polygons(joined)]
    parts = [_polygons(part.simplify(simplify_m))[0] for part in parts if part.area >= min_part_ha * M2_PER_HA]
    if not parts:
        raise ContractError(f"no outline can be drawn: less than {min_part_ha:g} ha was harvested")
    parts.sort(key=lambda part: -part.area)
    frame = gpd.GeoDataFrame(geometry=parts, crs=points.crs)
    geod = Geod(ellps="WGS84")
    areas = [abs(geod.geometry_area_perimeter(part)[0]) / M2_PER_HA for part in frame.to_crs(4326).geometry]
    frame["field_id"] = [f"F{k + 1}" for k in range(len(frame))]
    frame["name"] = [f"field {k + 1} (drawn from yield points)" for k in range(len(frame))]
    frame["area_ha"] = areas
    return frame[["field_id", "name", "area_ha", "geometry"]]


def _polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon) and not part.is_empty]


def _without_small_holes(part: shapely.Polygon, min_m2: float) -> shapely.Polygon:
    holes = [ring for ring in part.interiors if shapely.Polygon(ring).area >= min_m2]
    return shapely.Polygon(part.exterior, holes)
