"""From layers to the ground of one farm: grain, slope, water and sun on the grid."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from pyproj import Transformer

from stovergeo import bales, terrain, yieldmap
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError, Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import grid_of, put
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.grid import cells_touched, onto_grid, put_surface, raised_by
from stovergeo.inputs.plan import Plan
from stovergeo.workflow.not_known import left_out_by_field, report_left_out

message = Catalog("stovergeo.workflow")
_BARE_MONTHS: Final = (11, 12, 1, 2, 3, 4)  # deciduous trees of the corn lands stand without leaves


@dataclass(frozen=True, slots=True)
class GrainMap:
    """What the yield map made."""

    stack: xr.Dataset
    points: gpd.GeoDataFrame | None = None
    cleaning: pd.DataFrame | None = None
    left_out: pd.DataFrame | None = None  #: by field, from `left_out_by_field`
    report: dict[str, float | str] = field(default_factory=dict)


def grain_map(
    stack: xr.Dataset, farm: FarmLayers, fields: gpd.GeoDataFrame, coefficients: Handbook, report: Report
) -> GrainMap:
    """Put the grain map into the stack: from raw points, or from a finished map."""
    if farm.points is None:
        assert farm.yield_raster is not None  # reading refuses a farm with neither points nor a map
        grain = onto_grid(farm.yield_raster, grid_of(stack))
        inside = stack["field_number"].notnull().to_numpy()
        return GrainMap(
            put(stack, grain_mg_ha=np.where(inside, grain, np.nan)), report={"method": "the yield map as given"}
        )
    cleaned = yieldmap.clean_points(farm.points, coefficients, report)
    surface = yieldmap.grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
    left = left_out_by_field(cleaned, fields)
    report_left_out(left, fields, "yield points", report)
    kept = cleaned.points.assign(removed_because="")
    points = pd.concat([kept, cleaned.removed]).sort_index()
    raw = {f"raw_{name}": number for name, number in yieldmap.raw_summary(farm.points).items()}
    clean = {f"cleaned_{name}": number for name, number in yieldmap.raw_summary(cleaned.points).items()}
    return GrainMap(
        put(stack, grain_mg_ha=surface.grain, grain_error_mg_ha=surface.error),
        points,
        cleaned.counts,
        left,
        {**surface.report, **raw, **clean},
    )


def with_earlier_years(
    stack: xr.Dataset, plan: Plan, farm: FarmLayers, fields: gpd.GeoDataFrame, coefficients: Handbook, report: Report
) -> xr.Dataset:
    """Put into the stack what earlier harvests tell: what each place gives in most years, and how steadily."""
    if not farm.earlier:
        return stack
    inside = stack["field_number"].notnull().to_numpy()
    grain = {}
    for year, layer in sorted(farm.earlier.items()):
        if isinstance(layer, xr.DataArray):
            values = onto_grid(layer, grid_of(stack))
            grain[str(year)] = stack["grain_mg_ha"].copy(data=np.where(inside, values, np.nan))
        else:
            cleaned = yieldmap.clean_points(layer, coefficients, report)
            report_left_out(left_out_by_field(cleaned, fields), fields, f"harvest of {year}", report)
            surface = yieldmap.grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
            grain[str(year)] = surface.grain
    grain[str(plan.farm.season)] = stack["grain_mg_ha"]
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


def with_terrain(
    stack: xr.Dataset, plan: Plan, farm: FarmLayers, coefficients: Handbook, not_checked: dict[str, Message | str]
) -> tuple[xr.Dataset, xr.Dataset | None]:
    """Put slope, water and sun into the stack; say what ground too coarse for it leaves unchecked.

    Returns the stack, and the sun month by month where the ground is known.
    """
    if "elevation_m" in stack:
        stack = put(stack, **_named(terrain.slope_aspect(stack["elevation_m"])))
        drainage = cells_touched(stack, farm.surroundings.get("water"))
        barriers = cells_touched(stack, farm.surroundings.get("roads"))
        culverts = farm.surroundings.get("culverts")
        water = terrain.water(
            stack["elevation_m"],
            drainage=drainage,
            breaches=None if culverts is None else list(culverts.geometry),
            barriers=barriers,
            coefficients=coefficients,
        )
        stack = put(stack, **_named(water))
    elif (ground := _ground_from_points(farm, stack, coefficients)) is not None:
        stack = put_surface(put(stack, elevation_m=ground.elevation), farm)
        stack = put(stack, **_named(terrain.slope_aspect(stack["elevation_m"])))
        stack = put(stack, ls_factor=terrain.ls_by_class(stack["slope_pct"], coefficients))
        not_checked["Ponding and flow paths"] = _from_gps(ground)
    else:
        not_checked["Slope, ponding, flow paths and sun"] = message("not_checked.no_heights")
        return stack, None
    start, end = bales.storage_span(plan.storage, plan.farm.season)
    to_lonlat = Transformer.from_crs(farm.crs, 4326, always_xy=True)
    longitude, latitude = to_lonlat.transform(float(stack.x.mean()), float(stack.y.mean()))
    months = terrain.sun_by_month(
        stack["surface_m"],
        stack["elevation_m"],
        start,
        end,
        terrain.SunOptions(
            latitude=latitude,
            longitude=longitude,
            altitude_m=float(stack["elevation_m"].mean()),
            **_sky(stack, plan, farm, latitude),
        ),
        coefficients=coefficients,
    )
    season = months["sun_kwh_m2"].sum("month", skipna=False)
    share = (season / months.attrs["open_flat_kwh_m2"]).assign_attrs(units="1")
    return put(stack, sun_kwh_m2=season, sun_fraction=share), months


def _ground_from_points(farm: FarmLayers, stack: xr.Dataset, coefficients: Handbook) -> yieldmap.Ground | None:
    """Return the ground from the heights of the yield points; None where they carry none, or too few."""
    if farm.points is None or "height_m" not in farm.points:
        return None
    try:
        return yieldmap.ground_from_points(farm.points, stack, coefficients)
    except ContractError:
        return None


def _from_gps(ground: yieldmap.Ground) -> Message:
    """Return what heights from the combine's GPS are good for."""
    if np.isfinite(ground.min_scale_m):
        return message("not_checked.from_gps", error=ground.holdout_error_m, length=ground.min_scale_m)
    return message("not_checked.from_gps_no_slope", error=ground.holdout_error_m)


def _sky(stack: xr.Dataset, plan: Plan, farm: FarmLayers, latitude: float) -> dict[str, Any]:
    """Return what the plan says of clouds and of bare trees, as options of the sun."""
    options: dict[str, Any] = {}
    if plan.storage.sunshine_h is not None:
        hours = dict(enumerate(plan.storage.sunshine_h, start=1))
        options["cloud"] = terrain.cloud_from_sunshine(hours, latitude)
    trees = plan.layers.trees
    if trees is not None and trees.bare_light_pct is not None:
        options["through_trees"] = dict.fromkeys(_BARE_MONTHS, trees.bare_light_pct / 100)
        options["without_trees"] = stack["elevation_m"].copy(data=raised_by(stack, farm, "buildings"))
    return options


def _named(dataset: xr.Dataset) -> dict[str, xr.DataArray]:
    """Return a dataset's variables by name, for `stack.put`."""
    return {str(name): values for name, values in dataset.data_vars.items()}
