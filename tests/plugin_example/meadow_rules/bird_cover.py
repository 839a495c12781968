"""Cover for ground-nesting birds: a share of what grew stays everywhere."""

import xarray as xr

from stovergeo.residue import RuleOptions
from stovergeo.residue.words import Units, per_area

title = "Cover for birds"
reads = ("stover_mg_ha",)
source = "judgement: an example, not advice"
lift = "Grass strips for the birds would lower it."

SHARE = 0.4


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return dry stover to leave, Mg/ha."""
    return SHARE * stack["stover_mg_ha"]


def words(keep_mg_ha: float, stover_mg_ha: float, options: RuleOptions, units: Units) -> str:
    """Say what the rule asks for."""
    return f"For the birds, {per_area(keep_mg_ha, units)} must stay."
