"""Highly erodible land: nothing leaves unless the plan says its conservation plan allows it.

The soil survey's listing decides; where there is none, R K LS / T of 8 and more.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import ground_message
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.soil_loss import erodibility_index

title = "Highly erodible land"
reads = ("stover_mg_ha", "highly_erodible")
source = "NRCS: R K LS / T of 8 and more; harvest must not break the land's conservation plan (NRCS Iowa)"
valid = "ground with a soil survey"
lift = "Only a conservation plan for the land can lift this; then set take_highly_erodible in the plan."
forbids = True


def in_force(options: RuleOptions) -> bool:
    """Return False where the plan says that the land's conservation plan allows harvest."""
    return not options.limits.take_highly_erodible


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover on highly erodible ground, else 0; Mg/ha."""
    listed = stack["highly_erodible"]
    if {"ls_factor", "soil_erodibility", "soil_loss_tolerance"} <= set(stack):
        index = erodibility_index(
            options.crop.erosivity,
            stack["soil_erodibility"],
            stack["ls_factor"],
            stack["soil_loss_tolerance"],
        )
        computed = (index >= options.number("retention.erodible_index")).where(index.notnull())
        listed = listed.where(listed.notnull(), computed)
    return (listed * stack["stover_mg_ha"]).where(listed.notnull())


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return how much of the ground is highly erodible."""
    return ground_message("highly_erodible.none", "highly_erodible.some", retention_mg_ha, stover_mg_ha)
