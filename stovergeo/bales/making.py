"""Stover in the zones to bales: how many, how heavy, how much net, how many hours."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

from stovergeo.bales.bale import BaleSize, bale_of
from stovergeo.bales.capacity import bales_per_hour, field_days, material_capacity_mg_h
from stovergeo.bales.wrap import bind_s, net_of, net_rolls, net_turns
from stovergeo.core.bale_catalog import STANDARD_WRAP
from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan
from stovergeo.residue import Method

message = Catalog("stovergeo.bales")
COLUMNS = ["zone_id", "method", "bales", "bales_low", "bales_high", "bale_dry_kg", "bale_as_is_kg", "moisture_pct"]
COLUMNS += ["turns", "net_m", "bales_ha", "bales_hour", "hours", "days"]


def bale_plan(
    zones: pd.DataFrame, methods: Mapping[str, Method], plan: Plan, coefficients: Handbook, wrap: str | None = None
) -> pd.DataFrame:
    """Return the bales of each zone that is gathered.

    Parameters
    ----------
    zones : DataFrame
        Table ``zones`` (see `stovergeo.core.schemas`): zone_id, method, removal_mg_ha (where it is gathered)
        and removal_mg (all of it; less than the whole zone's where only a share is gathered) are read.
    methods : mapping of name to method
        Each with its `moisture_pct`.
    plan : Plan
    coefficients : Handbook
    wrap : str, optional
        Wrap to plan with; left out: `planned_wrap`.

    Returns
    -------
    pandas.DataFrame
        zone_id, method, bales (whole bales; they never hold more than the zone gives), bales_low
        and bales_high (at the highest and lowest density), bale_dry_kg, bale_as_is_kg,
        moisture_pct, turns, net_m (of all its bales), bales_ha (where it is
        gathered), bales_hour, hours (baling), days
        (calendar, as fit weather allows). Zones left alone are not listed.
    """
    kind = wrap or planned_wrap(plan)
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, coefficients, plan.need.longest_haul_km)
    rows = []
    for zone in zones.itertuples(index=False):
        if zone.method == "leave" or not zone.removal_mg > 0:
            continue
        bale = bale_of(plan.bale, methods[zone.method], coefficients)
        bales, low, high = (whole_bales(zone.removal_mg, kg) for kg in (bale.dry_kg, bale.dry_high_kg, bale.dry_low_kg))
        own_turns, net_m = net_of(kind, turns, bale, plan.wrap.overlap_m, coefficients)
        width_m = plan.gather.working_width_m
        an_hour = pace(bale, kind, turns, coefficients, width_m, zone.removal_mg_ha)
        hours = bales / an_hour
        days = field_days(hours, coefficients.value("machine.hours_day"), coefficients.value("machine.fit_days"))
        made = (bales, low, high, bale.dry_kg, bale.as_is_kg, bale.moisture_pct)
        work = (own_turns, bales * net_m, 1000 * zone.removal_mg_ha / bale.dry_kg, an_hour, hours, days)
        rows.append((zone.zone_id, zone.method, *made, *work))
    return pd.DataFrame(rows, columns=COLUMNS)


def planned_wrap(plan: Plan) -> str:
    """Return the plan's wrap, and the standard one where the plan leaves it open."""
    return STANDARD_WRAP if plan.wrap.kind == "best" else plan.wrap.kind


def whole_bales(removal_mg: float, bale_kg: float) -> int:
    """Return how many whole bales a dry mass makes; they never hold more than there is."""
    # the grain of a rounding error must not cost a bale
    return math.floor(removal_mg * 1000 / bale_kg + 1e-9)


def pace(
    bale: BaleSize,
    wrap: str,
    turns: float,
    coefficients: Handbook,
    width_m: float = math.inf,
    removal_mg_ha: float = math.inf,
) -> float:
    """Return bales an hour of work in the field, turning and moving counted.

    Parameters
    ----------
    bale : BaleSize
    wrap : str
        Sets how long a round baler stands for each bale.
    turns : float
        Of net.
    coefficients : Handbook
    width_m, removal_mg_ha : float, optional
        Width brought into one windrow, and what lies on it: thin windrows hold the baler to its
        ground speed. Left out: the baler is held only by what it can take in.
    """
    flow = _pace_mg_h(bale, coefficients)
    if math.isfinite(width_m * removal_mg_ha):
        speed = coefficients.value("machine.speed.baler")
        flow = min(flow, material_capacity_mg_h(speed, width_m, removal_mg_ha, 1.0))
    share = coefficients.value(bale.kind.turning) if bale.kind.turning else 1.0
    return share * bales_per_hour(bale.dry_kg, flow, bind_s(wrap, turns, bale, coefficients))


def _pace_mg_h(bale: BaleSize, coefficients: Handbook) -> float:
    """Return the dry stover a baler takes in; where it was measured at several moistures, at that of the bale."""
    measured = bale.kind.flow_at
    if not measured:
        return coefficients.value(bale.kind.flow)
    paces = [coefficients.value(key) for key in measured]
    return float(np.interp(bale.moisture_pct, list(measured.values()), paces))


def baling_messages(
    plan_of_bales: pd.DataFrame, plan: Plan, coefficients: Handbook, *, replayed: bool = False
) -> list[Message]:
    """Return how many bales, hours and days the baling takes, and how much net.

    Parameters
    ----------
    plan_of_bales : pandas.DataFrame
        From `bale_plan`.
    plan : Plan
    coefficients : Handbook
    replayed : bool
        Whether past autumns say which days are fit; the sum of hours over a share of fit days is then left out.
    """
    sums = plan_of_bales[["bales", "bales_low", "bales_high", "hours", "days", "net_m"]].sum()
    if sums["bales"] == 0:
        return [message("baling.none")]
    window = coefficients.value("machine.window_days")
    counts = {name: int(sums[key]) for name, key in (("bales", "bales"), ("low", "bales_low"), ("high", "bales_high"))}
    found = [message("baling.count", **counts)]
    if not replayed:
        hours, fit = coefficients.value("machine.hours_day"), coefficients.value("machine.fit_days")
        found.append(message("baling.time", hours=float(sums["hours"]), days=float(sums["days"])))
        found.append(message("baling.weather", hours=hours, fit=fit))
        if sums["days"] > window:
            found.append(message("baling.too_long", window=window))
    net_m = float(sums["net_m"])
    if net_m > 0:
        rolls = net_rolls(net_m, plan.wrap.roll_length_m)
        found.append(message("baling.net", net=net_m, rolls=rolls, cost=net_m * coefficients.value("wrap.price.net_m")))
    return found
