"""What one season's run knows at its end: everything that is shown, written or compared."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd
import xarray as xr
from pyproj import CRS

from stovergeo.core.coefficients import Coefficient
from stovergeo.core.errors import Problem
from stovergeo.core.messages import Message
from stovergeo.inputs.plan import Plan


@dataclass(frozen=True, slots=True)
class SeasonResult:
    """The result of `stovergeo.workflow.run_season`. Tables follow `stovergeo.core.schemas`."""

    plan: Plan
    crs: CRS  #: working CRS of every geometry and of the stack
    stack: xr.Dataset  #: the field stack, see `stovergeo.core.stack.VARIABLES`
    fields: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    yards: gpd.GeoDataFrame
    stacks: gpd.GeoDataFrame
    hauls: gpd.GeoDataFrame
    soils: gpd.GeoDataFrame
    surroundings: dict[str, gpd.GeoDataFrame]  #: layers given, by key of the plan's `[layers]`
    not_checked: dict[str, Message | str]  #: title of what could not be checked -> why it matters
    points: gpd.GeoDataFrame | None  #: yield points; `removed_because` is "" where kept
    cleaning: pd.DataFrame | None  #: reason, title, points, share of all, message
    surface_report: dict[str, float | str]  #: method and blocked cross-validation error of the grain surface
    zone_limits: pd.DataFrame  #: zone_id, rule, title, retention_mg_ha, binds_fraction, message
    zone_methods: (
        pd.DataFrame
    )  #: zone_id, method, title, removal_mg_ha, moisture_pct, ash_pct, passes, allowed, message
    zone_nutrients: pd.DataFrame  #: zone_id, n_kg, p2o5_kg, k2o_kg, s_kg, cost
    odds: pd.DataFrame  #: zone_id, p10_mg_ha, p50_mg_ha, p90_mg_ha, compliance_probability
    yard_ratings: pd.DataFrame  #: yard_id, criterion, title, score, allowed, message
    bale_plan: pd.DataFrame  #: zone_id, method, bales, bale_dry_kg, bale_as_is_kg, moisture_pct, turns, net_m
    need: pd.DataFrame  #: need, month (1..12 with year order), year, dry_mg, bales
    #: month, months_stored, wrap, base, loss_low_pct, loss_pct, loss_high_pct, cost_bale, best
    wrap_table: pd.DataFrame
    totals: dict[str, float]  #: whole-farm sums, see docs/glossary
    words: dict[str, list[Any]]
    """Messages, or plain sentences, by topic: unknown, summary, choice, storage, soil, shortage, changed; and
    ``grower``: costs, prices and what was second best, which the landowner's page never shows."""
    problems: list[Problem] = field(default_factory=list)
    coefficients: list[Coefficient] = field(default_factory=list)  #: those this run used
    #: crew sheet: scope ("farm", a field_id, zone_id or yard_id), topic (see share.crew.TOPICS), title, message, source
    crew: pd.DataFrame | None = None
    sensitivity: pd.DataFrame = field(default_factory=pd.DataFrame)  #: field_id, rank, input, meaning, share, direction
    calendar: pd.DataFrame = field(
        default_factory=pd.DataFrame
    )  #: zone_id, year, crop, harvest, removal_mg_ha, message
    wrap_use: pd.DataFrame = field(default_factory=pd.DataFrame)  #: need, month, year, wrap, base, dry_mg, bales, ...
    #: zone_id, method, yard_id, wrap, base, bales: the atom of every count of bales in the plan
    stored: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: yard_id, wrap, base, need, year, month, bales: the same bales as they are used
    withdrawals: pd.DataFrame = field(default_factory=pd.DataFrame)
    alternatives: pd.DataFrame = field(default_factory=pd.DataFrame)  #: aim, title, cost, more_cost, yards, ...
    trade_off: pd.DataFrame = field(default_factory=pd.DataFrame)  #: as alternatives: care of the soil for each budget
    yard_near: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, layer, name, distance_m: nearest of each
    yard_routes: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, zone_id, distance_m over the ground
    #: whole farm, the rule that binds on most ground first: rule, title, binds_ha, gain_mg, lift, source, message
    limit_totals: pd.DataFrame = field(default_factory=pd.DataFrame)
    apron: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: where a truck is loaded and turned, by yard
    lanes: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: round the stacks, by yard
    setback_areas: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: ground kept clear, by site criterion
    yards_before: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: of the plan that was answered
    yard_sun: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, year, month, sun_kwh_m2, sun_fraction
