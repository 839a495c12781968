"""Ground cover after planting, through winter and the plan's tillage passes.

Each pass keeps a share of the cover. The cover wanted, divided by what the passes keep, is the cover there must be
before them; the flat stover for it (mass to cover: Gregory 1982) is divided by what winter leaves of its mass. Stalks
that still stand after the passes do not count as cover and come on top.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import LITTLE_MG_HA, catalog
from stovergeo.residue.options import RuleOptions

title = "Ground cover after planting"
reads = ("stover_mg_ha",)
source = "Gregory 1982, Trans. ASAE 25:1333-1337; 30 % after planting is the common meaning of conservation tillage"
valid = "0 to 90 % cover by corn stover lying flat"
lift = "Fewer or gentler passes before planting would lower it."
reads_method = True


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave for the plan's cover after planting, Mg/ha."""
    return options.to_leave_for_cover(options.limits.cover_pct, stack)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for, or that the passes cannot leave the cover."""
    if retention_mg_ha < LITTLE_MG_HA:
        return catalog("rule.little", title=title)
    cover, most = options.limits.cover_pct, options.most_cover_pct()
    if retention_mg_ha >= stover_mg_ha and cover >= most:
        return catalog("ground_cover.passes", cover=cover, most=most / 100)
    if retention_mg_ha >= stover_mg_ha:
        return catalog("ground_cover.all", cover=cover)
    return catalog("ground_cover.some", cover=cover, keep=retention_mg_ha)
