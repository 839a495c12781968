"""The grain surface: dry grain and its error on the grid, from cleaned points."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr
from numba import njit

from stovergeo.core.coefficients import Handbook
from stovergeo.core.distance import distance_to_cells
from stovergeo.core.errors import ContractError
from stovergeo.core.schemas import check_table
from stovergeo.core.stack import put
from stovergeo.core.units import KG_PER_MG
from stovergeo.yieldmap.cells import Driven, cells_of, driven_again, field_numbers, field_of, harvested_cells
from stovergeo.yieldmap.certainty import Certainty, ErrorAlong, error_row, learn_certainty, pass_noise, respond
from stovergeo.yieldmap.drift import pass_variance
from stovergeo.yieldmap.levels import Along, Field, Records, fit, longest, make_levels, row_at
from stovergeo.yieldmap.many_records import every, in_threads, side_by_side, typical
from stovergeo.yieldmap.passes import coordinates
from stovergeo.yieldmap.validation import CANDIDATES, choose, held_out, samples

_LOOKED_AT = 1_000  #: points looked at to see that they are those that cleaning remembers
_MANY = 100_000  #: records beyond which one random probe tells as much as three


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
    coefficients: Handbook,
    *,
    removed: gpd.GeoDataFrame | None = None,
    driven: Driven | None = None,
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
    coefficients : Handbook
    removed : GeoDataFrame, optional
        Removed records of `clean_points`: they tell where the machine harvested although
        its yield was not used. Without them the ground of removed records stays unknown.
    driven : Driven, optional
        `Cleaned.driven` of the cleaning that kept these points: says that already, in less time.

    Returns
    -------
    Surface
        Known only inside fields, on harvested ground, within the handbook's reach of a kept record.

    Notes
    -----
    Each field is estimated for itself by successive correction (`levels`); how calm the
    surface is follows from blocked cross-validation. The grain is then scaled by one
    factor for each field so that the surface at the records, weighted by their areas,
    holds exactly the grain of the records; the factor is reported. Equations and sources stand
    on the page "Yield map" of the science pages.

    Raises
    ------
    ContractError
        When a column that must be there is missing, or `driven` tells of other points.

    Examples
    --------
    Records 2 m apart in ten passes of a field, as `clean_points` keeps them, to cells of 5 m:

    >>> import geopandas as gpd
    >>> import numpy as np
    >>> import shapely
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import grain_surface, load_handbook, new_stack
    >>> x, y = (a.ravel() for a in np.meshgrid(np.arange(4.0, 80, 8), np.arange(1.0, 200, 2)))
    >>> grain_mg_ha = 10 + np.sin(x / 20) * np.cos(y / 30)
    >>> columns = {"area_m2": 16.0, "grain_mg_ha": grain_mg_ha, "grain_kg": 1.6 * grain_mg_ha, "swath_m": 8.0}
    >>> place = gpd.points_from_xy(440_000 + x, 4_650_000 + y, crs=32615)
    >>> points = gpd.GeoDataFrame(columns, geometry=place)
    >>> outline = shapely.box(440_000, 4_650_000, 440_080, 4_650_200)
    >>> columns = {"field_id": ["F1"], "name": ["home"], "area_ha": [1.6]}
    >>> field = gpd.GeoDataFrame(columns, geometry=[outline], crs=32615)
    >>> grid = GeoBox.from_bbox(outline.bounds, crs="EPSG:32615", resolution=5)
    >>> surface = grain_surface(points, field, new_stack(grid), load_handbook())
    >>> surface.grain.shape, surface.grain.attrs["units"]
    ((40, 16), 'Mg/ha')
    >>> truth = 10 + np.sin((surface.grain.x - 440_000) / 20) * np.cos((surface.grain.y - 4_650_000) / 30)
    >>> bool(abs(surface.grain - truth).max() < 0.1)
    True
    """
    check_table(points, "points", "the grain surface")
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    px, py = _places(points, driven)
    grain = np.full((len(y), len(x)), np.nan, np.float32)
    error = np.full((len(y), len(x)), np.nan, np.float32)
    rows: list[dict[str, float]] = []
    outside = len(points)
    if len(points):
        setting = _setting(points, coefficients)
        slack = setting.swath_m * coefficients.value("yieldmap.surface.slack_swaths")
        reach = coefficients.value("yieldmap.surface.reach_m")
        least = coefficients.value("yieldmap.surface.min_records")
        if driven is None:
            breaks = coefficients.value("yieldmap.pass.gap_records"), coefficients.value("yieldmap.pass.turn_deg")
            driven = driven_again(points, removed, *breaks)
        with ThreadPoolExecutor(1) as aside:
            harvested = aside.submit(harvested_cells, driven, x, y, slack)
            numbers = field_numbers(fields, stack)
            cells = cells_of(px, py, x, y)
            cell_m = abs(float(x[1] - x[0]))
            there = aside.submit(_distance_to_records, cells, harvested, numbers >= 0, cell_m, reach)
            of_point = field_of(px, py, cells, fields, numbers, setting.swath_m)
            records = np.bincount(of_point + 1, minlength=len(fields) + 1)[1:]
            outside -= int(records.sum())
            found = []
            for f in np.flatnonzero(records >= least):
                part = _window(fields.geometry.iloc[f], x, y)
                inside = numbers[part] == f
                if inside.any():
                    mine = of_point == f if records[f] < len(points) else slice(None)
                    found.append((part, inside, *_estimate(points, mine, px[mine], py[mine], setting)))
            distance = there.result()
        for part, inside, field, certainty, row in found:
            known = inside & np.isfinite(distance[part])
            where = known, distance[part], grain[part], error[part]
            _fill(where, x[part[1]], y[part[0]], field, certainty, row["mass_factor"])
            rows.append({**row, "cells": float(inside.sum()), "known_cells": float(known.sum())})
    report = _report(rows, outside, len(points), setting.block_m if len(points) else np.nan)
    filled = put(stack, grain_mg_ha=grain, grain_error_mg_ha=error)
    return Surface(filled["grain_mg_ha"], filled["grain_error_mg_ha"], report)


