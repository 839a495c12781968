"""Which cell and which field a record lies in, and which cells may be given a value."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr
from rasterio.features import rasterize
from scipy.ndimage import distance_transform_edt

from stovergeo.stack import grid_of
from stovergeo.yieldmap.harvested import harvested_cells
from stovergeo.yieldmap.passes import coordinates, placed, track_of
from stovergeo.yieldmap.reasons import REASONS

_READ = ("machine", "time_s", "seconds", "distance_m", "swath_m", "area_m2", "removed_because")


def cell_of(px: np.ndarray, py: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return row and column of points on the grid of all x and y, and which points lie on it."""
    cell = abs(float(x[1] - x[0]))
    col = np.floor((px - x[0]) / cell + 0.5).astype(np.int64)
    row = np.floor((y[0] - py) / cell + 0.5).astype(np.int64)
    return row, col, (col >= 0) & (col < len(x)) & (row >= 0) & (row < len(y))


def field_numbers(fields: gpd.GeoDataFrame, stack: xr.Dataset) -> np.ndarray:
    """Return the row of the field in each cell, -1 outside all fields."""
    if "field_number" in stack:
        return np.nan_to_num(stack["field_number"].to_numpy(), nan=-1).astype(np.int32)
    grid = grid_of(stack)
    shapes = [(geometry, k) for k, geometry in enumerate(fields.geometry)]
    return rasterize(shapes, grid.shape, fill=-1, transform=grid.transform, dtype="int32")


def field_of(
    px: np.ndarray,
    py: np.ndarray,
    fields: gpd.GeoDataFrame,
    numbers: np.ndarray,
    x: np.ndarray,
    y: np.ndarray,
    reach: float,
) -> np.ndarray:
    """Return each point's field, -1 where none lies within `reach`."""
    row, col, inside = cell_of(px, py, x, y)
    out = np.full(len(px), -1, np.int32)
    out[inside] = numbers[row[inside], col[inside]]
    lost = np.flatnonzero(out < 0)
    if len(lost):
        tree = shapely.STRtree(fields.geometry.to_numpy())
        at, near = tree.query_nearest(shapely.points(px[lost], py[lost]), max_distance=reach, all_matches=False)
        out[lost[at]] = near
    return out


def ground_of(
    kept: gpd.GeoDataFrame,
    removed: gpd.GeoDataFrame | None,
    x: np.ndarray,
    y: np.ndarray,
    slack_m: float,
    gap_records: float,
    turn_deg: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return which cells were harvested, and every cell's distance to the nearest kept record, m.

    Parameters
    ----------
    kept, removed : GeoDataFrame
        Results of `clean_points`; their index is that of the table before cleaning, so
        that passes are found again as they were driven.
    x, y : array
        Cell centres.
    slack_m, gap_records, turn_deg : float
        See `harvested.harvested_cells` and `passes.track_of`.
    """
    px, py = coordinates(kept)
    row, col, hit = cell_of(px, py, x, y)
    empty = np.ones((len(y), len(x)), bool)
    empty[row[hit], col[hit]] = False
    cell = abs(float(x[1] - x[0]))
    distance = np.full(empty.shape, np.inf)
    if not empty.all():
        distance = distance_transform_edt(empty, sampling=cell)
    if "moved_m" in kept:  # back to where it was recorded, the end of its ground
        heading, moved = np.radians(kept["heading_deg"].to_numpy(float)), kept["moved_m"].to_numpy(float)
        px, py = px - moved * np.sin(heading), py - moved * np.cos(heading)
    table = kept[[name for name in _READ if name in kept]]
    index = kept.index.to_numpy()
    if removed is not None and len(removed):
        rx, ry = coordinates(removed)
        known = placed(rx, ry)
        part = removed.loc[known, [name for name in _READ if name in removed]]
        table = pd.concat([pd.DataFrame(table), pd.DataFrame(part)], ignore_index=True)
        px, py = np.append(px, rx[known]), np.append(py, ry[known])
        index = np.append(index, removed.index.to_numpy()[known])
        order = np.argsort(index, kind="stable")
        table, px, py = table.iloc[order], px[order], py[order]
    track = track_of(table, px, py, gap_records=gap_records, turn_deg=turn_deg)
    count = np.ones(len(table), bool)
    if "removed_because" in table:
        not_cut = [name for name, reason in REASONS.items() if not reason.harvested]
        count = ~table["removed_because"].isin(not_cut).to_numpy()[track.order]
    return harvested_cells(track, count, x, y, slack_m), distance
