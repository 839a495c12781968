"""Rasters: the header is judged first, then only the ground that is needed is read, north up in the working CRS.

A finished yield map becomes dry Mg/ha; heights are in `heights`.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import rasterio
import rioxarray  # noqa: F401  registers the .rio accessor
import xarray as xr
from affine import Affine
from pyproj import CRS
from rasterio.enums import MaskFlags
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.features import geometry_mask
from rasterio.io import DatasetReader
from rasterio.warp import Resampling, reproject, transform_bounds
from rasterio.windows import Window

from stovergeo.core.messages import Catalog
from stovergeo.inputs.crs import Bounds, believed_crs, named, note_conversion
from stovergeo.inputs.harvest import DRY_BUSHEL, dry_mg_ha
from stovergeo.inputs.open_file import open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import RasterLayer, YieldRaster
from stovergeo.inputs.point_checks import check_median_yield
from stovergeo.inputs.text import clean_text

message = Catalog("stovergeo.inputs")
#: cells read at most for one layer, and what one block of a file may unpack to
MAX_CELLS: Final = 150_000_000
MAX_BLOCK_BYTES: Final = 512 * 2**20
MAX_BANDS: Final = 500
#: values that stand for "nothing measured" in files that forgot to say so
_SUSPECTS: Final = (-9999.0, -99999.0, -32768.0, -32767.0, -999.0, 9999.0, 32767.0, 65535.0)
_NEVER: Final = 1e30  # beyond any quantity of a farm: float fill values


#: where the cells of an array lie: transform and CRS as WKT
Lattice = tuple[Affine, str]


@dataclass(frozen=True, slots=True)
class Header:
    """What a raster says of itself, judged."""

    crs: CRS
    vertical_crs: CRS | None
    band: int
    band_unit: str
    nodata: float | None
    cell: float  #: larger side of a cell, in units of the CRS
    bounds: Bounds
    straight: bool  #: north up, not rotated

    def meets(self, box: Bounds) -> bool:
        """Whether the raster touches a box of its own CRS."""
        own = self.bounds
        return box[0] < own[2] and own[0] < box[2] and box[1] < own[3] and own[1] < box[3]


@contextmanager
def opened_raster(layer: RasterLayer, plan: Plan, at: Place) -> Iterator[tuple[DatasetReader, Header]]:
    """Open a raster with the one driver its signature names, and judge its header.

    Raises
    ------
    InputError
        As `open_file` and `believed_crs`, and ``file.unreadable``, ``raster.layout``, ``raster.band``,
        ``raster.too_big``.
    """
    file = open_file(layer.path, plan.folder, at)
    if file.kind != "raster":
        raise at.refuse("file.signature", f"{file.path.name} is a {file.kind}, not a raster.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # refused by its header, in our words
            source = rasterio.open(file.path, driver=file.driver)
        with source:
            yield source, _judged(source, layer, at)
    except (RasterioError, ValueError, OSError) as error:
        if hasattr(error, "problems"):
            raise
        raise at.refuse("file.unreadable", f"{file.path.name}: {clean_text(error)}.") from None


def read_onto(
    source: DatasetReader, header: Header, box: Bounds, working: CRS, cell_m: float, at: Place
) -> xr.DataArray:
    """Return one band over a box of the working CRS: float32, NaN where nothing is known.

    A north-up raster already in the working CRS is cut out cell by cell. Any other is warped
    (bilinear) onto a lattice of `cell_m`, snapped to whole cells, so that the farm's grid falls on it.

    Raises
    ------
    InputError
        ``overlay.empty``, ``raster.too_big``.
    """
    note_conversion(header.crs, header.bounds, working, at)
    if header.crs.is_geographic:
        said = f"The raster is in degrees ({named(header.crs)}); it was warped to {named(working)}, bilinear."
        at.add("dem.geographic", said)
    if not header.straight:
        at.add("raster.turned", "The raster is rotated or south up; it was warped to north up, bilinear.")
    same = header.straight and header.crs.equals(working, ignore_axis_order=True)
    here = box if same else transform_bounds(working.to_wkt(), header.crs.to_wkt(), *box)
    if not header.meets(here):
        west, south, east, north = header.bounds
        said = f"The raster (x {west:.6g} to {east:.6g}, y {south:.6g} to {north:.6g}) does not touch the farm."
        raise at.refuse("overlay.empty", said)
    part = window_around(source, here, margin=0 if same else 3)
    _check_cells(int(part.width * part.height), at)
    # suspect values are cleared before a warp can smear them into their neighbors
    values = _read_part(source, header, part, at)
    transform = source.window_transform(part)
    if not same:
        values, transform = _warped(values, (transform, header.crs.to_wkt()), box, working, cell_m, at)
    scale, offset = source.scales[header.band - 1], source.offsets[header.band - 1]
    if (scale, offset) != (1.0, 0.0):
        values = values * scale + offset
    return as_array(values, transform, working)


def as_array(values: np.ndarray, transform: Affine, crs: CRS) -> xr.DataArray:
    """Return values on a north-up grid as a DataArray with CRS."""
    rows, cols = values.shape
    x = transform.c + transform.a * (np.arange(cols) + 0.5)
    y = transform.f + transform.e * (np.arange(rows) + 0.5)
    array = xr.DataArray(values.astype(np.float32, copy=False), coords={"y": y, "x": x}, dims=("y", "x"))
    return array.rio.write_crs(crs.to_wkt()).rio.write_transform(transform)


def _judged(source: DatasetReader, layer: RasterLayer, at: Place) -> Header:
    bands = source.count
    band = layer.band or 1
    if bands > MAX_BANDS:
        raise at.refuse("raster.too_big", f"The raster has {bands:,} bands.")
    if layer.band is None and bands > 1:
        raise at.refuse("raster.band", f"The raster has {bands} bands, and the plan does not say which.")
    if band > bands:
        raise at.refuse("raster.band", f"There is no band {band}; the raster has {bands}.")
    kind = source.dtypes[band - 1]
    if kind.startswith("complex"):
        raise at.refuse("raster.layout", "The raster holds complex numbers, which are no heights or yields.")
    block = int(np.prod(source.block_shapes[band - 1])) * np.dtype(kind).itemsize
    if source.interleaving is not None and source.interleaving.value.lower() == "pixel":
        block *= bands
    if block > MAX_BLOCK_BYTES:
        said = f"{source.width:,} x {source.height:,} cells in blocks that unpack to {block / 2**30:,.1f} GB each."
        raise at.refuse("raster.too_big", said)
    shape = source.transform
    if shape == Affine.identity() or not np.isfinite(tuple(shape)).all() or shape.determinant == 0:
        raise at.refuse("raster.layout", "The raster does not say where it lies.")
    given = CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
    vertical = None if given is None else next((c for c in given.sub_crs_list if c.is_vertical), None)
    bounds = _box_through(shape, (0, 0, source.width, source.height))
    crs = believed_crs(given, layer.crs, bounds, at)
    cell = max(np.hypot(shape.a, shape.d), np.hypot(shape.b, shape.e))
    straight = shape.b == 0 and shape.d == 0 and shape.a > 0 and shape.e < 0
    return Header(
        crs, vertical, band, source.units[band - 1] or "", source.nodatavals[band - 1], float(cell), bounds, straight
    )


def _read_part(source: DatasetReader, header: Header, part: Window, at: Place) -> np.ndarray:
    """Return a window of the band, NaN where its nodata value or its mask says so, or a value looks like a gap."""
    values = source.read(header.band, window=part).astype(np.float32)
    if MaskFlags.per_dataset in source.mask_flag_enums[header.band - 1]:
        values[source.read_masks(header.band, window=part) == 0] = np.nan
    return _unknown_as_nan(values, header.nodata, at)


def _warped(
    values: np.ndarray, lattice: Lattice, box: Bounds, working: CRS, cell_m: float, at: Place
) -> tuple[np.ndarray, Affine]:
    transform, shape = lattice_over(box, cell_m, at)
    return resampled(values, lattice, shape, (transform, working.to_wkt()), Resampling.bilinear), transform


def lattice_over(box: Bounds, cell_m: float, at: Place) -> tuple[Affine, tuple[int, int]]:
    """Return the lattice of whole cells over a box, on which the farm's grid falls: transform and shape."""
    west, north = np.floor(box[0] / cell_m) * cell_m, np.ceil(box[3] / cell_m) * cell_m
    cols, rows = int(np.ceil((box[2] - west) / cell_m)), int(np.ceil((north - box[1]) / cell_m))
    _check_cells(rows * cols, at)
    return Affine(cell_m, 0, float(west), 0, -cell_m, float(north)), (rows, cols)


