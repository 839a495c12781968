"""Plan, handbook and the tables of earlier packages to one supply problem."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.bales import (
    StorageMethod,
    bale_of,
    base_of_ground,
    net_turns,
    pace,
    planned,
    planned_wrap,
    storage_cost,
    wrap_table,
)
from stovergeo.bales.bale import BaleSize
from stovergeo.bales.capacity import area_capacity_ha_h
from stovergeo.core.bale_catalog import STANDARD_WRAP
from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.stack import grid_of
from stovergeo.inputs.plan import Plan
from stovergeo.residue import Method, nutrients
from stovergeo.supply.loads import haul_cost_by_distance_per_mg, haul_cost_per_mg, load_messages, truck_load
from stovergeo.supply.problem import Capacity, Prices, SupplyProblem
from stovergeo.zones import zone_numbers


def supply_problem(
    plan: Plan,
    coefficients: Handbook,
    zones: pd.DataFrame,
    zone_methods: pd.DataFrame,
    methods: Mapping[str, Method],
    yards: pd.DataFrame,
    distance_m: np.ndarray,
    need: pd.DataFrame,
) -> SupplyProblem:
    """Put together one season's supply question.

    Parameters
    ----------
    plan : Plan
    coefficients : Handbook
    zones : DataFrame, ZONES schema
    zone_methods : DataFrame
        As the residue package makes it.
    methods : mapping of name to Method
        Those that may be used; offers by other methods are left out.
    yards : DataFrame, YARDS schema
        With the column `ground` of `yard_grounds`; without it, drained soil.
    distance_m : array, shape (zones, yards)
        From `haul_distances`.
    need : DataFrame
        As the bales package makes it.

    Returns
    -------
    SupplyProblem
        As `choose` takes it.
    """
    bales = {name: bale_of(plan.bale, method, coefficients) for name, method in methods.items()}
    offers = zone_methods[zone_methods["method"].isin(list(methods))].copy()
    offers["moisture_pct"] = offers["method"].map({n: b.moisture_pct for n, b in bales.items()}).astype(float)
    offers["bale_dry_kg"] = offers["method"].map({n: b.dry_kg for n, b in bales.items()}).astype(float)
    wet = coefficients.value("storage.moisture_max")
    stored = [b for b in bales.values() if b.moisture_pct <= wet]
    wettest = max(stored or bales.values(), key=lambda b: b.moisture_pct)
    return SupplyProblem(
        zones=pd.DataFrame(zones.drop(columns="geometry", errors="ignore")),
        offers=offers,
        yards=pd.DataFrame(yards.drop(columns="geometry", errors="ignore")),
        distance_m=np.asarray(distance_m, dtype=float),
        need=need,
        terms=need_terms(plan, wettest, coefficients),
        storage=storage_table(plan, wettest, coefficients),
        prices=prices_of(plan, methods, wettest, coefficients),
        capacity=capacity_of(plan, bales, coefficients),
        wet_pct=wet,
        nearest=round(coefficients.value("haul.nearest")),
        notes=truck_notes(plan, wettest, coefficients),
        habit=dict.fromkeys(zones["field_id"].unique(), plan.money.today) if plan.money.today else {},
    )


def yard_grounds(yards: gpd.GeoDataFrame, stack: xr.Dataset, coefficients: Handbook) -> list[str]:
    """Return what bare ground is to a bale in each yard: "clay" on half of it or more, else "soil"."""
    if not len(yards):
        return []
    numbers = zone_numbers(yards, grid_of(stack)).values
    unknown = np.full(numbers.shape, np.nan)
    drainage, clay = (stack[n].values if n in stack else unknown for n in ("drainage_class", "clay_pct"))
    found = []
    for i, outline in enumerate(yards.geometry):
        own = numbers == i
        if not own.any():  # a yard smaller than a cell
            place = outline.representative_point()
            own[np.abs(stack["y"].values - place.y).argmin(), np.abs(stack["x"].values - place.x).argmin()] = True
        kinds = [base_of_ground(d, c, coefficients) for d, c in zip(drainage[own], clay[own], strict=True)]
        found.append("clay" if kinds.count("clay") >= len(kinds) / 2 else "soil")
    return found


def storage_table(plan: Plan, bale: BaleSize, coefficients: Handbook) -> pd.DataFrame:
    """Return loss and cost of each storage option the plan leaves open, on drained soil and on clay."""
    far = max((c.distance_km for c in plan.need.contract), default=0.0)
    tables = [
        wrap_table(
            plan.storage,
            plan.wrap,
            bale,
            coefficients,
            plan.farm.season,
            value_per_mg=plan.money.stover_value_per_mg,
            among=planned(plan.storage, plan.wrap, bale, ground),
            road_haul_km=far,
        )
        for ground in ("soil", "clay")
    ]
    return pd.concat(tables).drop_duplicates(["wrap", "base", "year", "month"]).reset_index(drop=True)


def need_terms(plan: Plan, bale: BaleSize, coefficients: Handbook) -> pd.DataFrame:
    """Return what each need accepts, pays, and costs to reach from the yard, $ a bale.

    A herd's bales are loaded and set down again; a contract's go by truck, by the hour.
    """
    handling = 2 * coefficients.value("cost.load")
    rows = [(h.name, "herd", np.inf, np.inf, np.nan, handling) for h in plan.need.herd]
    for contract in plan.need.contract:
        out = handling + truck_per_mg(contract.distance_km, plan, bale, coefficients) * bale.dry_kg / 1000
        price = np.nan if contract.price_per_mg is None else contract.price_per_mg
        rows.append((contract.name, "contract", contract.moisture_max_pct, contract.ash_max_pct, price, out))
    columns = ["need", "kind", "moisture_max_pct", "ash_max_pct", "price_per_mg", "out_per_bale"]
    return pd.DataFrame(rows, columns=columns)


def truck_per_mg(distance_km: float, plan: Plan, bale: BaleSize, coefficients: Handbook) -> float:
    """Return what trucking one dry Mg costs by the hour, $/Mg."""
    per_h = plan.money.truck_per_h if plan.money.truck_per_h is not None else coefficients.value("cost.truck_hour")
    load_h = coefficients.value("haul.load_hours")
    return float(
        haul_cost_per_mg(
            distance_km, coefficients.value("haul.speed"), load_h, load_h, per_h, truck_load(bale, coefficients).dry_mg
        )
    )


def truck_notes(plan: Plan, bale: BaleSize, coefficients: Handbook) -> tuple[Message, ...]:
    """Return the messages on trucks, where there is a road haul."""
    far = plan.need.longest_haul_km
    if far <= 0:
        return ()
    load = truck_load(bale, coefficients)
    by_km = float(haul_cost_by_distance_per_mg(far, coefficients.value("cost.truck_km"), load.dry_mg))
    return tuple(load_messages(load, far, truck_per_mg(far, plan, bale, coefficients), by_km))


def prices_of(plan: Plan, methods: Mapping[str, Method], bale: BaleSize, coefficients: Handbook) -> Prices:
    """Return the season's prices: the plan's own where given, else the handbook's."""
    money = plan.money

    def own(given: float | None, key: str) -> float:
        return coefficients.value(key) if given is None else given

    rake = own(money.rake_per_ha, "machine.rate.rake")
    area = {
        "single_pass": coefficients.value("cost.combine_delay"),
        "second_pass": coefficients.value("cost.merge"),
        "rake_bale": rake,
        "chop_and_rake": own(money.chop_per_ha, "machine.rate.shred") + rake,
    }
    # the custom rate holds the standard wrap and the time to put it on (squares: twine); each wrap's own come on top
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, coefficients)
    held = storage_cost(StorageMethod(STANDARD_WRAP, "soil"), bale, turns, plan.wrap.overlap_m, coefficients)
    baling = max(0.0, own(money.bale_each, bale.kind.rate) - held.wrap - held.time)
    one_mg = pd.DataFrame({"zone_id": list(methods), "method": list(methods), "removal_mg": 1.0})
    lost = nutrients(one_mg, methods, coefficients, money, plan.crop.nutrient_basis)
    return Prices(
        method_per_ha={name: area.get(name, 0.0) for name in methods},
        method_per_bale=dict.fromkeys(methods, baling),
        method_setup=dict.fromkeys(methods, own(money.set_up, "cost.set_up")),
        stage_per_bale=own(money.stage_each, "machine.rate.stage"),
        move_per_bale_m=coefficients.value("cost.move"),
        yard_opening=own(money.yard_opening, "cost.yard_opening"),
        nutrient_per_mg=dict(zip(lost["zone_id"], lost["cost_mg"], strict=True)),
        landowner_per_mg=plan.landowner.price_per_mg or 0.0,
        landowner_per_ha=plan.landowner.price_per_ha or 0.0,
        soil_carbon_per_mg=money.soil_carbon_per_mg or 0.0,
    )


