"""Elevation and surface rasters: heights in metres, and how much of the fields they cover."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import xarray as xr
from pyproj import CRS
from rasterio.features import rasterize

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.core.units import M_PER_FT
from stovergeo.inputs.crs import Bounds
from stovergeo.inputs.open_file import shown
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import ElevationLayer, RasterLayer
from stovergeo.inputs.rasters import Header, opened_raster, read_onto

message = Catalog("stovergeo.inputs")
#: US survey foot, exact by definition: 1200/3937 m (Mendenhall order 1893; kept for surveys, retired 2022)
M_PER_US_FT: Final = 1200 / 3937
_METRES: Final = {"m": 1.0, "ft": M_PER_FT, "us-ft": M_PER_US_FT}
_SPELLED: Final = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "foot (international)", "ift"),
    "us-ft": (
        "us-ft",
        "us survey foot",
        "us survey feet",
        "us_survey_foot",
        "ussurveyfoot",
        "ftus",
        "usft",
        "foot_us",
        "survey foot",
    ),
}
#: lowest and highest dry ground on Earth, m (Dead Sea shore, Everest)
LOWEST_M: Final = -450.0
HIGHEST_M: Final = 8850.0
#: fewer cells on a field than this say nothing of its slope (bad-inputs sheet, row 12)
MIN_CELLS: Final = 9
MIN_COVER: Final = 0.5


def read_heights(
    layer: ElevationLayer,
    plan: Plan,
    box: Bounds,
    working: CRS,
    fields: gpd.GeoDataFrame | None,
    where: str,
    report: Report,
) -> xr.DataArray:
    """Return heights in metres over a box of the working CRS, NaN where unknown.

    Raises
    ------
    InputError
        As `opened_raster` and `read_onto`, and ``dem.z_unit``, ``dem.partial_max``.
    """
    with opened_raster(layer, plan, where, report) as (source, header):
        unit = height_unit(header, layer.vertical_unit, where, report)
        heights = read_onto(source, header, box, working, plan.farm.cell_m, where, report)
    known = heights.to_numpy()[np.isfinite(heights.to_numpy())]
    if known.size and (known == np.round(known)).all():
        report.add("dem.steps", where, f"All {known.size:,} heights are whole numbers ({unit}).")
    heights = (heights * np.float32(_METRES[unit])).rio.write_crs(working.to_wkt())
    heights = _plausible(heights, where, report)
    heights.attrs = {"units": "m", "long_name": "height", "source_cell": header.cell}
    if fields is not None and len(fields):
        _check_cover(heights, header, fields, layer.allow_partial, where, report)
    return heights


def check_header(layer: RasterLayer, plan: Plan, where: str, report: Report) -> None:
    """Judge a raster by its header alone: what it is, where it lies, and the unit of its heights.

    Raises
    ------
    InputError
        As `opened_raster`, and ``dem.z_unit``.
    """
    with opened_raster(layer, plan, where, report) as (_, header):
        if isinstance(layer, ElevationLayer):
            height_unit(header, layer.vertical_unit, where, report)


def height_unit(header: Header, declared: str | None, where: str, report: Report) -> str:
    """Return the unit of heights: as declared, else as the band or the vertical CRS says.

    Raises
    ------
    InputError
        ``dem.z_unit`` when nobody says it.
    """
    said = header.band_unit.strip()
    if not said and header.vertical_crs is not None:
        said = header.vertical_crs.axis_info[0].unit_name
    read = next((unit for unit, names in _SPELLED.items() if said.lower() in names), None)
    if declared is not None:
        if read is not None and read != declared:
            report.add(
                "dem.z_unit_differs",
                where,
                f"The file gives heights in {read}, the plan in {declared}; the plan is followed.",
            )
        return declared
    if read is None:
        found = (
            f"The file gives the unit of heights as {shown(said)}, which is not known."
            if said
            else "Nothing says in which unit the heights are."
        )
        raise report.refuse("dem.z_unit", f"{where}.vertical_unit", found)
    return read


def _plausible(heights: xr.DataArray, where: str, report: Report) -> xr.DataArray:
    values = heights.to_numpy()
    wrong = (values < LOWEST_M) | (values > HIGHEST_M)
    # a sheet of exact zeros beside real heights is a gap nobody marked, and would stand as a cliff
    known = values[np.isfinite(values) & (values != 0)]
    zeros = values == 0
    if known.size and zeros.any() and abs(float(np.median(known))) > 30 and float(np.min(np.abs(known))) > 5:
        wrong |= zeros
    if wrong.any():
        low, high = float(values[wrong].min()), float(values[wrong].max())
        said = message("length.not_ground", count=int(wrong.sum()), low=low, high=high)
        report.add("raster.nodata_suspect", where, said)
        heights = heights.where(~wrong)
    return heights


def _check_cover(
    heights: xr.DataArray, header: Header, fields: gpd.GeoDataFrame, allowed: bool, where: str, report: Report
) -> None:
    transform = heights.rio.transform()
    cell_ha = abs(transform.a * transform.e) / 1e4
    inside = rasterize(
        list(fields.geometry), out_shape=heights.shape, transform=transform, fill=0, default_value=1, dtype="uint8"
    )
    known_ha = float(np.isfinite(heights.to_numpy()[inside == 1]).sum()) * cell_ha
    wanted_ha = float(fields.geometry.area.sum()) / 1e4
    share = min(known_ha / wanted_ha, 1.0)
    said = message("area.without_heights", share=share, area=max(wanted_ha - known_ha, 0.0))
    if share < MIN_COVER and not allowed:
        raise report.refuse("dem.partial_max", where, said)
    if share < 0.995:
        report.add("dem.partial", where, said)
    side = header.cell * (111_320.0 if header.crs.is_geographic else header.crs.axis_info[0].unit_conversion_factor)
    if float(fields.geometry.area.min()) < MIN_CELLS * side**2:
        report.add("dem.coarse", where, message("length.coarse", side=float(side), least=MIN_CELLS))
