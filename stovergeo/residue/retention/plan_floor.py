"""The plan's own floor: never leave less, never take more, nothing from poor stands."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE, Quantity
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions

title = "The plan's own floor"
reads = ("stover_mg_ha", "grain_mg_ha")
source = "the plan file"
valid = "any"
lift = "It is set in the plan file, under [limits]."


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan sets any floor."""
    limits = options.limits
    return (
        limits.retention_min_mg_ha > 0 or limits.removal_max_mg_ha is not None or limits.harvest_from_bu_ac is not None
    )


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover that the plan wants left, Mg/ha."""
    limits, stover = options.limits, stack["stover_mg_ha"]
    asked = limits.retention_min_mg_ha + 0.0 * stover
    if limits.removal_max_mg_ha is not None:
        asked = asked.clip(min=stover - limits.removal_max_mg_ha)
    if limits.harvest_from_bu_ac is not None:
        poor = stack["grain_mg_ha"] < limits.harvest_from_bu_ac * MG_HA_DRY_PER_BU_ACRE
        asked = xr.where(poor, asked.clip(min=stover), asked)
    return asked


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the plan asks for."""
    limits = options.limits
    floors = []
    if limits.retention_min_mg_ha > 0:
        floors.append(catalog("plan_floor.stay", keep=limits.retention_min_mg_ha))
    if limits.removal_max_mg_ha is not None:
        floors.append(catalog("plan_floor.leave", take=limits.removal_max_mg_ha))
    if limits.harvest_from_bu_ac is not None:
        bushels = limits.harvest_from_bu_ac
        grain = Quantity(bushels * MG_HA_DRY_PER_BU_ACRE, bushels, "bu/ac")
        floors.append(catalog("plan_floor.poor", grain=grain))
    return catalog("plan_floor.some", floors=tuple(floors))
