"""Water and wind together: the tolerance is one, so both losses must fit under it.

Needs the wind loss of bare ground in the plan; without it wind is judged by `wind_erosion` alone.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import amount_message
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.retention.water_erosion import bare_loss, tolerable
from stovergeo.residue.soil_loss import cover_effect
from stovergeo.residue.wind import cover_needed_both_pct

title = "Water and wind erosion together"
reads = ("stover_mg_ha", "ls_factor", "soil_erodibility", "soil_loss_tolerance")
source = (
    "tolerance covers wind and water: National Soil Survey Handbook, quoted by UC Davis; equations of the two rules"
)
valid = "where the two rules hold and the plan gives the wind loss of bare ground"
lift = "Gentler tillage, contour rows or taller stubble would lower it."
reads_method = True


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan gives the wind loss of bare ground."""
    return options.crop.wind_loss is not None


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave so that water and wind loss together stay tolerable, Mg/ha."""
    wind = (options.crop.wind_loss or 0.0) * options.stubble_ratio()
    cover = cover_needed_both_pct(
        bare_loss(stack, options),
        cover_effect(options.number("retention.water.cover_effect"), options.number("retention.water.roughness")),
        wind,
        options.number("retention.wind.cover_effect"),
        tolerable(stack, options),
    )
    return options.to_leave_for_cover(cover, stack)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    return amount_message("water_plus_wind.some", "water_plus_wind.all", title, retention_mg_ha, stover_mg_ha)
