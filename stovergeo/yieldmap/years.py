"""Several harvests of the same ground: what it gives in most years, and how steadily."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError
from stovergeo.core.stack import check_unit, variable

#: stability classes; the numbers in the stack count from 1
CLASSES = (
    "not known",
    "Steadily above the field's mean",
    "Steadily below the field's mean",
    "Unsteady from year to year",
)


@dataclass(frozen=True, slots=True)
class Years:
    """What several years tell of each cell."""

    relative: xr.DataArray  #: mean over years of yield divided by its field's mean that year
    variation: xr.DataArray  #: coefficient of variation of it between years
    stability: xr.DataArray  #: number of the class, see `CLASSES`; NaN with fewer than two years
    mean: xr.DataArray  #: Mg/ha: `relative` times the mean over years of the field's mean
    used: dict[int, list[str]]  #: row of the field -> the years that cover enough of it


def compare_years(grain: Mapping[str, xr.DataArray], field_number: xr.DataArray, coefficients: Handbook) -> Years:
    """Compare the grain of two or more years, cell by cell.

    Each year is divided by the mean of its field, so that a dry year does not count for
    less than a good one (Blackmore 2000, Comput. Electron. Agric. 26:37-51; from memory).

    Parameters
    ----------
    grain : mapping
        Year -> dry grain, Mg/ha, all on one grid.
    field_number : DataArray
        Row of the field in each cell, NaN outside.
    coefficients : Handbook
        Numbers ``yieldmap.years.*``.

    Returns
    -------
    Years
        Relative yield, its variation, stability classes and the mean of the years, each on that grid. A field counts
        only the years that tell enough of it, for other crops stood there in the others; with fewer than two such
        years everything is NaN there.

    Raises
    ------
    ContractError
        With fewer than two years, or grids that differ.

    Examples
    --------
    A field in a good year and in a dry one that gave 40 % of it everywhere:

    >>> import numpy as np
    >>> import xarray as xr
    >>> from stovergeo import load_handbook
    >>> from stovergeo.yieldmap import compare_years
    >>> good = xr.DataArray(np.array([[12.0, 8.0, 11.0, 9.0]]), dims=("y", "x"))
    >>> years = compare_years({"2023": 0.4 * good, "2024": good}, 0 * good, load_handbook())
    >>> print(years.relative.values, years.mean.values)
    [[1.2 0.8 1.1 0.9]] [[8.4 5.6 7.7 6.3]]
    """
    if len(grain) < 2:
        raise ContractError("years are compared only where there are two or more")
    check_unit(field_number, "field_number", "compare_years")
    for surface in grain.values():
        check_unit(surface, "grain_mg_ha", "compare_years")
    shape = field_number.shape
    if any(g.shape != shape for g in grain.values()):
        raise ContractError("the years' grain does not stand on one grid")
    cube = np.stack([g.to_numpy().astype(float) for g in grain.values()])
    number = np.nan_to_num(field_number.to_numpy(), nan=-1).astype(int)
    least = coefficients.value("yieldmap.years.min_fraction")
    mean, variation, typical = (np.full(shape, np.nan) for _ in range(3))
    used: dict[int, list[str]] = {}
    for f in np.unique(number[number >= 0]):
        inside = number == f
        here = cube[:, inside]
        enough = np.isfinite(here).mean(axis=1) >= least
        used[int(f)] = [year for year, tells in zip(grain, enough, strict=True) if tells]
        if enough.sum() < 2:
            continue
        here = here[enough]
        # the field's mean each year, over ground known in all: a gap in one year does not move that year's mean
        common = np.isfinite(here).all(axis=0)
        if not common.any():
            continue
        level = here[:, common].mean(axis=1, keepdims=True)
        relative = here / level
        seen = np.isfinite(relative).sum(axis=0)
        middle = np.where(seen > 0, np.nansum(relative, axis=0) / np.maximum(seen, 1), np.nan)
        square = np.nansum((relative - middle) ** 2, axis=0) / np.maximum(seen - 1, 1)
        mean[inside], typical[inside] = middle, middle * level.mean()
        variation[inside] = np.where(seen >= 2, np.sqrt(square) / middle, np.nan)
    unsteady = coefficients.value("yieldmap.years.unsteady")
    stability = np.where(variation > unsteady, 3.0, np.where(mean >= 1, 1.0, 2.0))
    stability[~np.isfinite(variation)] = np.nan
    like = next(iter(grain.values()))
    return Years(
        relative=_like(like, mean, "relative_yield"),
        variation=_like(like, variation, "yield_variation"),
        stability=_like(like, stability, "yield_stability").assign_attrs(classes=CLASSES),
        mean=_like(like, typical, "grain_mean_mg_ha"),
        used=used,
    )


def _like(like: xr.DataArray, values: np.ndarray, name: str) -> xr.DataArray:
    kind = variable(name)
    attrs = {"units": kind.unit, "long_name": kind.long_name}
    return like.copy(data=values.astype(np.float32)).rename(name).assign_attrs(attrs)
