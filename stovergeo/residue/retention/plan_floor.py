"""The plan's own floor: never leave less, never take more, nothing from poor stands."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.words import Units, listed, per_area

title = "The plan's own floor"
reads = ("stover_mg_ha", "grain_mg_ha")
source = "the plan file"
valid = "any"
lift = "It is set in the plan file, under [limits]."
forbids = False
reads_method = False


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan sets any floor."""
    limits = options.limits
    return (
        limits.keep_at_least_mg_ha > 0 or limits.take_at_most_mg_ha is not None or limits.harvest_from_bu_ac is not None
    )


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover that the plan wants left, Mg/ha."""
    limits, stover = options.limits, stack["stover_mg_ha"]
    asked = limits.keep_at_least_mg_ha + 0.0 * stover
    if limits.take_at_most_mg_ha is not None:
        asked = asked.clip(min=stover - limits.take_at_most_mg_ha)
    if limits.harvest_from_bu_ac is not None:
        poor = stack["grain_mg_ha"] < limits.harvest_from_bu_ac * MG_HA_DRY_PER_BU_ACRE
        asked = xr.where(poor, asked.clip(min=stover), asked)
    return asked


def words(keep_mg_ha: float, stover_mg_ha: float, options: RuleOptions, units: Units) -> str:
    """Say what the plan asks for."""
    limits = options.limits
    said = []
    if limits.keep_at_least_mg_ha > 0:
        said.append(f"at least {per_area(limits.keep_at_least_mg_ha, units)} to stay")
    if limits.take_at_most_mg_ha is not None:
        said.append(f"at most {per_area(limits.take_at_most_mg_ha, units)} to leave")
    if limits.harvest_from_bu_ac is not None:
        said.append(f"nothing to leave where corn yields under {limits.harvest_from_bu_ac:g} bu/ac")
    return f"The plan wants {listed(said)}."
