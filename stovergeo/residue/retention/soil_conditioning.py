"""Soil conditioning index: the conservation office's number for the plan of harvest; below 0 nothing leaves."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions

title = "Soil conditioning index"
reads = ("stover_mg_ha",)
source = "NRCS: below 0 soil organic matter declines; noise 0.2 to 0.3 (Zobeck, Norfleet & Karlen 2009, summary)"
valid = "an index worked out for this rotation, tillage and harvest"
lift = "A cover crop, less tillage or less harvest raises the index; have it worked out anew."
forbids = True


def in_force(options: RuleOptions) -> bool:
    """Return whether the plan gives an index."""
    return options.crop.soil_conditioning_index is not None


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover where the plan's index is below 0, else 0; Mg/ha."""
    index = options.crop.soil_conditioning_index
    return stack["stover_mg_ha"] * (1.0 if index is not None and index < 0 else 0.0)


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what the index means."""
    index = options.crop.soil_conditioning_index
    low = index is not None and index < 0
    return catalog("soil_conditioning.low" if low else "soil_conditioning.fine", index=index)
