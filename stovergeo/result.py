"""What one season's run knows at its end: everything that is shown, written or compared.

Tables follow `stovergeo.core.schemas`; they hold the whole farm, in one CRS. Rasters stand in the clusters: fields that
lie together are worked on one grid.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import xarray as xr
from pyproj import CRS

from stovergeo.core.coefficients import Coefficient
from stovergeo.core.errors import ContractError, Problem
from stovergeo.core.messages import Message
from stovergeo.inputs.plan import Plan


@dataclass(frozen=True, slots=True)
class Cluster:
    """Fields that are worked on one grid."""

    name: str
    field_ids: tuple[str, ...]  #: in the order of the stack's ``field_number``
    stack: xr.Dataset  #: see `stovergeo.core.stack.VARIABLES`


@dataclass(frozen=True, slots=True)
class YieldTables:
    """The grain map and the records it rests on."""

    points: gpd.GeoDataFrame | None = None  #: yield points; `removed_because` is "" where kept
    cleaning: pd.DataFrame | None = None  #: reason, title, points, share of all, message
    report: dict[str, float | str] = field(default_factory=dict)  #: method and blocked cross-validation error


@dataclass(frozen=True, slots=True)
class ResidueTables:
    """What must stay, what may leave by each method, and how sure that is."""

    zone_limits: pd.DataFrame  #: zone_id, rule, title, retention_mg_ha, binds_fraction, message
    #: whole farm, the rule that binds on most ground first: rule, title, binds_ha, gain_mg, lift, source, message
    limit_totals: pd.DataFrame
    #: zone_id, method, title, removal_mg_ha, moisture_pct, ash_pct, passes, allowed, message
    zone_methods: pd.DataFrame
    zone_nutrients: pd.DataFrame  #: zone_id, n_kg, p2o5_kg, k2o_kg, s_kg, cost
    odds: pd.DataFrame  #: zone_id, p10_mg_ha, p50_mg_ha, p90_mg_ha, compliance_probability
    sensitivity: pd.DataFrame = field(default_factory=pd.DataFrame)  #: field_id, rank, input, meaning, share, direction
    #: zone_id, carbon_mg_ha, carbon_limit, cost_pct, carbon_goal_probability, message: see `residue.carbon_goal`
    zone_carbon: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: soil_id, area_ha, carbon_mg_ha, lowest_mg_ha, highest_mg_ha, opinion, message: models of soil carbon, by soil
    carbon: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: zone_id, year, crop, harvest, removal_mg_ha, message
    calendar: pd.DataFrame = field(default_factory=pd.DataFrame)


@dataclass(frozen=True, slots=True)
class YardTables:
    """The stack yards, their rows of bales and what they were chosen by."""

    stacks: gpd.GeoDataFrame  #: the rows of bales, by yard
    ratings: pd.DataFrame  #: yard_id, criterion, title, score, allowed, message
    apron: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: where a truck is loaded and turned, by yard
    lanes: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: round the stacks, by yard
    setback_areas: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: ground kept clear, by site criterion
    near: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, layer, name, distance_m: nearest of each
    routes: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, zone_id, distance_m over the ground
    sun: pd.DataFrame = field(default_factory=pd.DataFrame)  #: yard_id, year, month, sun_kwh_m2, sun_fraction


@dataclass(frozen=True, slots=True)
class BaleTables:
    """Bales as they are made, and what each wrap keeps and costs."""

    made: pd.DataFrame  #: zone_id, method, bales, bale_dry_kg, bale_as_is_kg, moisture_pct, turns, net_m
    #: month, months_stored, wrap, base, loss_low_pct, loss_pct, loss_high_pct, cost_bale, best
    wrap_table: pd.DataFrame
    #: crew sheet: scope ("farm", a field_id, zone_id or yard_id), topic, title, message, source
    crew: pd.DataFrame | None = None


@dataclass(frozen=True, slots=True)
class SupplyTables:
    """The choice: what goes where, for which need, at what cost."""

    hauls: gpd.GeoDataFrame
    need: pd.DataFrame  #: need, month (1..12 with year order), year, dry_mg, bales
    wrap_use: pd.DataFrame = field(default_factory=pd.DataFrame)  #: need, month, year, wrap, base, dry_mg, bales, ...
    #: zone_id, method, yard_id, wrap, base, bales: the atom of every count of bales in the plan
    stored: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: yard_id, wrap, base, need, year, month, bales: the same bales as they are used
    withdrawals: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: need, made, dry_mg, price_per_mg, revenue, added_cost, profit, pays_from_per_mg: each contract with a price
    contracts: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: zone_id, method, dry_mg, bales, edge_cost_per_mg, ...: what each allowed method could take, whatever is needed
    inventory: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: zone_id, bar, method, removal_mg_ha, limit_mg_ha, message, lever, lever_bales, ...: why each zone that stays does
    staying: pd.DataFrame = field(default_factory=pd.DataFrame)
    #: lever, zone_id, bales, gained_bales, message: what one change of the plan would let leave
    levers: pd.DataFrame = field(default_factory=pd.DataFrame)
    alternatives: pd.DataFrame = field(default_factory=pd.DataFrame)  #: aim, title, cost, more_cost, yards, ...
    trade_off: pd.DataFrame = field(default_factory=pd.DataFrame)  #: as alternatives: care of the soil for each budget


@dataclass(frozen=True, slots=True)
class SeasonResult:
    """The result of `stovergeo.workflow.run_season`."""

    plan: Plan
    crs: CRS  #: of every table with shapes
    clusters: tuple[Cluster, ...]
    fields: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    yards: gpd.GeoDataFrame
    soils: gpd.GeoDataFrame
    surroundings: dict[str, gpd.GeoDataFrame]  #: layers given, by key of the plan's `[layers]`
    yields: YieldTables
    residue: ResidueTables
    siting: YardTables
    bales: BaleTables
    supply: SupplyTables
    not_checked: dict[str, Message | str]  #: title of what could not be checked -> why it matters
    totals: dict[str, float]  #: whole-farm sums, see docs/glossary
    words: dict[str, list[Any]]
    """Messages, or plain sentences, by topic: unknown, lever, window, choice, storage, soil, shortage, changed; and
    ``grower``: costs, prices and what was second best, which the landowner's page never shows."""
    problems: list[Problem] = field(default_factory=list)
    coefficients: list[Coefficient] = field(default_factory=list)  #: those this run used
    yards_before: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)  #: of the plan that was answered

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return every table by the name it has in the files, such as ``hauls`` and ``yard_ratings``."""
        own = {f.name: getattr(self, f.name) for f in fields(self)}
        grouped = {_name_of(group, f.name): getattr(own[group], f.name) for group in GROUPS for f in fields(own[group])}
        return {name: table for name, table in (own | grouped).items() if isinstance(table, pd.DataFrame)}

    def with_tables(self, **changed: pd.DataFrame) -> SeasonResult:
        """Return the result with tables in place of others, by the names of `tables`."""
        groups: dict[str, Any] = {}
        for group in GROUPS:
            held = getattr(self, group)
            mine = {f.name: changed.pop(name) for f in fields(held) if (name := _name_of(group, f.name)) in changed}
            groups |= {group: replace(held, **mine)} if mine else {}
        return replace(self, **groups, **changed)

    @property
    def stack(self) -> xr.Dataset:
        """The field stack of a farm whose fields lie together.

        Raises
        ------
        ContractError
            When the fields lie in several clusters, each with a stack of its own.
        """
        if len(self.clusters) > 1:
            raise ContractError(f"this farm is worked in {len(self.clusters)} clusters; take `clusters[i].stack`")
        return self.clusters[0].stack


#: attributes that hold the tables of one package
GROUPS: Final = ("yields", "residue", "siting", "bales", "supply")
_NAMES: Final = {
    "bales.made": "bale_plan",
    **{f"siting.{n}": f"yard_{n}" for n in ("ratings", "near", "routes", "sun")},
}


def _name_of(group: str, attribute: str) -> str:
    return _NAMES.get(f"{group}.{attribute}", attribute)