def _distance_to_records(
    cells: np.ndarray, harvested: Future[np.ndarray], inside: np.ndarray, cell_m: float, reach_m: float
) -> np.ndarray:
    """Return how far each harvested cell inside fields lies from a cell with a record; infinite beyond reach."""
    marked = np.zeros(inside.shape, np.bool_)
    marked.ravel()[cells[cells >= 0]] = True
    away = distance_to_cells(marked, cell_m)
    return np.where(harvested.result() & inside & (away <= reach_m), away, np.float32(np.inf))


def _places(points: gpd.GeoDataFrame, driven: Driven | None) -> tuple[np.ndarray, np.ndarray]:
    """Return where the points lie; as cleaning remembers it if it can, for reading a million points takes time."""
    if driven is None or driven.stood is None:
        return coordinates(points)
    x, y = driven.stood
    some = every(len(points), _LOOKED_AT)
    seen = points.geometry.to_numpy()[some]
    if len(x) != len(points) or (x[some] != shapely.get_x(seen)).any() or (y[some] != shapely.get_y(seen)).any():
        raise ContractError(
            "`driven` tells of other records than `points`; pass both from one cleaning, or `removed` instead"
        )
    return x, y


def _setting(points: gpd.GeoDataFrame, coefficients: Handbook) -> _Setting:
    """Return the lengths a field is estimated with, from the typical swath."""
    swaths = points["swath_m"].to_numpy(float) if "swath_m" in points else np.zeros(0)
    swaths = swaths[np.isfinite(swaths) & (swaths > 0)]
    # without a swath, records stand for squares
    swath = typical(swaths if len(swaths) else np.sqrt(points["area_m2"].to_numpy(float)))
    scales = [swath * coefficients.value(f"yieldmap.surface.scale_{k}_swaths") for k in (1, 2, 3, 4)]
    block = swath * coefficients.value("yieldmap.surface.block_swaths")
    return _Setting(scales, swath, block, swath * coefficients.value("yieldmap.surface.error_window_swaths"))


