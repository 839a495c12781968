"""Soil carbon: the stover that must return each corn year to hold it.

Requirement by rotation and tillage (Wilhelm et al. 2007), less carbon from manure and cover
crops. Where the plan harvests in some corn years only, the mean over all of them must meet it.
"""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.carbon import keep_in_harvest_year, stover_to_return
from stovergeo.residue.messages import LITTLE_MG_HA, catalog, in_years
from stovergeo.residue.options import Number, RuleOptions

title = "Soil carbon"
reads = ("stover_typical_mg_ha",)
source = "Wilhelm et al. 2007, Agron. J. 99:1665-1667; spread after Johnson et al. 2014, BioEnergy Research"
valid = (
    "Corn Belt soils in continuous corn or corn and soybean; one table for all of them is unsafe, hence the wide spread"
)
lift = "Manure, a cover crop, no plowing, or harvest in fewer years would lower it."


def required(options: RuleOptions) -> Number:
    """Return the mean yearly requirement, Mg/ha of stover in each corn year."""
    rotation = options.crop.rotation.replace(" ", "_").replace("-", "_")
    tillage = "moldboard" if options.plowed else "conservation"
    other = options.crop.manure_c_mg_ha * options.number("retention.carbon.manure_worth") + (
        options.crop.cover_crop_c_mg_ha * options.number("retention.carbon.cover_crop_worth")
    )
    return stover_to_return(
        options.number(f"retention.carbon.{rotation}.{tillage}"),
        options.number("retention.carbon.factor"),
        other,
        options.number("retention.carbon.content"),
    )


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave in a year of harvest, Mg/ha."""
    # the years without harvest give what most years give
    stover = stack["stover_typical_mg_ha"]
    return keep_in_harvest_year(required(options) + 0 * stover, stover, options.crop.harvest_years)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    if retention_mg_ha < LITTLE_MG_HA:
        return catalog("rule.little", title=title)
    rotation, years = options.crop.rotation, options.crop.harvest_years
    if years == 1:
        return catalog("soil_carbon.each_year", rotation=rotation, keep=retention_mg_ha)
    return catalog("soil_carbon.some_years", rotation=rotation, keep=retention_mg_ha, **in_years(years))
