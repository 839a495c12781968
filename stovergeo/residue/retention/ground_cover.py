"""Ground cover after planting, through winter and the plan's tillage passes.

Asks for the mass of flat stover that covers the wanted share of the ground after planting
(mass to cover: Gregory 1982), divided by what winter and each pass leave of it; stalks that
stand through all that do not count as cover and come on top.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import LITTLE_MG_HA, catalog
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.production import mass_of

title = "Ground cover after planting"
reads = ("stover_mg_ha",)
source = "Gregory 1982, Trans. ASAE 25:1333-1337; 30 % after planting is the usual meaning of conservation tillage"
valid = "0 to 90 % cover by corn stover lying flat"
lift = "Fewer or gentler passes before planting would lower it."
reads_method = True


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave for the plan's cover after planting, Mg/ha."""
    flat = mass_of(options.limits.cover_pct / 100, options.number("retention.cover.k"))
    return options.to_leave(flat, stack["stover_mg_ha"])


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    if retention_mg_ha < LITTLE_MG_HA:
        return catalog("rule.little", title=title)
    return catalog("ground_cover.some", cover=options.limits.cover_pct, keep=retention_mg_ha)
