"""Ground height from the combine's GPS, after its drift in time is taken out.

GPS height wanders by tenths of a meter over minutes. Neighboring passes cross the same ground at different
times. That alone does not tell drift from a slope across the passes, for a field is worked from one side to the
other; but where a machine turns, two passes lie minutes apart at one end and seconds at the other, and along a pass
drift has the same sign up and down while slope has not. So height = ground + drift is fitted as a whole: ground on
a lattice that resists bending (any plane is free), drift as a random walk in time.

What is left is smoothed to the grid, and how far it is wrong is found on ground left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import xarray as xr
from scipy import sparse
from scipy.sparse.linalg import spsolve

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError
from stovergeo.core.schemas import check_table
from stovergeo.yieldmap.cells import Driven, harvested_cells
from stovergeo.yieldmap.levels import Field, Records, fit, make_levels
from stovergeo.yieldmap.neighbors import Pairs, side_pairs
from stovergeo.yieldmap.passes import Track, coordinates, placed, track_of
from stovergeo.yieldmap.validation import block_folds

_MAX_RECORDS = 40_000  #: records used, evenly in driving order; heights are far denser than drift needs
_MAX_NODES = 20_000


@dataclass(frozen=True, slots=True)
class DriftModel:
    """What is expected of each part; standard deviations."""

    record_m: float  #: height of one record about ground and drift
    walk_m: float  #: change of the drift from one knot to the next
    bend_m: float  #: second difference of the ground between lattice nodes
    knot_s: float  #: time between knots
    node_m: float  #: lattice step


def height_drift(track: Track, height: np.ndarray, model: DriftModel, use: np.ndarray) -> np.ndarray:
    """Return the drift of each record's height, m, with mean zero.

    Parameters
    ----------
    track : Track
    height : array, (n,)
        In driving order.
    model : DriftModel
    use : array of bool, (n,)
        Records to fit to; the drift of all is returned.

    Notes
    -----
    Least squares of (h - z(x, y) - d(t)) / record_m, with d piecewise linear between knots,
    (d_k+1 - d_k) / walk_m, and second differences of z over bend_m.
    """
    chosen = np.flatnonzero(use)
    chosen = chosen[:: len(chosen) // _MAX_RECORDS + 1]
    drift = _drift_matrix(track, model.knot_s)
    ground, rows, columns = _ground_matrix(track.x[chosen], track.y[chosen], model.node_m)
    data = sparse.hstack([ground, drift[chosen]]) / model.record_m
    walk = _differences(drift.shape[1], 1) / model.walk_m
    bend = sparse.vstack(
        [
            sparse.kron(sparse.eye(rows), _differences(columns, 2)),
            sparse.kron(_differences(rows, 2), sparse.eye(columns)),
            np.sqrt(2) * sparse.kron(_differences(rows, 1), _differences(columns, 1)),
        ]
    )
    smooth = sparse.block_diag([bend / model.bend_m, walk])
    # the level of the drift and that of the ground cannot be separated: a weak hold at zero
    hold = sparse.eye(data.shape[1]) * 1e-6
    middle = height[chosen].mean()
    normal = (data.T @ data + smooth.T @ smooth + hold).tocsc()
    found = spsolve(normal, data.T @ ((height[chosen] - middle) / model.record_m))
    out = drift @ found[ground.shape[1] :]
    return out - out.mean()


def _drift_matrix(track: Track, knot_s: float) -> sparse.csr_matrix:
    """Return the shares of the knots in each record's drift; each machine has its own knots."""
    n = len(track.clock)
    column, share = np.empty((n, 2), np.int64), np.empty((n, 2))
    first = 0
    for number in np.unique(track.machine):
        mine = track.machine == number
        at = (track.clock[mine] - track.clock[mine].min()) / knot_s
        low = np.floor(at).astype(np.int64)
        column[mine] = first + np.column_stack([low, low + 1])
        share[mine] = np.column_stack([1 - (at - low), at - low])
        first += int(low.max()) + 2
    row = np.repeat(np.arange(n), 2)
    return sparse.csr_matrix((share.ravel(), (row, column.ravel())), shape=(n, first))


