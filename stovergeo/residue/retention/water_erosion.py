"""Water erosion: the stover that keeps soil loss by rain under the soil's tolerance.

The soil-loss equation turned round: bare-ground loss R K LS P C0, the cover that brings it
down to the tolerable loss, the mass for that cover, and what must lie at harvest for it to
be there after planting. A screen, not a conservation plan: one cover stands for the year.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.core.units import M2_PER_HA
from stovergeo.residue.messages import amount_message
from stovergeo.residue.options import Number, RuleOptions
from stovergeo.residue.soil_loss import contour_factor, cover_needed_pct, roughness_subfactor, soil_loss

title = "Water erosion"
reads = ("stover_mg_ha", "ls_factor", "soil_erodibility", "soil_loss_tolerance")
source = "Renard et al. 1997, AH-703 (A = R K LS C P, cover subfactor); Desmet & Govers 1996 for LS on a grid"
valid = "sheet and rill erosion on slopes of tens of meters; not where water concentrates"
lift = "Gentler tillage, rows on the contour or shorter slopes would lower it."
reads_method = True


def bare_loss(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return mean yearly soil loss by water with no stover on the ground, Mg/(ha yr)."""
    roughness = options.number("retention.water.roughness")
    bare = options.number("retention.water.bare_tilled" if options.full_width else "retention.water.bare_no_till")
    return soil_loss(
        options.crop.erosivity,
        stack["soil_erodibility"] * options.number("retention.water.erodibility_factor"),
        stack["ls_factor"],
        bare * roughness_subfactor(roughness),
        _contouring(stack, options),
    )


def tolerable(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return the soil loss to stay under, Mg/(ha yr)."""
    return stack["soil_loss_tolerance"] * options.limits.tolerance_fraction


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave so that soil loss by water stays tolerable, Mg/ha."""
    cover = cover_needed_pct(
        bare_loss(stack, options),
        tolerable(stack, options),
        options.number("retention.water.cover_effect"),
        options.number("retention.water.roughness"),
    )
    return options.to_leave_for_cover(cover, stack)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    return amount_message("water_erosion.some", "water_erosion.all", title, retention_mg_ha, stover_mg_ha)


def _contouring(stack: xr.Dataset, options: RuleOptions) -> Number:
    """Return P. Credit for contour rows needs the slope and the length of slope above; unknown earns none."""
    if not (options.crop.contoured and "slope_pct" in stack and "upslope_area_m2" in stack):
        return 1.0
    cell_width_m = np.sqrt(stack["cell_area_ha"] * M2_PER_HA)
    slope = stack["slope_pct"]
    return xr.DataArray(
        contour_factor(slope.values, (stack["upslope_area_m2"] / cell_width_m).values),
        dims=slope.dims,
        coords=slope.coords,
    )
