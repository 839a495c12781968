"""The cells of a grid: which were harvested, which hold a record and of which field, how far the nearest record is."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr
from numba import njit
from rasterio.features import rasterize

from stovergeo.core.stack import grid_of
from stovergeo.yieldmap.passes import Track, Way, coordinates, placed, track_of, way_of
from stovergeo.yieldmap.reasons import NOT_CUT
from stovergeo.yieldmap.swath import crossed, extent, outline, slopes


@dataclass(frozen=True, slots=True)
class Driven:
    """Where machines drove, and which of their records harvested, also those whose yield is not used."""

    track: Track
    cut: np.ndarray  #: (n,) in driving order
    stood: tuple[np.ndarray, np.ndarray] | None = None  #: x and y of the kept records, in the order of their table


def harvested_cells(driven: Driven, x: np.ndarray, y: np.ndarray, slack_m: float) -> np.ndarray:
    """Return which cells of a grid have their center on harvested ground.

    Parameters
    ----------
    driven : Driven
    x, y : array
        Cell centers of a regular north-up grid: x rising, y falling.
    slack_m : float
        Footprints are widened by this on either side, to close what position error opens
        between passes, and where what was cut begins and ends.

    Returns
    -------
    array of bool, (len(y), len(x))
    """
    out = np.zeros((len(y), len(x)), np.bool_)
    cell = float(x[1] - x[0]) if len(x) > 1 else float(y[0] - y[1]) if len(y) > 1 else 1.0
    _mark(way_of(driven.track), driven.cut, slack_m, float(x[0]), float(y[0]), cell, out)
    return out


@njit(cache=True, nogil=True)
def _mark(way: Way, cut: np.ndarray, widen: float, x0: float, y0: float, cell: float, out: np.ndarray) -> None:
    rows, columns = out.shape
    corners, per_y = np.empty((4, 2)), np.empty(4)
    for i in range(len(way.x)):
        if not cut[i]:
            continue
        # the record before or after of the same pass covers what lies there
        back = 0.0 if i > 0 and cut[i - 1] and way.pass_id[i - 1] == way.pass_id[i] else widen
        ahead = 0.0 if i + 1 < len(cut) and cut[i + 1] and way.pass_id[i + 1] == way.pass_id[i] else widen
        outline(way, i, widen, back, ahead, corners)
        slopes(corners, per_y)
        low_y, high_y = extent(corners, 1)
        top = max(int(np.ceil((y0 - high_y) / cell)), 0)
        bottom = min(int(np.floor((y0 - low_y) / cell)), rows - 1)
        for row in range(top, bottom + 1):
            left, right = crossed(corners, per_y, y0 - row * cell)
            if left <= right:
                first = max(int(np.ceil((left - x0) / cell)), 0)
                for col in range(first, min(int(np.floor((right - x0) / cell)), columns - 1) + 1):
                    out[row, col] = True


_READ = ("machine", "time_s", "seconds", "distance_m", "swath_m", "area_m2", "removed_because")


def cells_of(px: np.ndarray, py: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the cell of each point on the grid of all x and y, numbered row by row; -1 where it lies outside."""
    out = np.empty(len(px), np.int32)
    _number(px, py, float(x[0]), float(y[0]), abs(float(x[1] - x[0])), len(y), len(x), out)
    return out


@njit(cache=True, nogil=True)
def _number(
    px: np.ndarray, py: np.ndarray, x0: float, y0: float, cell: float, rows: int, columns: int, out: np.ndarray
) -> None:
    for i in range(len(px)):
        col, row = np.floor((px[i] - x0) / cell + 0.5), np.floor((y0 - py[i]) / cell + 0.5)
        out[i] = int(row) * columns + int(col) if 0 <= col < columns and 0 <= row < rows else -1


def field_numbers(fields: gpd.GeoDataFrame, stack: xr.Dataset) -> np.ndarray:
    """Return the row of the field in each cell, -1 outside all fields."""
    if "field_number" in stack:
        return np.nan_to_num(stack["field_number"].to_numpy(), nan=-1).astype(np.int32)
    grid = grid_of(stack)
    shapes = [(geometry, k) for k, geometry in enumerate(fields.geometry)]
    return rasterize(shapes, grid.shape, fill=-1, transform=grid.transform, dtype="int32")


def field_of(
    px: np.ndarray, py: np.ndarray, cells: np.ndarray, fields: gpd.GeoDataFrame, numbers: np.ndarray, reach: float
) -> np.ndarray:
    """Return each point's field, -1 where none lies within `reach`; `cells` are the points' cells."""
    out = numbers.ravel()[cells]
    out[cells < 0] = -1
    lost = np.flatnonzero(out < 0)
    if len(lost):
        tree = shapely.STRtree(fields.geometry.to_numpy())
        at, near = tree.query_nearest(shapely.points(px[lost], py[lost]), max_distance=reach, all_matches=False)
        out[lost[at]] = near
    return out


def driven_again(
    kept: gpd.GeoDataFrame, removed: gpd.GeoDataFrame | None, gap_records: float, turn_deg: float
) -> Driven:
    """Find again how machines drove from records cleaned before.

    Parameters
    ----------
    kept, removed : GeoDataFrame
        Results of `clean_points`; their index is that of the table before cleaning, so
        that passes are found again as they were driven.
    gap_records, turn_deg : float
        See `passes.track_of`.
    """
    px, py = coordinates(kept)
    if "moved_m" in kept:  # back to where it was recorded, the end of its ground
        heading, moved = np.radians(kept["heading_deg"].to_numpy(float)), kept["moved_m"].to_numpy(float)
        px, py = px - moved * np.sin(heading), py - moved * np.cos(heading)
    table = kept[[name for name in _READ if name in kept]]
    if removed is not None and len(removed):
        rx, ry = coordinates(removed)
        known = placed(rx, ry)
        part = removed.loc[known, [name for name in _READ if name in removed]]
        order = np.argsort(np.append(kept.index.to_numpy(), removed.index.to_numpy()[known]), kind="stable")
        table = pd.concat([pd.DataFrame(table), pd.DataFrame(part)], ignore_index=True).iloc[order]
        px, py = np.append(px, rx[known])[order], np.append(py, ry[known])[order]
    track = track_of(table, px, py, gap_records=gap_records, turn_deg=turn_deg)
    cut = np.ones(len(table), bool)
    if "removed_because" in table:
        cut = ~table["removed_because"].isin(NOT_CUT).to_numpy()
    return Driven(track, track.driven(cut))
