"""Layers that can be read but do not fit each other or the season: clock, way, width, clay, heights."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.core.units import M_PER_FT
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.point_checks import pass_spacing_m

message = Catalog("stovergeo.workflow")
#: what records claim over what their positions and stamps show; wider than receivers err (judgment)
CLAIMED: Final = (0.95, 1.05)
#: width over the distance of passes: drivers overlap by some percent (judgment)
WIDTH: Final = (0.92, 1.12)
#: mean slope over the mean of the classes that soil map units are named for; feet as meters make 3.28 (judgment)
SLOPES: Final = (0.3, 1.45)
_FEWEST: Final = 300  #: records of a field from which it is judged
_CLASS: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(?:to|-)\s*(\d+(?:\.\d+)?)\s*percent\s+slopes")
_GROUND_M: Final = 10.0  #: cells on which slopes are compared: a survey does not see smaller bumps
_MAX_CELLS: Final = 20_000


def check_layers(plan: Plan, farm: FarmLayers, fields: gpd.GeoDataFrame, latitude: float, report: Report) -> None:
    """Report layers that contradict the season, each other or themselves."""
    if farm.points is not None and plan.layers.yield_points is not None:
        if plan.layers.yield_points.units.time in ("unix s", "gps s", "iso"):
            check_season(farm.points, plan.farm.season, latitude, report)
        check_claims(farm.points, fields, report)
    clay = farm.soils["clay_pct"].to_numpy(float)
    if np.isfinite(clay).any() and np.nanmax(clay) <= 1:
        report.add("soil.clay_fraction", "soils", message("layers.clay", most=float(np.nanmax(clay))))
    if farm.elevation is not None and "name" in farm.soils:
        check_slopes(farm.elevation, farm.soils, fields, report)


def check_season(points: gpd.GeoDataFrame, season: int, latitude: float, report: Report) -> None:
    """Report time stamps, in seconds since 1970, that lie outside the season's harvest."""
    if "time_s" not in points or not points["time_s"].notna().any():
        return
    stamped = datetime.fromtimestamp(float(np.nanmedian(points["time_s"])), UTC)
    north = datetime(season, 7, 1, tzinfo=UTC), datetime(season + 1, 5, 1, tzinfo=UTC)
    south = datetime(season, 1, 1, tzinfo=UTC), datetime(season, 11, 1, tzinfo=UTC)
    first, last = north if latitude >= 0 else south
    if not first <= stamped <= last:
        said = message("layers.season", stamped=stamped.date(), season=str(season))
        report.add("time.not_this_season", "yield_points, columns.time", said)


def check_claims(points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report fields whose records claim another way, time or width than their positions and stamps show."""
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    machine = points["machine"].astype(str).to_numpy() if "machine" in points else np.zeros(len(points), "U1")
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        shapely.prepare(shape)
        mine = np.flatnonzero(shapely.contains_xy(shape, x, y))
        if len(mine) < _FEWEST:
            continue
        mine = mine[np.argsort(machine[mine], kind="stable")]
        following = (np.diff(mine) == 1) & (machine[mine][1:] == machine[mine][:-1])
        step = np.hypot(np.diff(x[mine]), np.diff(y[mine]))
        where = f"yield_points, field {str(name)!r}"
        for column, shown in (("distance_m", step), ("seconds", _stamps(points, mine))):
            if column not in points or shown is None:
                continue
            ratio = _claimed(points[column].to_numpy(float)[mine][1:], shown, following)
            if ratio is not None and not CLAIMED[0] <= ratio <= CLAIMED[1]:
                report.add("points.claims", where, message(f"layers.{column}", ratio=ratio))
        apart = pass_spacing_m(x[mine], y[mine], float(np.median(step[following])) if following.any() else 0.0)
        width = float(np.nanmedian(points["swath_m"].to_numpy(float)[mine])) if "swath_m" in points else np.nan
        if apart is not None and np.isfinite(width) and not WIDTH[0] <= width / apart <= WIDTH[1]:
            report.add("points.claims", where, message("layers.swath_m", width=width, apart=apart))


def _stamps(points: pd.DataFrame, mine: np.ndarray) -> np.ndarray | None:
    return np.diff(points["time_s"].to_numpy(float)[mine]) if "time_s" in points else None


def _claimed(claimed: np.ndarray, shown: np.ndarray, following: np.ndarray) -> float | None:
    """Return the mean claimed over the mean shown, of records that follow each other without a break."""
    use = following & (claimed > 0) & (shown > 0)
    if use.sum() < _FEWEST / 2:
        return None
    middle = np.median(shown[use])
    use &= (shown > 0.5 * middle) & (shown < 1.6 * middle)
    middle = np.median(claimed[use])
    use &= (claimed > 0.5 * middle) & (claimed < 1.6 * middle)
    return float(claimed[use].mean() / shown[use].mean()) if use.any() else None


def check_slopes(elevation: xr.DataArray, soils: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, report: Report) -> None:
    """Report heights whose slopes are not those that the soil map units are named for."""
    classes = soils["name"].astype(str).str.extract(_CLASS).astype(float).mean(axis=1)
    named = soils[classes.notna()]
    if named.empty:
        return
    step = float(abs(elevation["x"][1] - elevation["x"][0]))
    many = max(round(_GROUND_M / step), 1)
    coarse = elevation.coarsen(x=many, y=many, boundary="trim").mean() if many > 1 else elevation
    if min(coarse.shape) < 3:
        return
    up, across = np.gradient(coarse.to_numpy().astype(float), step * many)
    slope = 100 * np.hypot(up, across)
    x, y = np.meshgrid(coarse["x"].to_numpy(), coarse["y"].to_numpy())
    ground = shapely.union_all(fields.geometry.to_numpy())
    shapely.prepare(ground)
    at = np.flatnonzero(np.isfinite(slope) & shapely.contains_xy(ground, x, y))
    at = at[:: len(at) // _MAX_CELLS + 1]
    cell, unit = shapely.STRtree(named.geometry.to_numpy()).query(
        shapely.points(x.ravel()[at], y.ravel()[at]), predicate="within"
    )
    if len(cell) < 50:
        return
    measured, expected = float(slope.ravel()[at][cell].mean()), float(classes[named.index].to_numpy()[unit].mean())
    if SLOPES[0] <= measured / expected <= SLOPES[1]:
        return
    key = "feet" if measured > expected else "meters"
    values = {"measured": measured, "expected": expected, "times": 1 / M_PER_FT}
    report.add("dem.slopes", "elevation", message(f"layers.slopes_{key}", **values))
