"""Several harvests of the same ground: what it gives in most years, and how steadily."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import xarray as xr

from stovergeo.errors import ContractError, Report
from stovergeo.handbook import Handbook
from stovergeo.stack import check_unit, variable
from stovergeo.yieldmap.clean import clean_points
from stovergeo.yieldmap.surface import Surface, grain_surface

#: stability classes by number
STABILITY = {
    1: "steadily above the field's mean",
    2: "steadily below the field's mean",
    3: "unsteady from year to year",
}


@dataclass(frozen=True, slots=True)
class Years:
    """What several years tell of each cell."""

    relative: xr.DataArray  #: mean over years of yield divided by its field's mean that year
    variation: xr.DataArray  #: coefficient of variation of it between years
    stability: xr.DataArray  #: number of the class, see `STABILITY`; NaN with fewer than two years
    mean: xr.DataArray  #: Mg/ha: `relative` times the mean over years of the field's mean
    planned: xr.DataArray  #: Mg/ha: `mean`, but never more than the planned year gave there
    years: list[str]


def surfaces_by_year(
    points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, stack: xr.Dataset, book: Handbook, report: Report
) -> dict[str, Surface]:
    """Return the surface of each year, earliest first, from points that carry a column `year`; each is cleaned."""
    if "year" not in points:
        raise ContractError("points of several years need a column 'year'")
    found = {}
    for year, part in points.groupby("year", sort=True):
        cleaned = clean_points(part, book, report)
        found[f"{year:g}"] = grain_surface(cleaned.points, fields, stack, book, removed=cleaned.removed)
    return found


def compare_years(
    grain: Mapping[str, xr.DataArray], field_number: xr.DataArray, book: Handbook, planned_year: str | None = None
) -> Years:
    """Compare the grain of two or more years, cell by cell.

    Each year is divided by the mean of its field, so that a dry year does not count for
    less than a good one (Blackmore 2000, Comput. Electron. Agric. 26:37-51; from memory).

    Parameters
    ----------
    grain : mapping
        Year -> dry grain, Mg/ha, all on one grid.
    field_number : DataArray
        Row of the field in each cell, NaN outside.
    book : Handbook
    planned_year : str, optional
        The year whose stover is planned; left out: the last one given.

    Returns
    -------
    Years
        Relative yield, its variation, stability classes and the mean of the years, each on that grid.

    Raises
    ------
    ContractError
        With fewer than two years, grids that differ, or an unknown planned year.
    """
    if len(grain) < 2:
        raise ContractError("years are compared only where there are two or more")
    check_unit(field_number, "field_number", "compare_years")
    for surface in grain.values():
        check_unit(surface, "grain_mg_ha", "compare_years")
    planned_year = list(grain)[-1] if planned_year is None else planned_year
    if planned_year not in grain:
        raise ContractError(f"there is no grain of the planned year {planned_year}; there are {', '.join(grain)}")
    shape = field_number.shape
    if any(g.shape != shape for g in grain.values()):
        raise ContractError("the years' grain does not stand on one grid")
    cube = np.stack([g.to_numpy().astype(float) for g in grain.values()])
    number = np.nan_to_num(field_number.to_numpy(), nan=-1).astype(int)
    level = np.full(cube.shape, np.nan)  # the field's mean, each year
    for f in np.unique(number[number >= 0]):
        inside = number == f
        # only ground known in every year, so that a gap in one year does not move its mean
        common = inside & np.isfinite(cube).all(axis=0)
        if common.any():
            level[:, inside] = cube[:, common].mean(axis=1)[:, None]
    relative = cube / level
    seen = np.isfinite(relative).sum(axis=0)
    mean = np.where(seen > 0, np.nansum(relative, axis=0) / np.maximum(seen, 1), np.nan)
    square = np.nansum((relative - mean) ** 2, axis=0) / np.maximum(seen - 1, 1)
    variation = np.where(seen >= 2, np.sqrt(square) / mean, np.nan)
    unsteady = book.value("yieldmap.years.unsteady")
    stability = np.where(variation > unsteady, 3.0, np.where(mean >= 1, 1.0, 2.0))
    stability[~np.isfinite(variation)] = np.nan
    usual = mean * level.mean(axis=0)
    own = cube[list(grain).index(planned_year)]
    planned = np.where(np.isfinite(own), np.fmin(usual, own), np.nan)
    like = next(iter(grain.values()))
    return Years(
        relative=_like(like, mean, "relative_yield"),
        variation=_like(like, variation, "yield_variation"),
        stability=_like(like, stability, "yield_stability"),
        mean=_like(like, usual, "grain_mean_mg_ha"),
        planned=_like(like, planned, "grain_mg_ha"),
        years=list(grain),
    )


def _like(like: xr.DataArray, values: np.ndarray, name: str) -> xr.DataArray:
    kind = variable(name)
    attrs = {"units": kind.unit, "long_name": kind.long_name}
    return like.copy(data=values.astype(np.float32)).rename(name).assign_attrs(attrs)
