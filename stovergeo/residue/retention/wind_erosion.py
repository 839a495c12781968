"""Wind erosion: flat cover, with the stubble that stands, on ground that blows.

Where the plan gives the wind loss of bare ground, its tolerable share is what may blow.
Otherwise only soils of a high wind erodibility index count, held to a share of bare-ground
loss: a ratio, not an amount.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import amount_message
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.wind import cover_needed_pct

title = "Wind erosion"
reads = ("stover_mg_ha", "wind_erodibility")
source = "Bilbro & Fryrear 1994 and Fryrear et al. 1998 (flat cover, standing stalks); Fryrear 1985 as a check"
valid = "0 to 80 % flat cover; corn stubble in rows"
lift = "Taller stubble that is left standing, or gentler passes, would lower it."
reads_method = True


def ratio_allowed(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return the share of bare-ground wind loss that is allowed, at most 1."""
    index, bare = stack["wind_erodibility"], options.crop.wind_loss
    if bare is None:
        prone = index >= options.number("retention.wind.index_from")
        return xr.where(prone, options.number("retention.wind.ratio_max"), 1.0).where(index.notnull())
    if bare == 0:
        return (1.0 + 0.0 * index).where(index.notnull())
    assumed = options.number("retention.water.tolerance_unknown") + 0.0 * index
    tolerance = stack.get("soil_loss_tolerance", assumed)
    return (tolerance * options.limits.tolerance_fraction / bare).clip(max=1.0)


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave so that wind loss stays in bounds, Mg/ha."""
    flat_ratio = ratio_allowed(stack, options) / options.stubble_ratio()
    cover = cover_needed_pct(flat_ratio, options.number("retention.wind.cover_effect"))
    return options.to_leave_for_cover(cover, stack)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    return amount_message("wind_erosion.some", "wind_erosion.all", title, retention_mg_ha, stover_mg_ha)
