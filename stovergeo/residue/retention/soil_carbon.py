"""Soil carbon: the stover that must return each corn year to hold it, and what a stated goal asks for besides.

The larger of two holds. The table: requirement by rotation and tillage (Wilhelm et al. 2007), less carbon from manure
and cover crops; where the plan harvests in some corn years only, the mean over all of them must meet it. The goal:
harvest may cost the soil at most a stated share of its carbon in twenty years.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.carbon import keep_in_harvest_year, stover_to_return
from stovergeo.residue.carbon_stock.goal import lognormal, removal_for_goal, retention_for_goal
from stovergeo.residue.messages import LITTLE_MG_HA, catalog, in_years
from stovergeo.residue.options import Number, RuleOptions

title = "Soil carbon"
reads = ("stover_typical_mg_ha",)
source = (
    "table: Wilhelm et al. 2007, Agron. J. 99:1665-1667; spread after Johnson et al. 2014, BioEnergy Research; "
    "goal: the plan's, by field trials brought to twenty years (Barber 1979, Agron. J. 71:625-627, and others)"
)
valid = (
    "Corn Belt soils in continuous corn or corn and soybean; one table for all of them is unsafe, hence the wide spread"
)
#: what the rule reads where the stack has it: without it the plan's manure and a low stock count
reads_if_known = ("soil_carbon", "manure_carbon")
lift = "Manure, a cover crop, no plowing, or harvest in fewer years would lower it."


def required(options: RuleOptions, manure_c_mg_ha: Number | None = None) -> Number:
    """Return the table's mean yearly requirement, Mg/ha of stover in each corn year.

    `manure_c_mg_ha` is that of single fields; left out: the plan's for the farm.
    """
    rotation = options.crop.rotation.replace(" ", "_").replace("-", "_")
    tillage = "moldboard" if options.plowed else "conservation"
    return stover_to_return(
        options.number(f"retention.carbon.{rotation}.{tillage}"),
        options.number("retention.carbon.factor"),
        other_carbon(options, manure_c_mg_ha),
        options.number("retention.carbon.content"),
    )


def other_carbon(options: RuleOptions, manure_c_mg_ha: Number | None = None) -> Number:
    """Return what manure and cover crops bring in the worth of stover carbon, Mg C/ha in the mean of all years."""
    manure = options.crop.manure_c_mg_ha if manure_c_mg_ha is None else manure_c_mg_ha
    return manure * options.number("retention.carbon.manure_worth") + (
        options.crop.cover_crop_c_mg_ha * options.number("retention.carbon.cover_crop_worth")
    )


def manure_of(stack: xr.Dataset, options: RuleOptions) -> Number:
    """Return the carbon of manure, Mg C/ha a year: of each field where the plan says it, else of the farm."""
    whole = options.crop.manure_c_mg_ha
    return stack["manure_carbon"].fillna(whole) if "manure_carbon" in stack else whole


def stock_of(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return the carbon in the soil, Mg C/ha; where it is not known, a low figure, which frees no stover."""
    unknown = options.coefficients.value("carbon.stock_unknown")
    if "soil_carbon" not in stack:
        return xr.full_like(stack["stover_typical_mg_ha"], 0.0, dtype=float) + unknown
    return stack["soil_carbon"].fillna(unknown)


def removal_max(stack: xr.Dataset, options: RuleOptions, harvests_a_year: float) -> xr.DataArray:
    """Return the most stover, Mg/ha a harvest, that costs the soil no more than the plan's goal in twenty years.

    The share of its carbon that is missing after twenty years is not sampled: the plan says how sure the goal is to
    hold, and the chance that it does is worked out beside.
    """
    kept = options.coefficients["carbon.kept_20_years"]
    return xr.apply_ufunc(
        removal_for_goal,
        options.limits.carbon_loss_max_pct / 100,
        stock_of(stack, options),
        harvests_a_year,
        other_carbon(options, manure_of(stack, options)),
        lognormal(np.float64(options.limits.carbon_sure_pct / 100), kept.value, kept.sd_ln),
        options.number("retention.carbon.content"),
    )


def harvests_a_year(options: RuleOptions) -> float:
    """Return the harvests of stover in a calendar year."""
    return float(options.crop.corn_fraction * options.crop.harvest_years)


def by_table(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover that the table asks for in a year of harvest, Mg/ha."""
    # the years without harvest give what most years give; in one call, as each would line up names of dims anew
    needed, stover = required(options, manure_of(stack, options)), stack["stover_typical_mg_ha"]
    asked: xr.DataArray = xr.apply_ufunc(
        lambda need, grown: keep_in_harvest_year(need + 0 * grown, grown, options.crop.harvest_years), needed, stover
    )
    return asked


def by_goal(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover that the plan's goal asks for in a year of harvest, Mg/ha."""
    most = removal_max(stack, options, harvests_a_year(options))
    asked: xr.DataArray = retention_for_goal(stack["stover_typical_mg_ha"], most)
    return asked


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave in a year of harvest, Mg/ha: the larger of table and goal."""
    return xr.apply_ufunc(np.maximum, by_table(stack, options), by_goal(stack, options))


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    if retention_mg_ha < LITTLE_MG_HA:
        return catalog("rule.little", title=title)
    rotation, years = options.crop.rotation, options.crop.harvest_years
    if years == 1:
        return catalog("soil_carbon.each_year", rotation=rotation, keep=retention_mg_ha)
    return catalog("soil_carbon.some_years", rotation=rotation, keep=retention_mg_ha, **in_years(years))
