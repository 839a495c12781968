"""Elevation and surface as heights in meters, from one raster or from tiles."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import xarray as xr
from pyproj import CRS
from rasterio.warp import Resampling, transform_bounds

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.core.units import M2_PER_HA
from stovergeo.inputs.crs import Bounds
from stovergeo.inputs.open_file import local_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import ElevationLayer, ElevationTile, RasterLayer
from stovergeo.inputs.rasters import (
    MAX_CELLS,
    Header,
    as_array,
    known_share,
    lattice_over,
    opened_raster,
    read_onto,
    resampled,
    window_around,
)
from stovergeo.inputs.tables import LENGTH_M
from stovergeo.inputs.text import shown

message = Catalog("stovergeo.inputs")
MAX_TILES: Final = 400
#: US survey foot, exact by definition: 1200/3937 m (Mendenhall order 1893; kept for surveys, retired 2022)
M_PER_US_FT: Final = 1200 / 3937
_METRES: Final = LENGTH_M | {"us-ft": M_PER_US_FT}
_SPELLED: Final = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "foot (international)", "ift"),
    "us-ft": ("us-ft", "us survey foot", "us survey feet", "us_survey_foot", "ussurveyfoot", "ftus", "usft", "foot_us",
              "survey foot"),
}  # fmt: skip
#: lowest and highest dry ground on Earth, m (Dead Sea shore, Everest)
LOWEST_M: Final = -450.0
HIGHEST_M: Final = 8850.0
#: fewer cells on a field than this say nothing of its slope (bad-inputs sheet, row 12)
MIN_CELLS: Final = 9
MIN_COVER: Final = 0.5


def read_heights(
    layer: ElevationLayer, plan: Plan, box: Bounds, working: CRS, fields: gpd.GeoDataFrame | None, at: Place
) -> xr.DataArray:
    """Return heights in meters over a box of the working CRS, NaN where unknown.

    Raises
    ------
    InputError
        As `opened_raster` and `read_onto`, and ``dem.z_unit``, ``dem.partial_max``.
    """
    tiles = tiles_of(layer, plan, at)
    found = [tile for path in tiles if (tile := _heights_of(path, plan, box, working, at, lone=len(tiles) == 1))]
    if not found:
        raise at.refuse("overlay.empty", f"None of its {len(tiles)} tiles touches the farm.")
    heights, header = found[0] if len(tiles) == 1 else _merged(found, box, working, plan.farm.cell_m, at)
    heights.attrs = {"units": "m", "long_name": "height", "source_cell": header.cell}
    if fields is not None and len(fields):
        _check_cover(heights, header, fields, layer.allow_partial, at)
    return heights


def _heights_of(
    layer: RasterLayer, plan: Plan, box: Bounds, working: CRS, at: Place, *, lone: bool
) -> tuple[xr.DataArray, Header] | None:
    """Return the heights of one raster in meters; None for one of several tiles that does not touch the box."""
    declared = layer.vertical_unit if isinstance(layer, ElevationTile) else None
    with opened_raster(layer, plan, at) as (source, header):
        if not lone and not header.meets(transform_bounds(working.to_wkt(), header.crs.to_wkt(), *box)):
            return None
        unit = height_unit(header, declared, at)
        heights = read_onto(source, header, box, working, plan.farm.cell_m, at)
    known = heights.to_numpy()[np.isfinite(heights.to_numpy())]
    if known.size and (known == np.round(known)).all():
        at.add("dem.steps", f"All {known.size:,} heights are whole numbers ({unit}).")
    heights = (heights * np.float32(_METRES[unit])).rio.write_crs(working.to_wkt())
    return _plausible(heights, at), header


def _merged(
    tiles: list[tuple[xr.DataArray, Header]], box: Bounds, working: CRS, cell_m: float, at: Place
) -> tuple[xr.DataArray, Header]:
    """Return tiles on one lattice of the farm's cells, the first known height of each; and the coarsest header."""
    transform, shape = lattice_over(box, cell_m, at)
    whole = np.full(shape, np.nan, np.float32)
    for heights, _ in tiles:
        own = heights.rio.transform(), working.to_wkt()
        placed = resampled(heights.to_numpy(), own, shape, (transform, working.to_wkt()), Resampling.bilinear)
        whole = np.where(np.isfinite(whole), whole, placed)
    return as_array(whole, transform, working), max((header for _, header in tiles), key=_side_m)


def _side_m(header: Header) -> float:
    """Return the side of a cell, m."""
    return header.cell * (111_320.0 if header.crs.is_geographic else header.crs.axis_info[0].unit_conversion_factor)


