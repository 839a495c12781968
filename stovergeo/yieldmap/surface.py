"""The grain surface: dry grain and its error on the grid, from cleaned points."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from rasterio.features import rasterize
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from stovergeo.handbook import Handbook
from stovergeo.schemas import check_table
from stovergeo.stack import grid_of
from stovergeo.units import KG_PER_MG
from stovergeo.yieldmap.certainty import Certainty, learn_certainty, pass_noise
from stovergeo.yieldmap.clean import HARVESTED
from stovergeo.yieldmap.harvested import harvested_cells
from stovergeo.yieldmap.levels import Field, Records, fit, make_levels
from stovergeo.yieldmap.passes import track_of
from stovergeo.yieldmap.validation import block_folds, held_out_errors

#: how far each level shrinks towards the one before it, from the liveliest candidate to the calmest;
#: an infinite shrinkage leaves the finest level out
CANDIDATES = (
    (0.01, 0.05, 0.05, 0.05),
    (0.01, 0.05, 0.05, 0.3),
    (0.01, 0.1, 0.1, 1.0),
    (0.01, 0.1, 0.3, 4.0),
    (0.01, 0.1, 1.0, np.inf),
)
_SAMPLE = 15_000  #: records in one window of ground on which candidates are compared
_WINDOWS = 4


@dataclass(frozen=True, slots=True)
class Surface:
    """Grain on the grid."""

    grain: xr.DataArray  #: dry Mg/ha; NaN where nothing is known
    error: xr.DataArray  #: standard error, Mg/ha
    report: dict[str, float | str]


@dataclass(frozen=True, slots=True)
class _Setting:
    scales: list[float]
    swath_m: float
    block_m: float
    window_m: float


def grain_surface(
    points: gpd.GeoDataFrame,
    fields: gpd.GeoDataFrame,
    stack: xr.Dataset,
    book: Handbook,
    *,
    removed: gpd.GeoDataFrame | None = None,
) -> Surface:
    """Estimate dry grain and its standard error in every harvested cell.

    Parameters
    ----------
    points : GeoDataFrame
        Kept records of `clean_points`.
    fields : GeoDataFrame
        `schemas.FIELDS`, same CRS.
    stack : xarray.Dataset
        The field stack; `field_number` is used where it is there.
    book : Handbook
    removed : GeoDataFrame, optional
        Removed records of `clean_points`: they tell where the machine harvested although
        its yield was not used. Without them the ground of removed records stays unknown.

    Returns
    -------
    Surface
        Known only inside fields, on harvested ground, within the handbook's reach of a kept record.

    Notes
    -----
    Each field is estimated for itself by successive correction (`levels`); how calm the
    surface is follows from blocked cross-validation. The grain is then scaled by one
    factor for each field so that the surface at the records, weighted by their areas,
    holds exactly the grain of the records; the factor is reported.
    """
    check_table(points, "points", "the grain surface")
    number = _field_numbers(fields, stack)
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    grain = np.full(number.shape, np.nan)
    error = np.full(number.shape, np.nan)
    rows: list[dict[str, float]] = []
    outside = len(points)
    if len(points):
        swath = _swath(points)
        setting = _setting(swath, book)
        harvested, distance = _ground(points, removed, x, y, swath, book)
        of_point = _field_of(points, number, x, y, setting.swath_m)
        reach = book.value("yieldmap.surface.reach_m")
        for f in range(len(fields)):
            mine = np.flatnonzero(of_point == f)
            inside = number == f
            outside -= len(mine)
            if len(mine) < book.value("yieldmap.surface.least_records") or not inside.any():
                continue
            window = _window(inside)
            part = points.iloc[mine]
            field, certainty, row = _estimate(part, setting)
            known = inside[window] & harvested[window] & (distance[window] <= reach)
            gx, gy = x[window[1]], y[window[0]]
            grain[window] = np.where(known, np.maximum(field.on_grid(gx, gy) * row["mass_factor"], 0), grain[window])
            error[window] = np.where(known, certainty.standard_error(gx, gy, distance[window]), error[window])
            rows.append({**row, "cells": float(inside.sum()), "known_cells": float(known.sum())})
    report = _report(rows, outside, len(points))
    return Surface(_array(grain, stack, "grain_mg_ha"), _array(error, stack, "grain_error_mg_ha"), report)


def _setting(swath: float, book: Handbook) -> _Setting:
    scales = [swath * book.value(f"yieldmap.surface.scale_{k}_swaths") for k in (1, 2, 3, 4)]
    block = swath * book.value("yieldmap.surface.block_swaths")
    return _Setting(scales, swath, block, swath * book.value("yieldmap.surface.error_window_swaths"))


def _estimate(points: gpd.GeoDataFrame, setting: _Setting) -> tuple[Field, Certainty, dict[str, float]]:
    """Estimate one field; return the fitted field, its certainty and what to report."""
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    area, values = points["area_m2"].to_numpy(float), points["grain_mg_ha"].to_numpy(float)
    records = Records(x, y, area / area.mean())
    windows = _windows(x, y)
    fine = np.zeros(len(CANDIDATES))
    blocked, distance = [], []
    for w in windows:
        part = Records(x[w], y[w], records.weight[w])
        # blocks of one swath tell how calm the surface should be between neighbouring passes
        errors = held_out_errors(part, values[w], setting.scales, CANDIDATES, setting.swath_m)
        fine += (errors**2).sum(axis=1)
    chosen = CANDIDATES[int(np.argmin(fine))]
    for w in windows:
        part = Records(x[w], y[w], records.weight[w])
        blocked.append(held_out_errors(part, values[w], setting.scales, [chosen], setting.block_m)[0])
        distance.append(_distance_to_used(x[w], y[w], setting.block_m))
    held_out = np.concatenate(blocked)
    levels = make_levels(records, setting.scales)
    field, residual = fit(records, levels, values, chosen)
    pass_id = points["pass_number"].to_numpy() if "pass_number" in points else np.arange(len(x))
    certainty = learn_certainty(
        records, levels, chosen, residual, pass_noise(values, pass_id), held_out, np.concatenate(distance),
        setting.window_m, setting.swath_m, probes=3 if len(x) < 100_000 else 1,
    )  # fmt: skip
    grain_kg = float(points["grain_kg"].sum())
    surface_kg = float((area * (values - residual)).sum()) / 10
    row = {
        "mass_factor": grain_kg / surface_kg if surface_kg > 0 else 1.0,
        "points_mg": grain_kg / KG_PER_MG,
        "square": float(np.nansum(held_out**2)),
        "held_out": float(np.isfinite(held_out).sum()),
        "noise_sd": certainty.noise_sd,
        "records": float(len(x)),
        "chosen": float(CANDIDATES.index(chosen)),
        "block_m": setting.block_m,
    }
    return field, certainty, row


def _windows(x: np.ndarray, y: np.ndarray) -> list[np.ndarray]:
    """Return the records to validate on: all, or of a large field those in a few compact windows."""
    n = len(x)
    if n <= _SAMPLE * _WINDOWS:
        return [np.arange(n)]
    middles = np.linspace(0, n - 1, _WINDOWS + 2).astype(int)[1:-1]
    side = np.sqrt(_SAMPLE / n * (np.ptp(x) + 1) * (np.ptp(y) + 1))
    found = [np.flatnonzero((abs(x - x[m]) < side / 2) & (abs(y - y[m]) < side / 2)) for m in middles]
    return [w for w in found if len(w) > 100] or [np.arange(_SAMPLE)]


def _distance_to_used(x: np.ndarray, y: np.ndarray, block_m: float) -> np.ndarray:
    """Return how far each record lies from the nearest of another fold."""
    fold = block_folds(x, y, block_m)
    out = np.full(len(x), np.inf)
    xy = np.column_stack([x, y])
    for k in range(int(fold.max()) + 1):
        here = fold == k
        if here.any() and not here.all():
            out[here] = cKDTree(xy[~here]).query(xy[here])[0]
    return out


def _ground(
    points: gpd.GeoDataFrame,
    removed: gpd.GeoDataFrame | None,
    x: np.ndarray,
    y: np.ndarray,
    swath: float,
    book: Handbook,
) -> tuple[np.ndarray, np.ndarray]:
    """Return which cells were harvested, and every cell's distance to the nearest kept record, m."""
    everything = _as_recorded(points)
    if removed is not None and len(removed):
        away = removed[~removed.geometry.is_empty & removed.geometry.notna()]
        # in the order of the table the reader made, so that passes are found as in cleaning
        everything = pd.concat([everything, away]).sort_index(kind="stable")
    track = track_of(
        everything,
        gap_records=book.value("yieldmap.pass.gap_records"),
        turn_deg=book.value("yieldmap.pass.turn_deg"),
    )
    count = np.ones(len(everything), bool)
    if "removed_because" in everything:
        reason = everything["removed_because"].fillna("")
        count = ((reason == "") | reason.isin(HARVESTED)).to_numpy()[track.order]
    slack = swath * book.value("yieldmap.surface.slack_swaths")
    harvested = harvested_cells(track, count, x, y, slack)
    col, row = _cell_of(points, x, y)
    hit = (col >= 0) & (col < len(x)) & (row >= 0) & (row < len(y))
    empty = np.ones((len(y), len(x)), bool)
    empty[row[hit], col[hit]] = False
    cell = abs(float(x[1] - x[0]))
    distance = distance_transform_edt(empty, sampling=cell) if not empty.all() else np.full(empty.shape, np.inf)
    return harvested, distance


