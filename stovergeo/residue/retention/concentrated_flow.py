"""Concentrated flow: nothing leaves where water concentrates; no sheet-erosion equation holds there."""

from __future__ import annotations

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.messages import ground_message
from stovergeo.residue.options import RuleOptions

title = "Waterways"
reads = ("stover_mg_ha", "concentrated_flow")
source = "AH-703, ch. 4: the equation ends where flow enters a channel; never harvesting there is our judgment"
valid = "ground with a height model fine enough to show its waterways"
lift = "Nothing lifts this; a grassed waterway protects the path better than stover does."
forbids = True


def keep(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return all stover in flow paths, else 0; Mg/ha."""
    path = stack["concentrated_flow"]
    return xr.where(path > 0, stack["stover_mg_ha"], 0.0).where(path.notnull())


def message(retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return whether water runs collected here."""
    return ground_message("concentrated_flow.none", "concentrated_flow.some", retention_mg_ha, stover_mg_ha)
