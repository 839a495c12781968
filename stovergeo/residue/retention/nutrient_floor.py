"""Plant food: no more potash or phosphate leaves than the plan allows."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.units import KG_PER_MG
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.words import Units, listed, plant_food

title = "Plant food"
reads = ("stover_mg_ha",)
source = "contents: Karlen, Kovar & Birrell 2015, Karlen et al. 2014 and extension tables; the limits are the plan's"
valid = "contents measured in bales"
lift = "It is set in the plan file, under [limits]; a soil test tells whether it is needed."
forbids = False
reads_method = True


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan limits potash or phosphate."""
    return options.limits.potash_most_mg_ha is not None or options.limits.phosphate_most_mg_ha is not None


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave so that no more plant food leaves than the plan allows, Mg/ha."""
    stover = stack["stover_mg_ha"]
    asked = 0.0 * stover
    kind = "content_cob_husk" if options.method is not None and options.method.takes_ear_only else "content"
    for name, most in (("k2o", options.limits.potash_most_mg_ha), ("p2o5", options.limits.phosphate_most_mg_ha)):
        if most is not None:
            asked = asked.clip(min=stover - most * KG_PER_MG / options.number(f"nutrients.{name}.{kind}"))
    return asked


def words(keep_mg_ha: float, stover_mg_ha: float, options: RuleOptions, units: Units) -> str:
    """Say what the plan allows to leave."""
    limits = options.limits
    said = [
        f"{plant_food(most, units)} of {name}"
        for name, most in (("potash", limits.potash_most_mg_ha), ("phosphate", limits.phosphate_most_mg_ha))
        if most is not None
    ]
    return f"The plan lets at most {listed(said)} leave."