def _estimate(
    points: gpd.GeoDataFrame, mine: np.ndarray | slice, x: np.ndarray, y: np.ndarray, setting: _Setting
) -> tuple[Field, Certainty, dict[str, float]]:
    """Estimate one field from its records; return the fitted field, its certainty and what to report."""
    area, values, grain_kg = (points[name].to_numpy(float)[mine] for name in ("area_m2", "grain_mg_ha", "grain_kg"))
    records = Records(x, y, area / area.mean())

    def validate() -> tuple[int, np.ndarray, np.ndarray]:
        parts = samples(records, values)
        # blocks of one swath tell how calm the surface should be between neighboring passes
        chosen = choose(parts, setting.scales, setting.swath_m)
        return chosen, *held_out(parts, setting.scales, CANDIDATES[chosen], setting.block_m)

    (chosen, away, distance), levels = side_by_side(validate, lambda: make_levels(records, setting.scales))
    shrink = CANDIDATES[chosen]
    pass_id = points["pass_number"].to_numpy()[mine] if "pass_number" in points else np.arange(len(x))
    response, (field, residual) = side_by_side(
        lambda: respond(records, levels, shrink, pass_id, probes=3 if len(x) < _MANY else 1),
        lambda: fit(records, levels, values, shrink),
    )
    noise = pass_noise(residual, pass_id, every(len(x)))
    noise_variance = float(np.nanmean(noise)) if np.isfinite(noise).any() else 0.0
    between = pass_variance(x, y, values, pass_id, noise_variance, setting.swath_m)
    certainty = learn_certainty(
        records, response, residual, pass_id, (away, distance), setting.window_m, setting.swath_m, between
    )
    grain_mg = float(grain_kg.sum()) / KG_PER_MG
    surface_mg = grain_mg - float(np.einsum("i,i", grain_kg / values, residual)) / KG_PER_MG
    row = {
        "mass_factor": grain_mg / surface_mg if surface_mg > 0 else 1.0,
        "points_mg": grain_mg,
        "square": float((away**2).sum()),
        "held_out": float(len(away)),
        "noise_sd": certainty.noise_sd,
        "records": float(len(x)),
        "chosen": float(chosen),
    }
    return field, certainty, row


def _fill(
    where: tuple[np.ndarray, ...], x: np.ndarray, y: np.ndarray, field: Field, certainty: Certainty, factor: float
) -> None:
    """Write a field's grain and error into its known cells; `where` holds known, distance, grain and error."""
    what = field.along(x), factor, certainty.along(x)
    in_threads(lambda low, high: _write(*what, y[low:high], *(part[low:high] for part in where)), len(y), least=64)


@njit(cache=True, nogil=True)
def _write(
    field: Along, factor: float, certainty: ErrorAlong, y: np.ndarray, known: np.ndarray, distance: np.ndarray,
    grain: np.ndarray, error: np.ndarray,
) -> None:  # fmt: skip
    rows, columns = known.shape
    value, away, line = np.empty(columns), np.empty(columns), np.empty(max(longest(field), longest(certainty.variance)))
    for r in range(rows):
        row_at(field, y[r], line, value)
        error_row(certainty, y[r], distance[r], line, away)
        for c in range(columns):
            if known[r, c]:
                grain[r, c], error[r, c] = max(value[c] * factor, 0.0), away[c]


def _window(outline: shapely.Geometry, x: np.ndarray, y: np.ndarray) -> tuple[slice, slice]:
    """Return the rows and columns of a grid that hold all cells that may count to an outline."""
    west, south, east, north = outline.bounds
    spare = abs(float(x[1] - x[0]))
    rows = slice(*np.searchsorted(-y, [-north - spare, spare - south]))
    return rows, slice(*np.searchsorted(x, [west - spare, east + spare]))


def _report(rows: list[dict[str, float]], outside: int, n: int, block_m: float) -> dict[str, float | str]:
    """Return what the estimate of all fields is to be known by."""
    report: dict[str, float | str] = {
        "method": "successive correction on four scales, calmness by blocked cross-validation",
        "fields_estimated": float(len(rows)),
        "records_outside_fraction": outside / max(n, 1),
    }
    if not rows:
        return report
    table = pd.DataFrame(rows)
    weight = table["records"]
    return report | {
        "cv_rmse_mg_ha": float(np.sqrt(table["square"].sum() / table["held_out"].sum())),
        "cv_block_m": block_m,
        "record_noise_mg_ha": float(np.sqrt(np.average(table["noise_sd"] ** 2, weights=weight))),
        "calmness": float(np.average(table["chosen"], weights=weight)),
        "mass_points_mg": float(table["points_mg"].sum()),
        "mass_factor": float(np.average(table["mass_factor"], weights=table["points_mg"])),
        "known_fraction": float(table["known_cells"].sum() / table["cells"].sum()),
    }
