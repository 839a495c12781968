"""Stover in the zones to bales: how many, how heavy, how much net, how many hours."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd

from stovergeo.bales.bale import BaleSize, Gathered, bale_of
from stovergeo.bales.capacity import bales_per_hour, field_days
from stovergeo.bales.wrap import bind_s, net_of, net_turns
from stovergeo.handbook import Handbook
from stovergeo.plan_file import Plan


def bale_plan(
    zones: pd.DataFrame, methods: Mapping[str, Gathered], plan: Plan, book: Handbook, wrap: str | None = None
) -> pd.DataFrame:
    """Return the bales of each zone that is gathered.

    Parameters
    ----------
    zones : DataFrame
        Table ``zones`` (see `stovergeo.schemas`): zone_id, method, take_mg, area_ha are read.
    methods : mapping of name to method
        Each with its `moisture_pct`.
    plan : Plan
    book : Handbook
    wrap : str, optional
        Wrap to plan with; left out: the plan's, and net where the plan says "best".

    Returns
    -------
    pandas.DataFrame
        zone_id, method, bales (whole bales; they never hold more than the zone gives),
        bale_dry_kg, bale_as_is_kg, moisture_pct, turns, net_m (of all its bales), bales_ha,
        hours (baling), days (calendar, as fit weather allows). Zones left alone are not listed.
    """
    kind = wrap or ("net" if plan.wrap.kind == "best" else plan.wrap.kind)
    far = max((c.distance_km for c in plan.need.contract), default=0.0)
    turns = net_turns(plan.wrap, plan.storage, plan.farm.season, book, far)
    rows = []
    for zone in zones.itertuples(index=False):
        if zone.method == "leave" or not zone.take_mg > 0:
            continue
        bale = bale_of(plan.bale, methods[zone.method], book)
        bales = math.floor(zone.take_mg * 1000 / bale.dry_kg + 1e-9)
        net_turns_, net_m = net_of(kind, turns, bale, plan.wrap.overlap_m, book)
        hours = bales / pace(bale, kind, turns, book)
        rows.append(
            {
                "zone_id": zone.zone_id,
                "method": zone.method,
                "bales": bales,
                "bale_dry_kg": bale.dry_kg,
                "bale_as_is_kg": bale.as_is_kg,
                "moisture_pct": bale.moisture_pct,
                "turns": net_turns_,
                "net_m": bales * net_m,
                "bales_ha": bales / zone.area_ha,
                "hours": hours,
                "days": field_days(hours, book.value("machine.hours_day"), book.value("machine.fit_days")),
            }
        )
    columns = ["zone_id", "method", "bales", "bale_dry_kg", "bale_as_is_kg", "moisture_pct", "turns", "net_m"]
    return pd.DataFrame(rows, columns=[*columns, "bales_ha", "hours", "days"])


def pace(bale: BaleSize, wrap: str, turns: float, book: Handbook) -> float:
    """Return bales an hour of work in the field, turning and moving counted."""
    moving = bales_per_hour(bale.dry_kg, book.value(f"machine.flow.{bale.shape}"), bind_s(wrap, turns, bale, book))
    return moving * book.value("machine.turning") if bale.shape == "round" else moving
