"""The steps of a season, in order. Each takes what earlier steps made and returns its own results, named."""

from __future__ import annotations

from collections.abc import Iterator
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
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.grid import put_layers, put_own_numbers
from stovergeo.inputs.plan import Yards
from stovergeo.residue.monte_carlo import DrawnLimits
from stovergeo.siting.rate import GroundRatings
from stovergeo.siting.search import FoundYards
from stovergeo.supply.haul import HaulGround
from stovergeo.supply.problem import SupplyProblem
from stovergeo.workflow.checks import Ready, ReadyCluster
from stovergeo.workflow.compared import report_machines
from stovergeo.workflow.grain import Basis, GrainMap, earlier_grain, grain_map, with_earlier_years, with_expected
from stovergeo.workflow.ground import with_terrain
from stovergeo.workflow.not_known import why_unknown
from stovergeo.workflow.tables import (
    ground_of,
    in_whole_bales,
    joined,
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
    basis: dict[str, Basis]  #: names of the fields whose yield was not measured -> what it rests on


def map_yields(ready: ReadyCluster, report: Report) -> Yields:
    """Put the layers on the grid and map the grain yield."""
    plan, coefficients, farm, fields = ready.plan, ready.coefficients, ready.farm, ready.fields
    stack = put_own_numbers(put_layers(new_stack(ready.grid), farm, fields), plan, fields)
    grain = grain_map(stack, farm, fields, plan, coefficients, report)
    earlier = earlier_grain(grain.stack, farm, fields, coefficients, report)
    stack, basis = with_expected(grain.stack, earlier, plan, fields, coefficients, report)
    no_yield = why_unknown(stack, fields, grain.left_out, report)
    stack = with_earlier_years(stack, earlier, grain.stack["grain_mg_ha"], plan, coefficients, report)
    return Yields(stack, grain, no_yield, basis)


def compare_clusters(yields: list[Yields], report: Report) -> None:
    """Report what of the grain maps of all clusters does not fit together."""
    report_machines([one.grain.compared for one in yields if one.grain.compared is not None], report)


@dataclass(frozen=True, slots=True)
class Terrain:
    """Slope, water and the season's sun."""

    stack: xr.Dataset
    sun: xr.Dataset | None  #: month by month; None where no heights are known
    not_checked: dict[str, Message | str]  #: of the layers and of the ground: title -> why it matters


def map_terrain(ready: ReadyCluster, yields: Yields) -> Terrain:
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


def find_removable(ready: ReadyCluster, terrain: Terrain, report: Report) -> Removable:
    """Compute the stover of each cell that no retention rule asks to stay."""
    plan, coefficients = ready.plan, ready.coefficients
    counts = residue.cover_counts(plan.crop, ready.fields, terrain.stack, coefficients, report)
    options = residue.RuleOptions(plan.crop, plan.limits, coefficients, counts=counts)
    stack = residue.limits(terrain.stack, options, report)
    planned = residue.methods(coefficients, plan.gather.methods, plan.crop.cut_height_m)
    storable = bales.storable_methods(planned, plan, coefficients, report)
    report.stop_if_refused()
    return Removable(stack, options, planned, storable)


def owners(ready: ReadyCluster) -> dict[str, str]:
    """Return the name of each field among the fields of all farms, by which its odds are drawn."""
    return {field.field_id: f"{ready.plan.farm.name}/{field.name}" for field in ready.fields.itertuples()}


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


def offer_zones(ready: ReadyCluster, removable: Removable) -> Offers:
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
    drawn = residue.sample_limits(stack, drawn_zones, labels, options, plan.odds, removable.planned, owners(ready))
    offers = residue.zone_methods(
        stack, drawn_zones, labels, options, removable.planned, drawn=drawn, cautious_pct=plan.odds.cautious_pct
    )
    storable = without_unstorable(offers, bales.rejected_methods(removable.planned, plan, coefficients))
    allowed = without_kept_free(storable, drawn_zones)
    kept_free = frozenset(drawn_zones.loc[drawn_zones["kept_free"], "zone_id"])
    return Offers(drawn_zones, labels, drawn, storable, allowed, kept_free, residue.recommended(allowed))


@dataclass(frozen=True, slots=True)
class Ground:
    """What is known of the ground of one cluster of fields, up to what each method may take from it."""

    cluster: ReadyCluster
    yields: Yields
    terrain: Terrain
    removable: Removable
    offers: Offers


@dataclass(frozen=True, slots=True)
class Place:
    """The stack yards of one cluster, in its own CRS."""

    stack: xr.Dataset
    ratings: GroundRatings
    found: FoundYards
    grounds: list[str]  #: what bare ground is in each yard: "soil" or "clay"


@dataclass(frozen=True, slots=True)
class Sites:
    """Stack yards, with the need and the bale they were sized for."""

    bale: BaleSize
    need: pd.DataFrame  #: in tons; bales are an estimate until the choice
    places: tuple[Place, ...]
    yards: gpd.GeoDataFrame  #: of all clusters, in the farm's CRS, with `ground`


def find_sites(ready: Ready, grounds: list[Ground], report: Report, before: gpd.GeoDataFrame | None) -> Sites:
    """Rate the ground and find room for the bales that are needed or, without a need, for all on offer."""
    plan, coefficients = ready.plan, ready.coefficients
    methods = grounds[0].removable.methods
    recommended = {zone: method for g in grounds for zone, method in g.offers.recommended.items()}
    bale = bales.bale_of(plan.bale, methods[most_used(recommended, methods)], coefficients)
    need = bales.need_table(
        plan.need, plan.storage, plan.wrap, bale, coefficients, plan.farm.season,
        value_per_mg=plan.money.stover_value_per_mg,
    )  # fmt: skip
    places: list[Place] = []
    first = 1
    for ground in grounds:
        farm, offers = ground.cluster.farm, ground.offers
        stack, ratings = siting.rate_ground(
            ground.removable.stack, around(farm), plan.yards, bale, coefficients, report, pattern=plan.storage.pattern
        )
        all_gathered = zones.assign_methods(offers.zones, offers.allowed, offers.recommended)
        wanted = int(bales.bale_plan(all_gathered, methods, plan, coefficients)["bales"].sum())
        if len(need):
            wanted = min(wanted, int(need["bales"].sum()))
        yards_plan = plan.yards if len(grounds) == 1 else _for_cluster(plan.yards, len(ground.cluster.fields))
        there = None if before is None else before.to_crs(farm.crs)
        found = siting.find_yards(stack, ratings, wanted, yards_plan, bale, coefficients, before=there, first=first)
        first = max([first, *(int(name.removeprefix("Y")) + 1 for name in found.yards["yard_id"])])
        places.append(Place(stack, ratings, found, supply.yard_grounds(found.yards, stack, coefficients)))
    yards = joined([p.found.yards.assign(ground=p.grounds) for p in places], ready.farm.crs)
    return Sites(bale, need, tuple(places), yards)


def _for_cluster(yards: Yards, fields: int) -> Yards:
    """Return what is asked of the yards of one cluster of several: two for each field, within what the farm allows."""
    return yards.model_copy(update={"most": min(yards.most, 2 * fields)})


def around(farm: FarmLayers) -> dict[str, gpd.GeoDataFrame]:
    """Return the surroundings and the places that the landowner refuses."""
    return farm.surroundings if farm.no_go is None else {**farm.surroundings, "no_go": farm.no_go}


@dataclass(frozen=True, slots=True)
class Chosen:
    """The joint choice of zones, methods, yards and wraps."""

    problem: SupplyProblem
    choice: supply.Choice
    contracts: pd.DataFrame  #: what each brings and costs, see `supply.contracts.COLUMNS`
    inventory: pd.DataFrame  #: what each allowed method could take, see `supply.inventory.COLUMNS`
    methods: dict[str, str]  #: by zone
    worked: gpd.GeoDataFrame  #: the zones as they will be worked
    need: pd.DataFrame  #: in whole bales
    hauling: list[HaulGround]  #: of each cluster
    distance_m: np.ndarray  #: zones by yards, over ground that may be crossed; inf between clusters


def choose_supply(ready: Ready, grounds: list[Ground], sites: Sites) -> Chosen:
    """Choose what to gather, how, and where to stack it, at the least cost."""
    plan, coefficients, options = ready.plan, ready.coefficients, supply.haul_options(ready.coefficients)
    hauling, blocks = [], []
    for ground, place in zip(grounds, sites.places, strict=True):
        farm = ground.cluster.farm
        hauling.append(supply.haul_ground(place.stack, farm.surroundings, options, ground.cluster.fields, farm.no_go))
        blocks.append(supply.haul_distances(ground.offers.zones, place.found.yards, hauling[-1]))
    distance = _on_own_ground(blocks)
    drawn = joined([g.offers.zones for g in grounds], ready.farm.crs)
    storable, allowed = (joined([getattr(g.offers, name) for g in grounds]) for name in ("storable", "allowed"))
    methods = grounds[0].removable.methods
    problem = replace(
        supply.supply_problem(plan, coefficients, drawn, storable, methods, sites.yards, distance, sites.need),
        no_go_zones=frozenset().union(*(g.offers.kept_free for g in grounds)),
    )
    obliged = {contract.name for contract in plan.need.contract if contract.fill_at_a_loss}
    problem, contracts = supply.without_losses(problem, obliged)
    titles = {name: method.title for name, method in methods.items()}
    choice, could_leave = supply.choose(problem, titles=titles), supply.inventory(problem, titles)
    by_need = plan.need.given
    recommended = {zone: method for g in grounds for zone, method in g.offers.recommended.items()}
    chosen = choice.methods if by_need else recommended
    worked = worked_zones(drawn, allowed, choice, chosen, by_need)
    need = in_whole_bales(sites.need[sites.need["need"].isin(problem.need["need"])], choice)
    return Chosen(problem, choice, contracts, could_leave, chosen, worked, need, hauling, distance)


def _on_own_ground(blocks: list[np.ndarray]) -> np.ndarray:
    """Return the distances of all clusters in one table: no bale leaves its cluster."""
    whole = np.full(np.sum([b.shape for b in blocks], axis=0), np.inf)
    row = column = 0
    for block in blocks:
        whole[row : row + block.shape[0], column : column + block.shape[1]] = block
        row, column = row + block.shape[0], column + block.shape[1]
    return whole


@dataclass(frozen=True, slots=True)
class Counts:
    """Bales, hauls, wraps and nutrients of the choice."""

    hauls: gpd.GeoDataFrame
    made: pd.DataFrame  #: bales by zone
    losses: pd.DataFrame  #: loss and cost by wrap and month
    nutrients: pd.DataFrame


def count(ready: Ready, grounds: list[Ground], sites: Sites, chosen: Chosen) -> Counts:
    """Count what the choice makes, carries and takes off."""
    plan, coefficients, methods = ready.plan, ready.coefficients, grounds[0].removable.methods
    hauls = []
    for ground, place, hauling in zip(grounds, sites.places, chosen.hauling, strict=True):
        mine = chosen.choice.flows[chosen.choice.flows["zone_id"].isin(ground.offers.zones["zone_id"])]
        hauls.append(supply.haul_lines(mine, ground.offers.zones, place.found.yards, hauling))
    carried = joined(hauls, ready.farm.crs)
    losses = bales.wrap_table(
        plan.storage, plan.wrap, sites.bale, coefficients, plan.farm.season,
        among=bales.storage_methods(plan.storage, sites.bale, ground_of(sites.yards, carried)),
        value_per_mg=plan.money.stover_value_per_mg, road_haul_km=plan.need.longest_haul_km,
    )  # fmt: skip
    return Counts(
        hauls=carried,
        made=bales.bale_plan(chosen.worked, methods, plan, coefficients),
        losses=losses,
        nutrients=residue.nutrients(chosen.worked, methods, coefficients, plan.money, plan.crop.nutrient_basis),
    )


@dataclass(frozen=True, slots=True)
class Season:
    """Everything that the steps of one season made."""

    ready: Ready
    grounds: list[Ground]
    sites: Sites
    chosen: Chosen
    counts: Counts

    def both(self) -> Iterator[tuple[Ground, Place]]:
        """Return the ground and the yards of each cluster."""
        return zip(self.grounds, self.sites.places, strict=True)
