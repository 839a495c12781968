"""From layers to the ground of one farm: slope, water and sun on the grid."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import xarray as xr
from pyproj import Transformer

from stovergeo import bales, terrain, yieldmap
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.stack import put
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.grid import cells_touched, put_surface, raised_by
from stovergeo.inputs.plan import Plan

message = Catalog("stovergeo.workflow")
#: deciduous trees of the corn lands stand without leaves, north and south of the equator
_BARE_MONTHS: Final = ((11, 12, 1, 2, 3, 4), (5, 6, 7, 8, 9, 10))


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
    if plan.storage.sunshine_h is None:
        not_checked["Clouds"] = message("climate.clouds")
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
        options["through_trees"] = dict.fromkeys(_BARE_MONTHS[latitude < 0], trees.bare_light_pct / 100)
        options["without_trees"] = stack["elevation_m"].copy(data=raised_by(stack, farm, "buildings"))
    return options


def _named(dataset: xr.Dataset) -> dict[str, xr.DataArray]:
    """Return a dataset's variables by name, for `stack.put`."""
    return {str(name): values for name, values in dataset.data_vars.items()}