def capacity_of(plan: Plan, bales: Mapping[str, BaleSize], coefficients: Handbook) -> Capacity:
    """Return the hours each machine needs, and has where the plan names the fit days of its crew."""
    wrap = planned_wrap(plan)
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, coefficients)
    per_ha: dict[tuple[str, str], float] = {}
    per_bale: dict[tuple[str, str], float] = {}
    for name, bale in bales.items():
        per_bale[(name, "baler")] = 1 / pace(bale, wrap, turns, coefficients)
        per_bale[(name, "mover")] = 1 / coefficients.value("cost.move_bales_h")
    for machine, used in (("shred", ("chop_and_rake",)), ("rake", ("rake_bale", "chop_and_rake"))):
        hours = 1 / area_capacity_ha_h(
            coefficients.value(f"cost.{machine}_speed"),
            coefficients.value(f"cost.{machine}_width"),
            coefficients.value(f"cost.{machine}_efficiency"),
        )
        per_ha |= {(name, machine): float(hours) for name in used if name in bales}
    if plan.money.crew_days is None:
        return Capacity(per_ha, per_bale, {})
    hours = plan.money.crew_days * coefficients.value("machine.hours_day") * plan.money.crews
    return Capacity(per_ha, per_bale, dict.fromkeys(("shred", "rake", "baler", "mover"), hours))
