"""Ground height from the combine's GPS, after its drift in time is taken out.

GPS height wanders by tenths of a metre over minutes; `drift` tells that from the ground.
What is left is smoothed to the grid, and how far it is wrong is found on ground left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError
from stovergeo.core.schemas import check_table
from stovergeo.yieldmap.drift import DriftModel, height_drift
from stovergeo.yieldmap.harvested import Driven, harvested_cells
from stovergeo.yieldmap.levels import Field, Records, fit, make_levels
from stovergeo.yieldmap.pairs import Pairs, side_pairs
from stovergeo.yieldmap.passes import Track, coordinates, placed, track_of
from stovergeo.yieldmap.validation import block_folds

_SHRINK = (0.01, 0.1)


@dataclass(frozen=True, slots=True)
class Ground:
    """Ground from GPS height."""

    elevation: xr.DataArray  #: m, in the receiver's own height system; NaN off harvested ground
    holdout_error_m: float  #: root mean square on blocks of ground that were left out
    least_scale_m: float  #: slopes over shorter ground are noise; infinite where all are
    raw_pass_error_m: float  #: neighbouring passes apart, as recorded, root mean square
    pass_error_m: float  #: the same after the drift is taken out


def ground_from_points(points: gpd.GeoDataFrame, stack: xr.Dataset, book: Handbook) -> Ground:
    """Make ground heights on the grid from GPS heights of yield points.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS` with `height_m`; raw records serve, grain does not matter.
    stack : xarray.Dataset
        The grid to fill.
    book : Handbook

    Returns
    -------
    Ground
        With the error on held-out ground and the least length over which slope may be used.

    Raises
    ------
    ContractError
        When the points hold no heights.
    """
    check_table(points, "points", "the ground from points")
    if "height_m" not in points or points["height_m"].notna().sum() < book.value("yieldmap.ground.least_records"):
        raise ContractError("the yield points hold too few heights to make ground from")
    known = points[points["height_m"].notna() & placed(*coordinates(points))]
    track = track_of(
        known,
        *coordinates(known),
        gap_records=book.value("yieldmap.pass.gap_records"),
        turn_deg=book.value("yieldmap.pass.turn_deg"),
    )
    height = track.driven(known["height_m"].to_numpy(float))
    pairs = side_pairs(track)
    swath = float(np.median(track.swath))
    model = DriftModel(
        record_m=book.value("yieldmap.ground.record_m"),
        walk_m=book.value("yieldmap.ground.walk_m"),
        bend_m=book.value("yieldmap.ground.bend_m"),
        knot_s=book.value("yieldmap.ground.knot_s"),
        node_m=swath * book.value("yieldmap.ground.node_swaths"),
    )
    everything = np.ones(len(height), bool)
    level = height - height_drift(track, height, model, everything)
    scales = [swath * book.value(f"yieldmap.ground.scale_{k}_swaths") for k in (1, 2)]
    block_m = swath * book.value("yieldmap.surface.block_swaths")
    held_out = _held_out(track, height, model, scales, block_m)
    if not len(held_out):
        raise ContractError("the yield points lie too close together to make ground from")
    least_scale = _least_scale(track, level, scales, book.value("yieldmap.ground.slope_error"))
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    harvested = harvested_cells(Driven(track, everything), x, y, swath)
    values = np.where(harvested, _fitted(track, level, scales, everything).on_grid(x, y), np.nan)
    elevation = xr.DataArray(values.astype(np.float32), coords={"y": stack["y"], "x": stack["x"]}, dims=("y", "x"))
    elevation = elevation.rio.write_crs(stack.rio.crs).rio.write_transform(stack.rio.transform())
    error = float(np.sqrt(np.mean(held_out**2)))
    return Ground(elevation, error, least_scale, _apart(height, pairs), _apart(level, pairs))


def _apart(height: np.ndarray, pairs: Pairs) -> float:
    return float(np.sqrt(np.mean((height[pairs.one] - height[pairs.other]) ** 2))) if len(pairs.one) else float("nan")


def _fitted(track: Track, level: np.ndarray, scales: list[float], use: np.ndarray) -> Field:
    records = Records(track.x[use], track.y[use], np.ones(int(use.sum())))
    return fit(records, make_levels(records, scales), level[use], _SHRINK)[0]


def _held_out(track: Track, height: np.ndarray, model: DriftModel, scales: list[float], block_m: float) -> np.ndarray:
    """Return errors in blocks of ground whose heights neither the drift nor the surface has seen."""
    errors = np.full(len(height), np.nan)
    fold = block_folds(track.x, track.y, block_m)
    for k in range(int(fold.max()) + 1):
        out = fold == k
        if out.all():
            continue
        level = height - height_drift(track, height, model, ~out)
        errors[out] = level[out] - _fitted(track, level, scales, ~out).at(track.x[out], track.y[out])
    return errors[np.isfinite(errors)]


def _least_scale(track: Track, level: np.ndarray, scales: list[float], slope_error: float) -> float:
    """Return the least length over which slopes from every other pass agree within `slope_error`.

    Two surfaces from even and odd passes share no record; the slope of their difference
    over a length L, divided by the square root of two, is the error of either one.
    """
    even = track.pass_id % 2 == 0
    if even.all() or not even.any():
        return float("inf")
    one, other = _fitted(track, level, scales, even), _fitted(track, level, scales, ~even)
    difference = one.at(track.x, track.y) - other.at(track.x, track.y)
    away = Records(track.x, track.y, np.ones(len(level)))
    gap = fit(away, make_levels(away, scales), difference, _SHRINK)[0]
    step = float(scales[-1])
    for length in np.arange(2 * step, 40 * step, step):
        slopes = []
        for dx, dy in ((length, 0.0), (0.0, length)):
            bx, by = track.x + dx, track.y + dy
            inside = (bx <= track.x.max()) & (by <= track.y.max())
            if inside.sum() > 20:
                rise = gap.at(bx[inside], by[inside]) - gap.at(track.x[inside], track.y[inside])
                slopes.append(rise / length)
        if slopes and np.sqrt(np.mean(np.concatenate(slopes) ** 2) / 2) <= slope_error:
            return float(length)
    return float("inf")
