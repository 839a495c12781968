"""Steep ground: nothing leaves where the slope is over the plan's limit."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import ground_message
from stovergeo.residue.options import RuleOptions

title = "Steep ground"
reads = ("stover_mg_ha", "slope_pct")
source = "extension and trade advice: harvest only gentle ground (4 to 8 % and less); the limit is the plan's"
valid = "any slope"
lift = "The plan's slope limit can be changed with a soil conservation adviser's advice."
forbids = True


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover where the ground is too steep, else 0; Mg/ha."""
    slope = stack["slope_pct"]
    return xr.where(slope > options.limits.slope_max_pct, stack["stover_mg_ha"], 0.0).where(slope.notnull())


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return how much of the ground is too steep."""
    return ground_message(
        "steep_ground.none", "steep_ground.some", retention_mg_ha, stover_mg_ha, limit=options.limits.slope_max_pct
    )
