"""Ground height from the combine's GPS, after its drift in time is taken out.

GPS height wanders by tenths of a metre over minutes. Neighbouring passes cross the same
ground at different times, so their differences tell the drift: it is found by least
squares as a line with a knot every few minutes, held still where nothing is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import xarray as xr
from scipy import sparse
from scipy.sparse.linalg import spsolve

from stovergeo.errors import ContractError
from stovergeo.handbook import Handbook
from stovergeo.schemas import check_table
from stovergeo.yieldmap.harvested import harvested_cells
from stovergeo.yieldmap.levels import Field, Records, fit, make_levels
from stovergeo.yieldmap.pairs import Pairs, side_pairs
from stovergeo.yieldmap.passes import Track, coordinates, track_of
from stovergeo.yieldmap.validation import block_folds

_SHRINK = (0.01, 0.1)


@dataclass(frozen=True, slots=True)
class Ground:
    """Ground from GPS height."""

    elevation: xr.DataArray  #: m, in the receiver's own height system; NaN off harvested ground
    holdout_error_m: float  #: root mean square on blocks of ground that were left out
    least_scale_m: float  #: slopes over shorter ground are noise
    raw_pass_error_m: float  #: neighbouring passes apart, as recorded, root mean square
    pass_error_m: float  #: the same after the drift is taken out
    words: str


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
    known = points[points["height_m"].notna() & ~points.geometry.is_empty]
    track = track_of(
        known,
        *coordinates(known),
        gap_records=book.value("yieldmap.pass.gap_records"),
        turn_deg=book.value("yieldmap.pass.turn_deg"),
    )
    height = known["height_m"].to_numpy(float)[track.order]
    pairs = side_pairs(track)
    knot_s = book.value("yieldmap.ground.knot_s")
    level = height - drift(track, height, pairs, knot_s)
    swath = float(np.median(track.swath))
    scales = [
        swath * book.value("yieldmap.ground.scale_1_swaths"),
        swath * book.value("yieldmap.ground.scale_2_swaths"),
    ]
    held_out = _held_out(track, height, pairs, knot_s, scales, swath * book.value("yieldmap.surface.block_swaths"))
    least_scale = _least_scale(track, level, scales, book.value("yieldmap.ground.slope_error"))
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    harvested = harvested_cells(track, np.ones(len(height), bool), x, y, swath)
    values = np.where(harvested, _fitted(track, level, scales, np.ones(len(level), bool)).on_grid(x, y), np.nan)
    elevation = xr.DataArray(values.astype(np.float32), coords={"y": stack["y"], "x": stack["x"]}, dims=("y", "x"))
    elevation = elevation.rio.write_crs(stack.rio.crs).rio.write_transform(stack.rio.transform())
    error = float(np.sqrt(np.mean(held_out**2)))
    words = (
        f"ground from GPS height: wrong by {error:.2f} m on ground left out; "
        f"slope only over {least_scale:.0f} m and more, no ponding or flow paths"
    )
    return Ground(elevation, error, least_scale, _apart(height, pairs), _apart(level, pairs), words)


def drift(track: Track, height: np.ndarray, pairs: Pairs, knot_s: float, stiffness: float = 1.0) -> np.ndarray:
    """Return the drift of each record's height, m, with mean zero for each machine.

    Least squares over pairs of neighbouring passes, (h_i - d(t_i)) - (h_j - d(t_j)) = 0,
    with d piecewise linear in time. `stiffness` weighs second differences of the knots
    (and, a thousand times weaker, their size) so that unobserved stretches stay in line.
    """
    columns, shares, knots = _knots(track, knot_s)
    rows = np.repeat(np.arange(len(pairs.one)), 4)
    index = np.column_stack([columns[pairs.one], columns[pairs.other]]).ravel()
    value = np.column_stack([shares[pairs.one], -shares[pairs.other]]).ravel()
    A = sparse.csr_matrix((value, (rows, index)), shape=(len(pairs.one), knots))
    bend = sparse.diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(max(knots - 2, 0), knots))
    normal = A.T @ A + stiffness * (bend.T @ bend) + 1e-3 * stiffness * sparse.eye(knots)
    d = spsolve(sparse.csc_matrix(normal), A.T @ (height[pairs.one] - height[pairs.other]))
    out = (np.atleast_1d(d)[columns] * shares).sum(axis=1)
    return out - out.mean()


def _knots(track: Track, knot_s: float) -> tuple[np.ndarray, np.ndarray, int]:
    """Return for each record the two knots around it and their shares; each machine has its own knots."""
    columns = np.empty((len(track.clock), 2), np.int64)
    shares = np.empty((len(track.clock), 2))
    first = 0
    for number in range(len(track.machine_names)):
        mine = track.machine == number
        at = (track.clock[mine] - track.clock[mine].min()) / knot_s
        low = np.floor(at).astype(np.int64)
        columns[mine] = first + np.column_stack([low, low + 1])
        shares[mine] = np.column_stack([1 - (at - low), at - low])
        first += int(low.max()) + 2
    return columns, shares, first


def _apart(height: np.ndarray, pairs: Pairs) -> float:
    return float(np.sqrt(np.mean((height[pairs.one] - height[pairs.other]) ** 2))) if len(pairs.one) else float("nan")


def _fitted(track: Track, level: np.ndarray, scales: list[float], use: np.ndarray) -> Field:
    records = Records(track.x[use], track.y[use], np.ones(int(use.sum())))
    return fit(records, make_levels(records, scales), level[use], _SHRINK)[0]


def _held_out(
    track: Track, height: np.ndarray, pairs: Pairs, knot_s: float, scales: list[float], block_m: float
) -> np.ndarray:
    """Return errors in blocks of ground whose heights neither the drift nor the surface has seen."""
    errors = np.full(len(height), np.nan)
    fold = block_folds(track.x, track.y, block_m)
    for k in range(int(fold.max()) + 1):
        out = fold == k
        seen = pairs.where(~out[pairs.one] & ~out[pairs.other])
        if out.all() or len(seen.one) == 0:
            continue
        level = height - drift(track, height, seen, knot_s)
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