def check_header(layer: RasterLayer | ElevationLayer, plan: Plan, at: Place) -> None:
    """Judge a raster by its header alone: what it is, where it lies, and the unit of its heights.

    Raises
    ------
    InputError
        As `opened_raster`, and ``dem.z_unit``.
    """
    for tile in tiles_of(layer, plan, at):
        with opened_raster(tile, plan, at) as (_, header):
            if isinstance(tile, ElevationTile):
                height_unit(header, tile.vertical_unit, at)


def height_unit(header: Header, declared: str | None, at: Place) -> str:
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
            said = f"The file gives heights in {read}, the plan in {declared}; the plan is followed."
            at.add("dem.z_unit_differs", said)
        return declared
    if read is None:
        found = f"The file gives the unit of heights as {shown(said)}, which is not known."
        nothing = "Nothing says in which unit the heights are."
        raise at.key("vertical_unit").refuse("dem.z_unit", found if said else nothing)
    return read


def _plausible(heights: xr.DataArray, at: Place) -> xr.DataArray:
    values = heights.to_numpy()
    wrong = (values < LOWEST_M) | (values > HIGHEST_M)
    # a sheet of exact zeros beside real heights is a gap nobody marked, and would stand as a cliff
    known = values[np.isfinite(values) & (values != 0)]
    zeros = values == 0
    if known.size and zeros.any() and abs(float(np.median(known))) > 30 and float(np.min(np.abs(known))) > 5:
        wrong |= zeros
    if wrong.any():
        low, high = float(values[wrong].min()), float(values[wrong].max())
        at.add("raster.nodata_suspect", message("length.not_ground", count=int(wrong.sum()), low=low, high=high))
        heights = heights.where(~wrong)
    return heights


def _check_cover(heights: xr.DataArray, header: Header, fields: gpd.GeoDataFrame, allowed: bool, at: Place) -> None:
    share = min(known_share(heights, fields), 1.0)
    wanted_ha = float(fields.geometry.area.sum()) / M2_PER_HA
    said = message("area.without_heights", share=share, area=wanted_ha * (1 - share))
    if share < MIN_COVER and not allowed:
        raise at.refuse("dem.partial_max", said)
    if share < 0.995:
        at.add("dem.partial", said)
    side = _side_m(header)
    if float(fields.geometry.area.min()) < MIN_CELLS * side**2:
        at.add("dem.coarse", message("length.coarse", side=float(side), least=MIN_CELLS))


def tiles_of(layer: RasterLayer | ElevationLayer, plan: Plan, at: Place) -> list[RasterLayer]:
    """Return the rasters of a layer: one, those of a list, or the .tif files of a folder in the order of their names.

    Raises
    ------
    InputError
        ``raster.no_tiles``, ``raster.too_many_tiles``, and as `local_file`.
    """
    if isinstance(layer, RasterLayer):
        return [layer]
    paths: tuple[str, ...] = (layer.path,) if isinstance(layer.path, str) else layer.path
    if isinstance(layer.path, str):
        folder = local_file(layer.path, plan.folder, at.where, at.report, folders=True)
        if folder.is_dir():
            names = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in (".tif", ".tiff"))
            if not names:
                raise at.refuse("raster.no_tiles", f"The folder {folder.name} holds no .tif file.")
            paths = tuple(str(Path(layer.path) / name) for name in names)
    if len(paths) > MAX_TILES:
        raise at.refuse("raster.too_many_tiles", f"It has {len(paths):,} tiles; at most {MAX_TILES} are read.")
    return [layer.tile(path) for path in paths]


def cells_to_read(layer: RasterLayer | ElevationLayer, plan: Plan, box: Bounds, working: CRS) -> int:
    """Return how many cells `read_onto` will hold for a layer; 0 where it will be refused anyway."""
    nowhere = Place("", Report())  # its reader says what is wrong, with the place
    try:
        return sum(_cells_of(tile, plan, box, working, nowhere) for tile in tiles_of(layer, plan, nowhere))
    except InputError:
        return 0


def _cells_of(layer: RasterLayer, plan: Plan, box: Bounds, working: CRS, at: Place) -> int:
    try:
        with opened_raster(layer, plan, at) as (source, header):
            here = transform_bounds(working.to_wkt(), header.crs.to_wkt(), *box)
            if not header.meets(here):
                return 0
            part = window_around(source, here, margin=0)
            read = int(part.width * part.height)
            if read > MAX_CELLS:
                return 0
            if header.straight and header.crs.equals(working, ignore_axis_order=True):
                return read
            return read + int((box[2] - box[0]) * (box[3] - box[1]) / plan.farm.cell_m**2)
    except InputError:
        return 0
