"""A finished yield map as dry Mg/ha."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import xarray as xr
from pyproj import CRS

from stovergeo.core.errors import Report
from stovergeo.core.units import MG_HA_DRY_PER_BU_ACRE
from stovergeo.inputs.crs import Bounds
from stovergeo.inputs.harvest import dry_mg_ha
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import YieldRaster
from stovergeo.inputs.plausible import BELIEVABLE_MG_HA
from stovergeo.inputs.rasters import opened_raster, read_onto

#: above the record of corn contests, about 39 Mg/ha (bad-inputs sheet, row 29; from memory there)
MAX_MG_HA: Final = 40.0


def read_yield_raster(
    layer: YieldRaster,
    plan: Plan,
    box: Bounds,
    working: CRS,
    fields: gpd.GeoDataFrame | None,
    where: str,
    report: Report,
) -> xr.DataArray:
    """Return dry grain in Mg/ha over a box of the working CRS, NaN where unknown or not believable.

    Raises
    ------
    InputError
        As `opened_raster` and `read_onto`, and ``yield.none``, ``yield.implausible``.
    """
    with opened_raster(layer, plan, where, report) as (source, header):
        raw = read_onto(source, header, box, working, plan.farm.cell_m, where, report)
    values = dry_mg_ha(raw.to_numpy(), layer.unit, np.nan)
    if layer.unit == "bu/ac dry":
        report.add("yield.dry_bushel", f"{where}.unit", "A dry bushel was read as 56 lb of oven-dry grain.")
    wrong = (values < 0) | (values > MAX_MG_HA)
    known = values[np.isfinite(values) & (values > 0)]
    if known.size == 0:
        raise report.refuse("yield.none", where, "No cell of the raster on the farm holds a yield.")
    typical = float(np.median(known))
    if not BELIEVABLE_MG_HA[0] <= typical <= BELIEVABLE_MG_HA[1]:
        bushels = typical / MG_HA_DRY_PER_BU_ACRE
        said = (
            f"Half of the cells yield below {bushels:,.4g} bu/ac ({typical:.3g} Mg/ha dry), which no corn field does."
        )
        raise report.refuse("yield.implausible", where, said)
    if wrong.any():
        said = f"{int(wrong.sum()):,} cells lie outside 0 to {MAX_MG_HA:g} Mg/ha dry; they were taken as unknown."
        report.add("yield.raster_outlier", where, said)
        values[wrong] = np.nan
    grain = raw.copy(data=values.astype(np.float32))
    grain.attrs = {"units": "Mg/ha", "long_name": "dry corn grain"}
    if fields is not None and len(fields):
        inside = grain.rio.clip(fields.geometry, drop=True)
        share = (
            float(np.isfinite(inside).sum())
            * abs(float(np.prod(grain.rio.resolution())))
            / float(fields.geometry.area.sum())
        )
        if share < 0.95:
            report.add("yield.partial", where, f"The yield map covers about {min(share, 1):.0%} of the fields.")
    return grain.rio.write_crs(working.to_wkt())
