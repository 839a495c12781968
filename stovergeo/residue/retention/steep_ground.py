"""Steep ground: nothing leaves where the slope is over the plan's limit."""

from __future__ import annotations

import xarray as xr

from stovergeo.residue.options import RuleOptions
from stovergeo.residue.words import Units, share_of_ground

title = "Steep ground"
reads = ("stover_mg_ha", "slope_pct")
source = "extension and trade advice: harvest only gentle ground (4 to 8 % and less); the limit is the plan's"
valid = "any slope"
lift = "The plan's slope limit can be changed with the conservation office's advice."
forbids = True
reads_method = False


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover where the ground is too steep, else 0; Mg/ha."""
    slope = stack["slope_pct"]
    return xr.where(slope > options.limits.slope_most_pct, stack["stover_mg_ha"], 0.0).where(slope.notnull())


def words(keep_mg_ha: float, stover_mg_ha: float, options: RuleOptions, units: Units) -> str:
    """Say how much of the ground is too steep."""
    limit = options.limits.slope_most_pct
    if keep_mg_ha == 0:
        return f"No ground here is steeper than {limit:g} %."
    where = share_of_ground(keep_mg_ha, stover_mg_ha)
    return f"Nothing leaves from {where}, which is steeper than {limit:g} %."
