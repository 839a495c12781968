"""Erodible ground: where a screen or the soil survey's class says so, nothing leaves unless the plan allows it.

The screen is R K LS / T of the cell, from the elevation raster. It is our own: highly erodible land in law goes by soil
map unit and field, see `stovergeo.residue.erodible_land`, and only the conservation office finds it.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.erodible_land import MAY_BE
from stovergeo.residue.messages import ground_message
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.soil_loss import erodibility_index

title = "Erodible ground"
reads = ("stover_mg_ha", "erodible_class")
source = "judgment: R K LS / T of 8 and more by cell, after the index of 7 CFR 12.21, or the soil survey's class"
valid = "a screen by cell, not the finding of the conservation office"
lift = "Where the field's conservation plan allows harvest, set take_erodible in the plan."
forbids = True


def in_force(options: RuleOptions) -> bool:
    """Return False where the plan says that the field's conservation plan allows harvest."""
    return not options.limits.take_erodible


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover on erodible ground, else 0; Mg/ha. Unknown where neither the screen nor the survey knows."""
    listed = stack["erodible_class"]
    held, known = listed >= MAY_BE, listed.notnull()
    if {"ls_factor", "soil_erodibility", "soil_loss_tolerance"} <= set(stack):
        index = erodibility_index(
            options.crop.erosivity,
            stack["soil_erodibility"],
            stack["ls_factor"],
            stack["soil_loss_tolerance"],
        )
        held, known = held | (index >= options.number("retention.erodible_index")), known | index.notnull()
    return xr.where(held, stack["stover_mg_ha"], 0.0).where(known)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return how much of the ground is held as erodible."""
    return ground_message("erodible_ground.none", "erodible_ground.some", retention_mg_ha, stover_mg_ha)
