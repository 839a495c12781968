"""Cover for ground-nesting birds: a share of what grew stays everywhere."""

import xarray as xr

from stovergeo.core.messages import Catalog, Message
from stovergeo.residue import RuleOptions

title = "Cover for birds"
reads = ("stover_mg_ha",)
source = "judgment: an example, not advice"
lift = "Grass strips for the birds would lower it."

SHARE = 0.4

catalog = Catalog("meadow_rules")


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave, Mg/ha."""
    return SHARE * stack["stover_mg_ha"]


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the rule asks for."""
    return catalog("bird_cover.some", keep=retention_mg_ha)