def _as_recorded(points: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Put cleaned records back to where they were recorded, the ends of their ground."""
    if "moved_m" not in points:
        return points
    heading = np.radians(points["heading_deg"].to_numpy(float))
    back = points["moved_m"].to_numpy(float)
    x = points.geometry.x.to_numpy() - back * np.sin(heading)
    y = points.geometry.y.to_numpy() - back * np.cos(heading)
    return points.set_geometry(gpd.points_from_xy(x, y, crs=points.crs))


def _swath(points: gpd.GeoDataFrame) -> float:
    if "swath_m" in points and np.isfinite(points["swath_m"]).any():
        return float(np.nanmedian(points["swath_m"]))
    # without a swath, records stand for squares
    return float(np.sqrt(np.median(points["area_m2"])))


def _cell_of(points: gpd.GeoDataFrame, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    cell = abs(float(x[1] - x[0]))
    col = np.floor((points.geometry.x.to_numpy() - x[0]) / cell + 0.5).astype(np.int64)
    row = np.floor((y[0] - points.geometry.y.to_numpy()) / cell + 0.5).astype(np.int64)
    return col, row


def _field_numbers(fields: gpd.GeoDataFrame, stack: xr.Dataset) -> np.ndarray:
    """Return the row of the field in each cell, -1 outside all fields."""
    if "field_number" in stack:
        return np.nan_to_num(stack["field_number"].to_numpy(), nan=-1).astype(np.int32)
    grid = grid_of(stack)
    shapes = [(geometry, k) for k, geometry in enumerate(fields.geometry)]
    return rasterize(shapes, grid.shape, fill=-1, transform=grid.transform, dtype="int32")


def _field_of(points: gpd.GeoDataFrame, number: np.ndarray, x: np.ndarray, y: np.ndarray, reach: float) -> np.ndarray:
    """Return each record's field, -1 where none lies within `reach`."""
    cell = abs(float(x[1] - x[0]))
    distance, nearest = distance_transform_edt(number < 0, sampling=cell, return_indices=True)
    spread = np.where(distance <= reach, number[tuple(nearest)], -1)
    col, row = _cell_of(points, x, y)
    inside = (col >= 0) & (col < len(x)) & (row >= 0) & (row < len(y))
    out = np.full(len(points), -1, np.int32)
    out[inside] = spread[row[inside], col[inside]]
    return out


def _window(inside: np.ndarray) -> tuple[slice, slice]:
    rows, cols = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    return slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)


