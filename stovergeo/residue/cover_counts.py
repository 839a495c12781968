"""Ground cover counted along a line in spring: what it says of a field's passes.

The count and the stover that lay there give the share of cover that the passes of that spring kept in the field.
The plan's passes are then judged by it. It stands in the place of the handbook's share for the passes, so the
error of the count, and not the spread of the passes, goes into the odds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.nearest import unknown_value
from stovergeo.core.units import KG_PER_MG
from stovergeo.inputs.plan.crop import Crop
from stovergeo.residue.messages import catalog
from stovergeo.residue.production import Amount, cover_after, cover_kept, cover_of, stover

#: counted over computed cover beyond which a slip is likelier than a field of its own kind (judgment)
USUAL_RATIOS: Final = (0.5, 2.0)
_LEAST_COVER: Final = 0.005  # half a mark of a hundred: a count of nothing does not say that nothing is kept


@dataclass(frozen=True, slots=True)
class CoverCount:
    """A spring's cover count of one field."""

    field_number: int
    cover: float  #: share of the ground
    error: float  #: standard error of `cover`
    stover_mg_ha: float  #: dry stover that lay there after the harvest before
    tillage: tuple[str, ...]  #: passes between that harvest and the count

    def kept(self, error: Amount, k: Amount, overwinter: Amount, planned: Amount, passed: Amount) -> Amount:
        """Return the share of cover that the plan's passes keep in this field, at most 1.

        Parameters
        ----------
        error : float or array
            Error of the count, in standard errors.
        k, overwinter : float or array
            As in `production.cover_after`.
        planned, passed : float or array
            What the handbook says the plan's passes, and those before the count, keep.
        """
        counted = np.clip(self.cover + error * self.error, _LEAST_COVER, 1.0)
        before = cover_of(overwinter * self.stover_mg_ha * KG_PER_MG, k)
        return np.minimum(counted / before * planned / passed, 1.0)


def check_counts(crop: Crop, names: Iterable[str], coefficients: Handbook, report: Report) -> None:
    """Report counts whose field or passes are not there, and fields that are counted twice."""
    known, passes = [str(name) for name in names], coefficients.group("tillage")
    seen: set[str] = set()
    for number, count in enumerate(crop.cover_counts, start=1):
        where = f"plan file, crop.cover_counts {number}"
        if count.field not in known:
            report.add("residue.count_nowhere", f"{where}.field", unknown_value(count.field, known))
        if count.field in seen:
            report.add("residue.count_twice", f"{where}.field", catalog("cover_count.twice", field=count.field))
        seen.add(count.field)
        for name in count.tillage or ():
            if name not in passes:
                report.add("residue.unknown_pass", f"{where}.tillage", unknown_value(name, passes))


def cover_counts(
    crop: Crop, fields: gpd.GeoDataFrame, stack: xr.Dataset, coefficients: Handbook, report: Report
) -> tuple[CoverCount, ...]:
    """Return the counts of the fields on a stack, and report those that say little or are far from the handbook.

    Parameters
    ----------
    crop : Crop
    fields : GeoDataFrame
        ``name``, in the order of ``field_number``.
    stack : Dataset
        With ``grain_mg_ha`` and ``field_number``.
    coefficients : Handbook
    report : Report

    Notes
    -----
    Where the stover that stayed before the count is not given, all of a crop like the one mapped is taken to have
    stayed. If some left, the passes keep more than is computed, so the error is toward more that stays.
    """
    value = coefficients.value
    found = []
    names = [str(name) for name in fields["name"]]
    for number, count in enumerate(crop.cover_counts, start=1):
        if count.field not in names:  # it is in another cluster
            continue
        at, where = names.index(count.field), f"plan file, crop.cover_counts {number}"
        left = count.stover_left_mg_ha
        if left is None:
            grain = stack["grain_mg_ha"].where(stack["field_number"] == at)
            line = stover(grain, value("residue.slope"), value("residue.intercept"))
            left = float((line * value("residue.factor")).mean(dtype=np.float64))
            if not left > 0:
                report.add("residue.count_unused", where, catalog("cover_count.unused", field=count.field))
                continue
            assumed = catalog("cover_count.assumed", field=count.field, stover=left)
            report.add("residue.count_assumed", where, assumed)
        passes = crop.tillage if count.tillage is None else count.tillage
        cover = count.cover_pct / 100
        one = CoverCount(at, cover, float(np.sqrt(cover * (1 - cover) / count.marks)), float(left), passes)
        computed = cover_after(
            one.stover_mg_ha * KG_PER_MG,
            value("retention.cover.k"),
            value("retention.cover.overwinter"),
            cover_kept(value(f"tillage.{name}") for name in passes),
        )
        if not USUAL_RATIOS[0] <= cover / float(computed) <= USUAL_RATIOS[1]:
            said = catalog("cover_count.far", field=count.field, counted=cover, computed=float(computed))
            report.add("residue.count_far", where, said)
        found.append(one)
    return tuple(found)
