"""``plan.gpkg`` with a layer a result, and the two cloud-optimized GeoTIFFs; each re-opened and checked."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import rasterio.shutil
import xarray as xr
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError
from rasterio._err import CPLE_BaseError
from rasterio.errors import RasterioError
from rasterio.io import MemoryFile

from stovergeo.report.tables import layers_of, problems_table, sources_table, tables_of, with_text
from stovergeo.result import SeasonResult

#: bands of each raster, as far as the stack holds them
REMOVABLE = ("removable_mg_ha", "retention_mg_ha", "stover_mg_ha", "binding_rule", "grain_mg_ha", "grain_error_mg_ha")
SITING = (
    *("yard_score", "yard_allowed", "yard_reason", "sun_fraction", "sun_kwh_m2"),
    *("slope_pct", "ponding_m", "drainage_height_m", "wetness", "elevation_m"),
)


class NotVerifiedError(OSError):
    """A file was written but does not read back as what was written."""


@contextlib.contextmanager
def _gdal_as_os_error() -> Iterator[None]:
    """Turn what the file libraries raise when a write fails into an `OSError`."""
    try:
        yield
    except (DataSourceError, DataLayerError, FeatureError, GeometryError, RasterioError, CPLE_BaseError) as error:
        raise OSError(str(error)) from error


def gpkg_layers(result: SeasonResult) -> dict[str, pd.DataFrame]:
    """Return every layer and table of the GeoPackage by name; empty ones are left out."""
    units = result.plan.farm.units
    layers: dict[str, pd.DataFrame] = {
        **layers_of(result),
        **{f"surroundings_{name}": layer for name, layer in result.surroundings.items()},
        **({} if result.yields.points is None else {"yield_points": result.yields.points}),
        **tables_of(result),
        "not_checked": pd.DataFrame(result.not_checked.items(), columns=["what", "why"]),
        "problems": problems_table(result.problems, units),
        "sources": sources_table(result),
    }
    return {name: with_text(layer, units) for name, layer in layers.items() if len(layer)}


@_gdal_as_os_error()
def write_gpkg(result: SeasonResult, path: Path) -> None:
    """Write and verify the GeoPackage, in the working CRS."""
    layers = gpkg_layers(result)
    # the same plan gives the same bytes: the date kept inside is the season's, not the clock's
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{result.plan.farm.season}-01-01T00:00:00.000Z"})
    try:
        _write_layers(layers, path)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    for name, layer in layers.items():
        found = pyogrio.read_info(path, layer=name, force_feature_count=True)["features"]
        if found != len(layer):
            raise NotVerifiedError(f"{path.name}, layer {name}: {found} rows read back, {len(layer)} written")


def _write_layers(layers: dict[str, pd.DataFrame], path: Path) -> None:
    for number, (name, layer) in enumerate(layers.items()):
        if isinstance(layer, gpd.GeoDataFrame):
            layer = layer.reset_index(drop=True)
            layer = layer.set_geometry(layer.geometry.make_valid() if name != "yield_points" else layer.geometry)
        # GeoPackage 1.3 is what older desktop programs open without complaint
        created = {} if number else {"VERSION": "1.3"}
        pyogrio.write_dataframe(
            _storable(layer), path, layer=name, driver="GPKG", append=number > 0, dataset_options=created
        )


def _storable(layer: pd.DataFrame) -> pd.DataFrame:
    """Return a copy whose columns a GeoPackage can hold: lists and the like become text."""
    kept = layer.reset_index(drop=True).copy()
    geometry = kept.geometry.name if isinstance(kept, gpd.GeoDataFrame) else None
    # GeoPackage keeps its own row number as "fid", and takes Name and name for one
    names: dict[str, str] = {}
    for column in map(str, kept.columns):
        name, again = (f"{column}_given" if column.lower() == "fid" else column), 2
        while name.lower() in {n.lower() for n in names.values()}:
            name, again = f"{column}_{again}", again + 1
        names[column] = name
    kept = kept.rename(columns={c: n for c, n in names.items() if c != geometry})
    for column in kept.columns:
        if column != geometry and kept[column].dtype == object:
            kept[column] = kept[column].map(
                lambda v: v if v is None or isinstance(v, str | bool | int | float) else str(v)
            )
    return kept


@_gdal_as_os_error()
def write_cog(stack: xr.Dataset, names: tuple[str, ...], path: Path) -> None:
    """Write the named variables, as far as the stack holds them, as bands of a cloud-optimized GeoTIFF.

    Each band carries its name and unit; the words behind numbered reasons and rules stand in its tags.
    """
    bands = [name for name in names if name in stack]
    data = np.stack([stack[name].to_numpy() for name in bands]).astype(np.float32)
    profile = dict(zip(("count", "height", "width"), data.shape, strict=True)) | {
        "driver": "GTiff", "dtype": "float32", "nodata": np.nan,
        "crs": stack.rio.crs, "transform": stack.rio.transform(),
    }  # fmt: skip
    with MemoryFile() as memory:
        with memory.open(**profile) as plain:
            plain.write(data)
            for number, name in enumerate(bands, start=1):
                plain.set_band_description(number, name)
                plain.update_tags(number, **_tags(stack[name]))
            plain.units = tuple(str(stack[name].attrs.get("units", "")) for name in bands)
        with memory.open() as plain:
            how = {"driver": "COG", "COMPRESS": "DEFLATE", "PREDICTOR": "YES", "BLOCKSIZE": 256}
            # numbered bands must not be averaged, and the bytes be the same whatever the machine
            rasterio.shutil.copy(plain, path, **how, OVERVIEW_RESAMPLING="NEAREST", NUM_THREADS="1")
    with rasterio.open(path, driver="GTiff") as written:
        back = written.read()
        named = written.descriptions == tuple(bands)
    if not named or not np.array_equal(back, data, equal_nan=True):
        raise NotVerifiedError(f"{path.name}: the bands read back differ from those written")


def _tags(band: xr.DataArray) -> dict[str, str]:
    tags = {"long_name": str(band.attrs.get("long_name", ""))}
    for words in ("rules", "reasons"):
        if words in band.attrs:
            tags.update({f"{words}_{k}": str(text) for k, text in enumerate(band.attrs[words])})
    return tags
