"""The cells of each zone, for means and samples over zones."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True)
class ZoneCells:
    """Cells inside zones on which stover is known, ordered by zone."""

    cells: np.ndarray  #: position in the flattened grid
    zone: np.ndarray  #: zone of each, 0 .. count - 1
    weight_ha: np.ndarray  #: area each stands for
    count: int  #: zones, those without cells included

    def mean(self, values: np.ndarray) -> np.ndarray:
        """Return the area-weighted mean of each zone over the last axis; NaN where nothing is known.

        Parameters
        ----------
        values : array, shape (..., cells)
            In the order of `cells`. Unknown values are left out.
        """
        known = np.isfinite(values)
        mass = self.total(np.where(known, values, 0.0) * self.weight_ha)
        area = self.total(known * self.weight_ha)
        with np.errstate(invalid="ignore"):
            return mass / area

    def total(self, values: np.ndarray) -> np.ndarray:
        """Return each zone's plain sum over the last axis, shape (..., count)."""
        filled = np.unique(self.zone)
        out = np.zeros((*values.shape[:-1], self.count))
        if len(filled):
            # cells are ordered by zone: one sum from each zone's first cell to the next zone's
            out[..., filled] = np.add.reduceat(values, np.searchsorted(self.zone, filled), axis=-1)
        return out

    def of(self, layer: xr.DataArray) -> np.ndarray:
        """Return a layer's values in these cells, in double precision."""
        return layer.values.ravel()[self.cells].astype(float)

    def dataset(self, stack: xr.Dataset, names: Iterable[str]) -> xr.Dataset:
        """Return those of some variables that the stack has, in these cells, in double precision, dim ``cell``."""
        return xr.Dataset({name: ("cell", self.of(stack[name])) for name in names if name in stack})


def zone_cells(labels: ArrayLike, stack: xr.Dataset, count: int) -> ZoneCells:
    """Return the cells of each zone where stover is known.

    Parameters
    ----------
    labels : array, shape (y, x)
        Row of the zone in the zones table; NaN (or below 0) outside all zones.
    stack : Dataset
        With ``stover_mg_ha`` and ``cell_area_ha``.
    count : int
        Number of zones.
    """
    number = np.nan_to_num(np.asarray(labels, dtype=float).ravel(), nan=-1).astype(int)
    inside = np.flatnonzero((number >= 0) & np.isfinite(stack["stover_mg_ha"].values.ravel()))
    order = inside[np.argsort(number[inside], kind="stable")]
    return ZoneCells(order, number[order], stack["cell_area_ha"].values.ravel()[order].astype(float), count)


def sample(zones: ZoneCells, rank_by: np.ndarray, most: int) -> ZoneCells:
    """Return at most `most` cells a zone that stand for all of it.

    Cells are taken evenly along their rank in `rank_by`, so that poor and good ground keep
    their shares; no chance is involved. Each stands for an equal part of its zone's area.
    """
    picked, zone, weight = [], [], []
    for number in np.unique(zones.zone):
        here = np.flatnonzero(zones.zone == number)
        area = zones.weight_ha[here].sum()
        if len(here) > most:
            ranked = here[np.argsort(rank_by[here], kind="stable")]
            here = np.sort(ranked[((np.arange(most) + 0.5) / most * len(here)).astype(int)])
            weight.append(np.full(most, area / most))
        else:
            weight.append(zones.weight_ha[here])
        picked.append(zones.cells[here])
        zone.append(np.full(len(here), number))
    if not picked:
        return zones
    return ZoneCells(np.concatenate(picked), np.concatenate(zone), np.concatenate(weight), zones.count)