def resampled(
    values: np.ndarray, lattice: Lattice, shape: tuple[int, int], onto: Lattice, method: Resampling
) -> np.ndarray:
    """Return values on another lattice, NaN where nothing is known."""
    out = np.full(shape, np.nan, dtype=np.float32)
    unknown = {"src_nodata": np.nan, "dst_nodata": np.nan}
    source = {"src_transform": lattice[0], "src_crs": lattice[1]}
    reproject(values, out, dst_transform=onto[0], dst_crs=onto[1], resampling=method, **source, **unknown)
    return out


def window_around(source: DatasetReader, box: Bounds, margin: int = 3) -> Window:
    """Return the window of a raster, however turned, that covers a box of its own CRS."""
    low_col, low_row, high_col, high_row = _box_through(~source.transform, box)
    first_col, first_row = max(int(np.floor(low_col)) - margin, 0), max(int(np.floor(low_row)) - margin, 0)
    last_col = min(int(np.ceil(high_col)) + margin, source.width)
    last_row = min(int(np.ceil(high_row)) + margin, source.height)
    return Window(first_col, first_row, max(last_col - first_col, 1), max(last_row - first_row, 1))


def _box_through(shape: Affine, box: Bounds) -> Bounds:
    """Return the box around the four corners of a box, carried through an affine map."""
    x, y = np.array([box[0], box[2], box[0], box[2]]), np.array([box[1], box[1], box[3], box[3]])
    across, down = shape.a * x + shape.b * y + shape.c, shape.d * x + shape.e * y + shape.f
    return float(across.min()), float(down.min()), float(across.max()), float(down.max())


