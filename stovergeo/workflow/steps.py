"""The steps of a season, in order. Each takes what earlier steps made and returns its own results, named."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo import bales, residue, siting, supply, zones
from stovergeo.bales.bale import BaleSize
from stovergeo.core.errors import Report
from stovergeo.core.messages import Message
from stovergeo.core.stack import new_stack
from stovergeo.inputs.grid import put_layers
from stovergeo.residue.monte_carlo import DrawnLimits
from stovergeo.siting.rate import GroundRatings
from stovergeo.siting.search import FoundYards
from stovergeo.supply.haul import HaulGround
from stovergeo.supply.problem import SupplyProblem
from stovergeo.workflow.checks import Ready
from stovergeo.workflow.grain import GrainMap, earlier_grain, grain_map, with_earlier_years, with_expected
from stovergeo.workflow.ground import with_terrain
from stovergeo.workflow.not_known import why_unknown
from stovergeo.workflow.tables import (
    ground_of,
    in_whole_bales,
    kept_free_ground,
    most_used,
    without_kept_free,
    without_unstorable,
    worked_zones,
)


@dataclass(frozen=True, slots=True)
class Yields:
    """The grain map of the season, and what earlier harvests add to it."""

    stack: xr.Dataset
    grain: GrainMap
    no_yield: dict[str, Message]  #: fields without a usable yield -> why
    basis: dict[str, Message]  #: fields whose yield was not measured -> what it rests on


def map_yields(ready: Ready, report: Report) -> Yields:
    """Put the layers on the grid and map the grain yield."""
    plan, coefficients, farm, fields = ready.plan, ready.coefficients, ready.farm, ready.fields
    stack = put_layers(new_stack(ready.grid), farm, fields)
    grain = grain_map(stack, farm, fields, coefficients, report)
    earlier = earlier_grain(grain.stack, farm, fields, coefficients, report)
    stack, basis = with_expected(grain.stack, earlier, plan, fields, coefficients, report)
    no_yield = why_unknown(stack, fields, grain.left_out, report)
    stack = with_earlier_years(stack, earlier, grain.stack["grain_mg_ha"], plan, coefficients, report)
    return Yields(stack, grain, no_yield, basis)


@dataclass(frozen=True, slots=True)
class Terrain:
    """Slope, water and the season's sun."""

    stack: xr.Dataset
    sun: xr.Dataset | None  #: month by month; None where no heights are known
    not_checked: dict[str, Message | str]  #: of the layers and of the ground: title -> why it matters


def map_terrain(ready: Ready, yields: Yields) -> Terrain:
    """Compute slope, water and sun from the elevation."""
    not_checked: dict[str, Message | str] = dict(ready.farm.not_checked)
    stack, sun = with_terrain(yields.stack, ready.plan, ready.farm, ready.coefficients, not_checked)
    return Terrain(stack, sun, not_checked)


@dataclass(frozen=True, slots=True)
class Removable:
    """What must stay on the ground, what could leave it, and by which methods."""

    stack: xr.Dataset
    options: residue.RuleOptions
    planned: dict[str, residue.Method]  #: the methods the plan names
    methods: dict[str, residue.Method]  #: those whose bales can be stored


def find_removable(ready: Ready, terrain: Terrain, report: Report) -> Removable:
    """Compute the stover of each cell that no retention rule asks to stay."""
    plan, coefficients = ready.plan, ready.coefficients
    options = residue.RuleOptions(plan.crop, plan.limits, coefficients)
    stack = residue.limits(terrain.stack, options, report)
    planned = residue.methods(coefficients, plan.gather.methods, plan.crop.cut_height_m)
    storable = bales.storable_methods(planned, plan, coefficients, report)
    report.stop_if_refused()
    return Removable(stack, options, planned, storable)


@dataclass(frozen=True, slots=True)
class Offers:
    """Zones, and what each method could take from each of them."""

    zones: gpd.GeoDataFrame
    labels: xr.DataArray  #: number of the zone of each cell
    drawn: DrawnLimits  #: Monte Carlo samples of the limits
    storable: pd.DataFrame  #: an offer a zone and method; those whose bales could not be stored are not allowed
    allowed: pd.DataFrame  #: the same, ground that the landowner keeps free not allowed either
    kept_free: frozenset[str]  #: zones on such ground
    recommended: dict[str, str]  #: the method that takes most within the limits, by zone


def offer_zones(ready: Ready, removable: Removable) -> Offers:
    """Divide the fields into zones and find what each method may take from them, with its odds."""
    plan, coefficients, stack, options = ready.plan, ready.coefficients, removable.stack, removable.options
    drawn_zones = zones.make_zones(
        stack,
        ready.fields,
        working_width_m=plan.gather.working_width_m,
        min_zone_ha=plan.gather.min_zone_ha,
        options=zones.zone_options(coefficients),
        refused=kept_free_ground(ready.farm.no_go),
    )
    labels = zones.zone_numbers(drawn_zones, ready.grid)
    owner = {field.field_id: f"{plan.farm.name}/{field.name}" for field in ready.fields.itertuples()}
    drawn = residue.sample_limits(stack, drawn_zones, labels, options, plan.odds, removable.planned, owner)
    offers = residue.zone_methods(
        stack, drawn_zones, labels, options, removable.planned, drawn=drawn, cautious_pct=plan.odds.cautious_pct
    )
    storable = without_unstorable(offers, bales.rejected_methods(removable.planned, plan, coefficients))
    allowed = without_kept_free(storable, drawn_zones)
    kept_free = frozenset(drawn_zones.loc[drawn_zones["kept_free"], "zone_id"])
    return Offers(drawn_zones, labels, drawn, storable, allowed, kept_free, residue.recommended(allowed))


