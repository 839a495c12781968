"""Nutrients: no more potash or phosphate leaves than the plan allows."""

from __future__ import annotations

import numpy as np
import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.core.units import KG_PER_MG, rescaled
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions

title = "Nutrients"
reads = ("stover_mg_ha",)
source = "contents: Karlen, Kovar & Birrell 2015, Karlen et al. 2014 and extension tables; the limits are the plan's"
valid = "contents measured in bales"
lift = "It is set in the plan file, under [limits]; a soil test tells whether it is needed."
reads_method = True


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan limits potash or phosphate."""
    return options.limits.potash_max_mg_ha is not None or options.limits.phosphate_max_mg_ha is not None


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave so that no more of them leaves than the plan allows, Mg/ha."""
    stover = stack["stover_mg_ha"]
    asked = 0.0 * stover
    kind = "content_cob_husk" if options.method is not None and options.method.takes_ear_only else "content"
    for name, most in (("k2o", options.limits.potash_max_mg_ha), ("p2o5", options.limits.phosphate_max_mg_ha)):
        # stover that holds none of it has no limit
        if most is not None and np.all((content := options.number(f"nutrients.{name}.{kind}")) > 0):
            asked = asked.clip(min=stover - most * KG_PER_MG / content)
    return asked


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the plan allows to leave."""
    given = {"potash": options.limits.potash_max_mg_ha, "phosphate": options.limits.phosphate_max_mg_ha}
    amounts = (
        catalog(f"nutrient_floor.{name}", amount=rescaled(most, KG_PER_MG))
        for name, most in given.items()
        if most is not None
    )
    return catalog("nutrient_floor.some", amounts=tuple(amounts))
