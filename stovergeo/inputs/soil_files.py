"""Soil polygons from the files of a layer, their map units joined with the soil survey's tables.

They come as plain polygons, a survey download, a survey database or file geodatabase, or a raster of map-unit keys.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from rasterio.features import shapes as raster_shapes
from rasterio.warp import transform_bounds

from stovergeo.inputs import geodatabase
from stovergeo.inputs.crs import Bounds, to_working
from stovergeo.inputs.database import table_names
from stovergeo.inputs.idle_keys import kind_of, report_idle_keys
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import RasterLayer, SoilsLayer
from stovergeo.inputs.rasters import opened_raster, window_around
from stovergeo.inputs.soil_survey import SurveyTables, map_units, plain_key
from stovergeo.inputs.soil_units import with_declared
from stovergeo.inputs.soils import survey_column
from stovergeo.inputs.vector import Near, of_family, placed, read_frame, valid_polygons

#: layer of map-unit polygons in a survey database, and its key
POLYGON_LAYER: Final = "mupolygon"
KEY: Final = "mukey"
_NO_SOILS: Final = {"OSM": "an OpenStreetMap extract", "GPX": "a receiver's GPX file"}
_MAX_RASTER_CELLS: Final = 4_000_000


def read_soil_polygons(layer: SoilsLayer, plan: Plan, region: shapely.Polygon, crs: CRS, at: Place) -> gpd.GeoDataFrame:
    """Return soil polygons that touch a region, in the working CRS, with survey attributes as columns.

    Where the polygons carry only the key of a map unit and the survey's tables are at hand (in the same
    download or database, or named by `tables`), the attributes are worked out from the components.

    Raises
    ------
    InputError
        As the readers below, and ``soil.tables``, ``soil.layout``, ``soil.folder``, ``overlay.empty``.
    """
    opened = open_file(layer.path, plan.folder, at, folders=True, layer=layer.layer)
    if opened.driver in ("OSM", "GPX"):
        raise at.refuse("file.signature", f"{opened.path.name} is {_NO_SOILS[opened.driver]}, which holds no soils.")
    report_idle_keys(layer, [(kind_of(opened), layer)], at, opened.heeded)
    tables = _tables(layer, opened, plan, at)
    if opened.kind == "raster":
        polygons = _from_raster(layer, plan, region, crs, at)
    else:
        files, name = _polygon_files(opened, layer, at)
        # a survey covers a county or a state: only the ground around the farm is read, where the file can be trusted
        near = None if layer.crs is not None or layer.swap_xy else (region.bounds, crs)
        frames = [f for file in files if len(f := _with_geometry(file, name, at, near)) or near is None]
        if not frames:
            raise at.refuse("overlay.empty", "No soil polygon touches the farm.")
        flat = [of_family(placed(f, layer, at), {"polygon"}, at) for f in frames]
        polygons = pd.concat([to_working(valid_polygons(f, at, 0.0), crs, at) for f in flat], ignore_index=True)
    near = polygons[polygons.geometry.intersects(region)].reset_index(drop=True)
    if near.empty:
        raise at.refuse("overlay.empty", "No soil polygon touches the farm.")
    near = with_declared(near, layer, tables is not None, at)
    return near if tables is None else _joined(near, tables, at)


def _tables(layer: SoilsLayer, opened: OpenFile, plan: Plan, at: Place) -> SurveyTables | None:
    if layer.tables is not None:
        at = at.key("tables")
        opened = open_file(layer.tables, plan.folder, at, folders=True)
    if opened.kind == "folder":
        plain = opened.path if (opened.path / "comp.txt").exists() else None
        folder = _folder(opened.path, "tabular") or plain
        if folder is None:
            raise at.refuse("soil.folder", f"The folder {opened.path.name} holds no folder `tabular`.")
        return SurveyTables(folder, "text", opened.held)
    if opened.driver in ("GPKG", "SQLite"):
        if {"component", "mapunit"} <= table_names(opened.path):
            return SurveyTables(opened.path, "SQLite", opened.held)
        if layer.tables is not None:
            raise at.refuse("soil.tables", f"{opened.path.name} holds no tables component and mapunit.")
    elif opened.driver == geodatabase.DRIVER:
        if {"component", "mapunit"} <= set(geodatabase.layer_names(opened.path, at)):
            return SurveyTables(opened.path, opened.driver, opened.held)
        if layer.layer is None or layer.tables is not None:
            raise at.refuse("soil.tables", f"{opened.path.name} holds no tables component and mapunit.")
    elif layer.tables is not None:
        raise at.refuse("soil.tables", f"{opened.path.name} is neither a survey download nor its database.")
    return None


def _polygon_files(opened: OpenFile, layer: SoilsLayer, at: Place) -> tuple[list[OpenFile], str | None]:
    if opened.kind == "folder":
        spatial = _folder(opened.path, "spatial") or opened.path
        paths = sorted(p for p in spatial.iterdir() if re.fullmatch(r"soilmu_a.*\.shp", p.name, re.I | re.S))
        if not paths:
            raise at.refuse("soil.folder", f"The folder {opened.path.name} holds no soilmu_a_*.shp.")
        return [open_file(p.name, spatial, at) for p in paths], layer.layer
    if opened.kind == "database":
        opened = replace(opened, kind="vector")
    if opened.driver == geodatabase.DRIVER and layer.layer is None:
        name = geodatabase.layer_names(opened.path, at).get(POLYGON_LAYER)
        if name is None:
            raise at.refuse("soil.tables", f"{opened.path.name} holds no map unit polygons (MUPOLYGON).")
        return [opened], name
    survey = opened.driver in ("GPKG", "SQLite") and POLYGON_LAYER in table_names(opened.path)
    return [opened], layer.layer or (POLYGON_LAYER if survey else None)


def _with_geometry(opened: OpenFile, name: str | None, at: Place, near: Near | None) -> gpd.GeoDataFrame:
    frame = read_frame(opened, name, at, near)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise at.refuse("geom.type", f"{opened.path.name} holds no polygons; soils need them.")
    return frame


def _folder(path: Path, name: str) -> Path | None:
    """Return a folder by name, in a download or one below it, whatever the case of its letters."""
    if path.name.lower() == name:
        return path
    for level in (path, *sorted(p for p in path.iterdir() if p.is_dir() and not p.is_symlink())):
        for below in sorted(p for p in level.iterdir() if p.is_dir()):
            if below.name.lower() == name:
                return below
    return None


def _from_raster(layer: SoilsLayer, plan: Plan, region: shapely.Polygon, crs: CRS, at: Place) -> gpd.GeoDataFrame:
    """Return polygons of equal map-unit key from a raster whose cell values are keys."""
    as_raster = RasterLayer(path=layer.path, crs=layer.crs, band=layer.band)
    with opened_raster(as_raster, plan, at) as (source, header):
        box: Bounds = transform_bounds(crs.to_wkt(), header.crs.to_wkt(), *region.bounds)
        part = window_around(source, box)
        if not header.meets(box):
            raise at.refuse("overlay.empty", "No soil cell touches the farm.")
        if part.width * part.height > _MAX_RASTER_CELLS:
            raise at.refuse("raster.too_big", f"The farm's part of it has {part.width * part.height:,} cells.")
        values = source.read(header.band, window=part)
        empty = 0 if header.nodata is None else header.nodata
        if not np.issubdtype(values.dtype, np.integer):
            raise at.refuse("raster.layout", "The cells hold no whole numbers, as keys of map units are.")
        # shapes() takes no 32-bit unsigned numbers: keys stand by their place among those that occur
        keys, places = np.unique(values, return_inverse=True)
        numbered = places.reshape(values.shape).astype(np.int32)
        found = [
            (shapely.geometry.shape(shape), keys[int(value)])
            for shape, value in raster_shapes(numbered, mask=values != empty, transform=source.window_transform(part))
        ]
    frame = gpd.GeoDataFrame({KEY: [str(int(k)) for _, k in found]}, geometry=[s for s, _ in found], crs=header.crs)
    return to_working(frame, crs, at)


def _joined(polygons: gpd.GeoDataFrame, tables: SurveyTables, at: Place) -> gpd.GeoDataFrame:
    column = survey_column(polygons, KEY)
    if column is None:
        raise at.refuse("soil.tables", "The polygons have no column MUKEY to find their map unit by.")
    keys = polygons[column].map(plain_key)
    units = map_units(tables.read(sorted(set(keys.dropna())), at))
    lacking = sorted(set(keys.dropna()) - set(units.index))
    if lacking:
        at.add("soil.unjoined", f"{len(lacking)} map units have no row in the tables, such as {lacking[0]}.")
    own = polygons[["geometry"]].assign(mukey=keys)
    return own.merge(units.rename_axis(KEY).reset_index(), on=KEY, how="left", validate="many_to_one")