@dataclass(frozen=True, slots=True)
class Sites:
    """Stack yards, with the need and the bale they were sized for."""

    stack: xr.Dataset
    bale: BaleSize
    need: pd.DataFrame  #: in tons; bales are an estimate until the choice
    around: dict[str, gpd.GeoDataFrame]  #: surroundings and the places that the landowner refuses
    ratings: GroundRatings
    found: FoundYards


def find_sites(
    ready: Ready, removable: Removable, offers: Offers, report: Report, before: gpd.GeoDataFrame | None
) -> Sites:
    """Rate the ground and find room for the bales that are needed or, without a need, for all on offer."""
    plan, coefficients, farm = ready.plan, ready.coefficients, ready.farm
    bale = bales.bale_of(plan.bale, removable.methods[most_used(offers.recommended, removable.methods)], coefficients)
    need = bales.need_table(
        plan.need, plan.storage, plan.wrap, bale, coefficients, plan.farm.season,
        value_per_mg=plan.money.stover_value_per_mg,
    )  # fmt: skip
    around = farm.surroundings if farm.no_go is None else {**farm.surroundings, "no_go": farm.no_go}
    stack, ratings = siting.rate_ground(
        removable.stack, around, plan.yards, bale, coefficients, report, pattern=plan.storage.pattern
    )
    all_gathered = zones.assign_methods(offers.zones, offers.allowed, offers.recommended)
    wanted = int(bales.bale_plan(all_gathered, removable.methods, plan, coefficients)["bales"].sum())
    if len(need):
        wanted = min(wanted, int(need["bales"].sum()))
    found = siting.find_yards(stack, ratings, wanted, plan.yards, bale, coefficients, before=before)
    return Sites(stack, bale, need, around, ratings, found)


@dataclass(frozen=True, slots=True)
class Chosen:
    """The joint choice of zones, methods, yards and wraps."""

    problem: SupplyProblem
    choice: supply.Choice
    methods: dict[str, str]  #: by zone
    worked: gpd.GeoDataFrame  #: the zones as they will be worked
    need: pd.DataFrame  #: in whole bales
    hauling: HaulGround
    distance_m: np.ndarray  #: zones by yards, over ground that may be crossed


def choose_supply(ready: Ready, removable: Removable, offers: Offers, sites: Sites) -> Chosen:
    """Choose what to gather, how, and where to stack it, at the least cost."""
    plan, coefficients, yards = ready.plan, ready.coefficients, sites.found.yards
    hauling = supply.haul_ground(
        sites.stack, ready.farm.surroundings, supply.haul_options(coefficients), ready.fields, ready.farm.no_go
    )
    distance = supply.haul_distances(offers.zones, yards, hauling)
    grounded = yards.assign(ground=supply.yard_grounds(yards, sites.stack, coefficients))
    problem = replace(
        supply.supply_problem(
            plan, coefficients, offers.zones, offers.storable, removable.methods, grounded, distance, sites.need
        ),
        no_go_zones=offers.kept_free,
    )
    choice = supply.choose(problem, titles={name: method.title for name, method in removable.methods.items()})
    by_need = len(sites.need) > 0
    methods = choice.methods if by_need else offers.recommended
    worked = worked_zones(offers.zones, offers.allowed, choice, methods, by_need)
    return Chosen(problem, choice, methods, worked, in_whole_bales(sites.need, choice), hauling, distance)


@dataclass(frozen=True, slots=True)
class Counts:
    """Bales, hauls, wraps and nutrients of the choice."""

    hauls: gpd.GeoDataFrame
    made: pd.DataFrame  #: bales by zone
    losses: pd.DataFrame  #: loss and cost by wrap and month
    nutrients: pd.DataFrame


def count(ready: Ready, removable: Removable, sites: Sites, chosen: Chosen) -> Counts:
    """Count what the choice makes, carries and takes off."""
    plan, coefficients, yards = ready.plan, ready.coefficients, sites.found.yards
    hauls = supply.haul_lines(chosen.choice.flows, chosen.worked, yards, chosen.hauling)
    ground = ground_of(yards, hauls, sites.stack, coefficients)
    losses = bales.wrap_table(
        plan.storage, plan.wrap, sites.bale, coefficients, plan.farm.season,
        among=bales.storage_methods(plan.storage, sites.bale, ground), value_per_mg=plan.money.stover_value_per_mg,
        road_haul_km=plan.need.longest_haul_km,
    )  # fmt: skip
    return Counts(
        hauls=hauls,
        made=bales.bale_plan(chosen.worked, removable.methods, plan, coefficients),
        losses=losses,
        nutrients=residue.nutrients(
            chosen.worked, removable.methods, coefficients, plan.money, plan.crop.nutrient_basis
        ),
    )


@dataclass(frozen=True, slots=True)
class Season:
    """Everything that the steps of one season made."""

    ready: Ready
    yields: Yields
    terrain: Terrain
    removable: Removable
    offers: Offers
    sites: Sites
    chosen: Chosen
    counts: Counts