def _array(values: np.ndarray, stack: xr.Dataset, name: str) -> xr.DataArray:
    out = xr.DataArray(values.astype(np.float32), coords={"y": stack["y"], "x": stack["x"]}, dims=("y", "x"), name=name)
    return out.rio.write_crs(stack.rio.crs).rio.write_transform(stack.rio.transform())


def _report(rows: list[dict[str, float]], outside: int, n: int) -> dict[str, float | str]:
    table = pd.DataFrame(rows)
    report: dict[str, float | str] = {
        "method": "successive correction on four scales, calmness by blocked cross-validation",
        "fields_estimated": float(len(rows)),
        "records_outside_share": outside / max(n, 1),
    }
    if not rows:
        return report
    weight = table["records"]
    return report | {
        "cv_rmse_mg_ha": float(np.sqrt(table["square"].sum() / table["held_out"].sum())),
        "cv_block_m": float(table["block_m"].iloc[0]),
        "record_noise_mg_ha": float(np.sqrt(np.average(table["noise_sd"] ** 2, weights=weight))),
        "calmness": float(np.average(table["chosen"], weights=weight)),
        "mass_points_mg": float(table["points_mg"].sum()),
        "mass_factor": float(np.average(table["mass_factor"], weights=table["points_mg"])),
        "known_share": float(table["known_cells"].sum() / table["cells"].sum()),
    }
