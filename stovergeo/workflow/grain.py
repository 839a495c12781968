"""The season's grain on the grid: from raw points, from a finished map, from earlier harvests or as stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo import yieldmap
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import grid_of, put
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.grid import onto_grid
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.yields import dry_yield
from stovergeo.inputs.soils import PLAN_SOIL
from stovergeo.workflow.compared import Compared
from stovergeo.workflow.losses import left_out_by_field, report_losses
from stovergeo.workflow.plausible import check_grain, check_harvests
from stovergeo.workflow.weighed import WeighedMap, set_to_weighed

message = Catalog("stovergeo.workflow")
#: a stated yield so far from the map's mean is reported, as a share of the map's (judgment)
FAR_FROM_MAP: Final = 0.25


@dataclass(frozen=True, slots=True)
class Basis:
    """What the yield of a field rests on that was not measured."""

    key: str  #: stated, earlier or both
    stated: float | None  #: Mg/ha, dry
    years: tuple[str, ...]  #: of the earlier harvests


@dataclass(frozen=True, slots=True)
class GrainMap:
    """What the yield map made."""

    stack: xr.Dataset
    points: gpd.GeoDataFrame | None = None
    cleaning: pd.DataFrame | None = None
    left_out: pd.DataFrame | None = None  #: by field, from `left_out_by_field`
    report: dict[str, float | str] = field(default_factory=dict)
    said: list[Message] = field(default_factory=list)  #: of weighed totals
    compared: Compared | None = None  #: None where nothing was measured


def grain_map(
    stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame, plan: Plan, coefficients: Handbook, report: Report
) -> GrainMap:
    """Put the season's measured grain into the stack: from raw points, or from a finished map; NaN without either.

    It is set to the plan's weighed totals.

    Raises
    ------
    InputError
        When cleaning left out most records of a field, machine or load and the plan does not accept that, or when
        weighed totals cannot be met.
    """
    if farm.points is None:
        if farm.yield_raster is None:
            nothing = np.full(stack["field_number"].shape, np.nan)
            return GrainMap(put(stack, grain_mg_ha=nothing), report={"method": "no yields were measured"})
        grain = onto_grid(farm.yield_raster, grid_of(stack))
        inside = stack["field_number"].notnull().to_numpy()
        given = put(stack, grain_mg_ha=np.where(inside, grain, np.nan))
        weighed, compared = _checked(given, farm, fields, None, plan, report)
        method: dict[str, float | str] = {"method": "the yield map as given", **weighed.factors}
        return GrainMap(weighed.stack, report=method, said=weighed.said, compared=compared)
    cleaned = yieldmap.clean_points(farm.points, coefficients, report)
    surface = yieldmap.grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
    left = left_out_by_field(cleaned, fields)
    report_losses(left, cleaned, fields, "yield points", report, plan.yields.accept_losses)
    report.stop_if_refused()
    measured = put(stack, grain_mg_ha=surface.grain, grain_error_mg_ha=surface.error)
    weighed, compared = _checked(measured, farm, fields, cleaned, plan, report)
    kept = cleaned.points.assign(removed_because="")
    points = pd.concat([kept, cleaned.removed]).sort_index()
    raw = {f"raw_{name}": number for name, number in yieldmap.raw_summary(farm.points).items()}
    clean = {f"cleaned_{name}": number for name, number in yieldmap.raw_summary(cleaned.points).items()}
    return GrainMap(
        weighed.stack,
        points,
        cleaned.counts,
        left,
        {**surface.report, **raw, **clean, **weighed.factors},
        weighed.said,
        compared,
    )


def _checked(
    stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame, cleaned: yieldmap.Cleaned | None, plan: Plan,
    report: Report,
) -> tuple[WeighedMap, Compared]:  # fmt: skip
    """Return the grain map set to the weighed totals, and what of it was held against what."""
    weighed = set_to_weighed(stack, fields, cleaned, plan, report)
    stated = {str(name) for name in fields["name"] if plan.yields.stated(str(name)) is not None}
    rows = farm.soils.drop(columns="geometry").itertuples(index=False, name=None)
    soils = [None if PLAN_SOIL in row else "; ".join(map(str, row)) for row in rows]
    return weighed, check_grain(weighed.stack, fields, cleaned, weighed.fields | stated, report, soils)


def earlier_grain(
    stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame, coefficients: Handbook, report: Report
) -> dict[str, xr.DataArray]:
    """Return the grain of each earlier harvest on the grid, by year."""
    inside = stack["field_number"].notnull().to_numpy()
    grain = {}
    for year, layer in sorted(farm.earlier.items()):
        if isinstance(layer, xr.DataArray):
            values = onto_grid(layer, grid_of(stack))
            grain[str(year)] = stack["grain_mg_ha"].copy(data=np.where(inside, values, np.nan))
        else:
            cleaned = yieldmap.clean_points(layer, coefficients, report)
            report_losses(left_out_by_field(cleaned, fields), cleaned, fields, f"harvest of {year}", report)
            surface = yieldmap.grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
            grain[str(year)] = surface.grain
    return grain


def with_expected(
    measured: xr.Dataset,
    earlier: dict[str, xr.DataArray],
    plan: Plan,
    fields: gpd.GeoDataFrame,
    coefficients: Handbook,
    report: Report,
) -> tuple[xr.Dataset, dict[str, Basis]]:
    """Give fields without any measured yield what their grower states, what earlier harvests show, or both.

    Earlier harvests alone count only where no field at all was measured.
    A stated yield is the field's mean; earlier harvests give its pattern. The standard error of a cell is that of the
    field's mean, common to all its cells, and that of the cell's departure from it.

    Parameters
    ----------
    measured : Dataset
        With ``field_number`` and ``grain_mg_ha``.
    earlier : dict
        Year -> grain, Mg/ha, from `earlier_grain`.
    plan : Plan
    fields : GeoDataFrame
    coefficients : Handbook
        ``yields.*`` and ``residue.grain_error_shared``.
    report : Report
        Gains stated yields that are far from what was measured.

    Returns
    -------
    Dataset
        With ``grain_mg_ha`` and, where any field was filled, ``grain_error_mg_ha``.
    dict
        Name of the field -> what its yield rests on, for the fields that were filled.
    """
    number = measured["field_number"].to_numpy()
    grain = measured["grain_mg_ha"].to_numpy().copy()
    error = measured["grain_error_mg_ha"].to_numpy().copy() if "grain_error_mg_ha" in measured else 0.0 * grain
    pattern = np.full(grain.shape, np.nan)
    if earlier:
        pattern = xr.concat(list(earlier.values()), "year").mean("year").to_numpy()
    any_measured = bool(np.isfinite(grain).any())
    basis: dict[str, Basis] = {}
    for row, field_row in enumerate(fields.itertuples()):
        inside = number == row
        given = plan.yields.stated(field_row.name)
        mean: float | None = None if given is None else dry_yield(given, plan.farm.market_moisture_pct)
        if np.isfinite(grain[inside]).any():
            _compare(mean, given, float(np.nanmean(grain[inside])), field_row.name, report)
            continue
        shown = pattern[inside]
        if not shown.size:
            continue  # smaller than a cell
        known = np.isfinite(shown).mean() >= coefficients.value("yieldmap.years.min_fraction")
        if mean is None and (not known or any_measured):
            continue  # where other fields were harvested, this one may have borne another crop
        level = coefficients.value("yields.season_to_season" if mean is None else "yields.stated_error")
        typical = float(np.nanmean(shown)) if known else 1.0
        mean = typical if mean is None else mean
        grain[inside] = np.where(np.isfinite(shown), shown / typical, 1.0) * mean if known else mean
        within = coefficients.value("yields.after_pattern" if known else "yields.within_field")
        shared = coefficients.value("residue.grain_error_shared")
        error[inside] = mean * np.hypot(level / shared, within)
        key = ("both" if known else "stated") if given is not None else "earlier"
        stated = None if given is None else mean
        basis[field_row.name] = Basis(key, stated, tuple(earlier) if known else ())
    if not basis:
        return measured, basis
    return put(measured, grain_mg_ha=grain, grain_error_mg_ha=error), basis


def basis_messages(basis: Mapping[str, Basis], fields: int) -> list[Message]:
    """Return what the yields rest on that were not measured, fields of one basis together.

    Parameters
    ----------
    basis : mapping
        Name of the field -> its basis.
    fields : int
        How many fields there are in all.
    """
    alike: dict[Basis, list[str]] = {}
    for name, one in basis.items():
        alike.setdefault(one, []).append(name)
    found = []
    for one, names in alike.items():
        every = len(names) == fields > 1
        who = message("yield_basis.all_fields") if every else message("yield_basis.some_fields", names=tuple(names))
        values = ({} if one.stated is None else {"grain": one.stated}) | ({"years": one.years} if one.years else {})
        found.append(message(f"yield_basis.{one.key}", fields=who, **values))
    return found


def _compare(mean: float | None, given: float | None, measured: float, name: str, report: Report) -> None:
    """Report a stated yield that is far from what was measured; the measurement is used."""
    if mean is None or abs(mean - measured) <= FAR_FROM_MAP * measured:
        return
    report.add(
        "yield.stated_far",
        f"fields, {name!r}",
        message("yield_basis.far", stated=mean, measured=measured, ratio=measured / mean),
    )


def with_earlier_years(
    stack: xr.Dataset,
    earlier: dict[str, xr.DataArray],
    season: xr.DataArray,
    plan: Plan,
    coefficients: Handbook,
    report: Report,
) -> xr.Dataset:
    """Put into the stack what several harvests tell: what each place gives in most years, and how steadily.

    `season` is the season's grain where it was measured, NaN elsewhere.
    """
    grain = dict(earlier)
    if bool(season.notnull().any()):
        grain[str(plan.farm.season)] = season
    if len(grain) < 2:
        return stack
    check_harvests(grain, report)
    years = yieldmap.compare_years(grain, stack["field_number"], coefficients)
    for name in grain:
        if not any(name in used for used in years.used.values()):
            said = f"The harvest of {name} tells of less than half of every field."
            report.add("years.little", f"harvest of {name}", said)
    return put(
        stack,
        relative_yield=years.relative,
        yield_variation=years.variation,
        yield_stability=years.stability,
        grain_mean_mg_ha=years.mean,
    )