def _check_cells(cells: int, at: Place) -> None:
    if cells > MAX_CELLS:
        raise at.refuse("raster.too_big", f"The farm's part of it has {cells:,} cells; at most {MAX_CELLS:,} are read.")


def _unknown_as_nan(values: np.ndarray, nodata: float | None, at: Place) -> np.ndarray:
    """Turn coded nodata into NaN, and values that look like it, which is reported."""
    if nodata is not None and not np.isnan(nodata):
        values[values == np.float32(nodata)] = np.nan
    values[~np.isfinite(values)] = np.nan
    huge = np.abs(values) > _NEVER
    for name, hit in [(f"{v:g}", values == np.float32(v)) for v in _SUSPECTS] + [("beyond 1e30", huge)]:
        count = int(hit.sum())
        if count:
            values[hit] = np.nan
            said = f"{count:,} cells ({count / values.size:.1%}) hold {name}, not declared as nodata; taken as unknown."
            at.add("raster.nodata_suspect", said)
    return values


def known_share(array: xr.DataArray, fields: gpd.GeoDataFrame) -> float:
    """Return the ground of known cells on fields over that of the fields; over 1 where cells jut out of them."""
    transform = array.rio.transform()
    inside = geometry_mask(fields.geometry, array.shape, transform, invert=True)
    known_m2 = float(np.isfinite(array.to_numpy()[inside]).sum()) * abs(transform.a * transform.e)
    return known_m2 / float(fields.geometry.area.sum())


#: above the record of corn contests, about 39 Mg/ha (bad-inputs sheet, row 29; from memory there)
MAX_MG_HA: Final = 40.0


def read_yield_raster(
    layer: YieldRaster, plan: Plan, box: Bounds, working: CRS, fields: gpd.GeoDataFrame | None, at: Place
) -> xr.DataArray:
    """Return dry grain in Mg/ha over a box of the working CRS, NaN where unknown or not plausible.

    Raises
    ------
    InputError
        As `opened_raster` and `read_onto`, and ``yield.none``, ``yield.implausible``.
    """
    with opened_raster(layer, plan, at) as (source, header):
        raw = read_onto(source, header, box, working, plan.farm.cell_m, at)
    values = dry_mg_ha(raw.to_numpy(), layer.unit, np.nan)
    if layer.unit == "bu/ac dry":
        at.key("unit").add("yield.dry_bushel", DRY_BUSHEL)
    wrong = (values < 0) | (values > MAX_MG_HA)
    known = values[np.isfinite(values) & (values > 0)]
    if known.size == 0:
        raise at.refuse("yield.none", "No cell of the raster on the farm holds a yield.")
    check_median_yield(known, "cells", at)
    if wrong.any():
        at.add("yield.raster_outlier", message("grain.outlier", count=int(wrong.sum()), most=MAX_MG_HA))
        values[wrong] = np.nan
    grain = raw.copy(data=values.astype(np.float32))
    grain.attrs = {"units": "Mg/ha", "long_name": "dry corn grain"}
    if fields is not None and len(fields) and (share := known_share(grain, fields)) < 0.95:
        at.add("yield.partial", f"The yield map covers about {share:.0%} of the fields.")
    return grain.rio.write_crs(working.to_wkt())