def _ground_matrix(x: np.ndarray, y: np.ndarray, node_m: float) -> tuple[sparse.csr_matrix, int, int]:
    """Return the shares of the lattice nodes in each place, bilinear, and the lattice's rows and columns."""
    step = max(node_m, float(np.sqrt(np.ptp(x) * np.ptp(y) / _MAX_NODES)))
    fx, fy = (x - x.min()) / step, (y - y.min()) / step
    col, row = np.floor(fx).astype(np.int64), np.floor(fy).astype(np.int64)
    columns, rows = int(col.max()) + 2, int(row.max()) + 2
    u, v = fx - col, fy - row
    node = np.column_stack([row * columns + col, row * columns + col + 1])
    node = np.column_stack([node, node + columns])
    share = np.column_stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v])
    at = np.repeat(np.arange(len(x)), 4)
    return sparse.csr_matrix((share.ravel(), (at, node.ravel())), shape=(len(x), rows * columns)), rows, columns


def _differences(n: int, order: int) -> sparse.csr_matrix:
    weights = (-1.0, 1.0) if order == 1 else (1.0, -2.0, 1.0)
    return sparse.diags(weights, range(order + 1), shape=(max(n - order, 0), n), format="csr")


_SHRINK = (0.01, 0.1)


@dataclass(frozen=True, slots=True)
class Ground:
    """Ground from GPS height."""

    elevation: xr.DataArray  #: m, in the receiver's own height system; NaN off harvested ground
    holdout_error_m: float  #: root mean square on blocks of ground that were left out
    min_scale_m: float  #: slopes over shorter ground are noise; infinite where all are
    raw_pass_error_m: float  #: neighboring passes apart, as recorded, root mean square
    pass_error_m: float  #: the same after the drift is taken out


def ground_from_points(points: gpd.GeoDataFrame, stack: xr.Dataset, coefficients: Handbook) -> Ground:
    """Make ground heights on the grid from GPS heights of yield points.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS` with `height_m`; raw records serve, grain does not matter.
    stack : xarray.Dataset
        The grid to fill.
    coefficients : Handbook

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
    if "height_m" not in points or points["height_m"].notna().sum() < coefficients.value("yieldmap.ground.min_records"):
        raise ContractError("the yield points hold too few heights to make ground from")
    known = points[points["height_m"].notna() & placed(*coordinates(points))]
    gap, turn = coefficients.value("yieldmap.pass.gap_records"), coefficients.value("yieldmap.pass.turn_deg")
    track = track_of(known, *coordinates(known), gap_records=gap, turn_deg=turn)
    height = track.driven(known["height_m"].to_numpy(float))
    pairs = side_pairs(track)
    swath = float(np.median(track.swath))
    names = ("record_m", "walk_m", "bend_m", "knot_s", "node_swaths")
    record_m, walk_m, bend_m, knot_s, node_swaths = (coefficients.value(f"yieldmap.ground.{name}") for name in names)
    model = DriftModel(record_m, walk_m, bend_m, knot_s, node_m=swath * node_swaths)
    everything = np.ones(len(height), bool)
    level = height - height_drift(track, height, model, everything)
    scales = [swath * coefficients.value(f"yieldmap.ground.scale_{k}_swaths") for k in (1, 2)]
    block_m = swath * coefficients.value("yieldmap.surface.block_swaths")
    held_out = _held_out(track, height, model, scales, block_m)
    if not len(held_out):
        raise ContractError("the yield points lie too close together to make ground from")
    min_scale = _min_scale(track, level, scales, coefficients.value("yieldmap.ground.slope_error"))
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    harvested = harvested_cells(Driven(track, everything), x, y, swath)
    values = np.where(harvested, _fitted(track, level, scales, everything).on_grid(x, y), np.nan)
    elevation = xr.DataArray(values.astype(np.float32), coords={"y": stack["y"], "x": stack["x"]}, dims=("y", "x"))
    elevation = elevation.rio.write_crs(stack.rio.crs).rio.write_transform(stack.rio.transform())
    error = float(np.sqrt(np.mean(held_out**2)))
    return Ground(elevation, error, min_scale, _apart(height, pairs), _apart(level, pairs))


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


def _min_scale(track: Track, level: np.ndarray, scales: list[float], slope_error: float) -> float:
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
