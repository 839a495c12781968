"""Where soils come from: plain polygons, a survey download, a survey database, or a raster of map-unit keys."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from rasterio.features import shapes as raster_shapes
from rasterio.warp import transform_bounds
from rasterio.windows import Window

from stovergeo.core.errors import Report
from stovergeo.inputs.crs import Bounds, to_working
from stovergeo.inputs.database import table_names
from stovergeo.inputs.map_units import map_units
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import RasterLayer, SoilsLayer
from stovergeo.inputs.rasters import opened_raster, window_around
from stovergeo.inputs.shapes import of_family, valid_polygons
from stovergeo.inputs.soils import survey_column
from stovergeo.inputs.survey_tables import SurveyTables, plain_key
from stovergeo.inputs.vector import Near, placed, read_frame

#: layer of map-unit polygons in a survey database, and its key
POLYGON_LAYER: Final = "mupolygon"
KEY: Final = "mukey"
_MAX_RASTER_CELLS: Final = 4_000_000


def read_soil_polygons(
    layer: SoilsLayer, plan: Plan, region: shapely.Polygon, crs: CRS, where: str, report: Report
) -> gpd.GeoDataFrame:
    """Return soil polygons that touch a region, in the working CRS, with survey attributes as columns.

    Where the polygons carry only the key of a map unit and the survey's tables are at hand (in the same
    download or database, or named by `tables`), the attributes are worked out from the components.

    Raises
    ------
    InputError
        As the readers below, and ``soil.tables``, ``soil.layout``, ``soil.folder``, ``overlay.empty``.
    """
    opened = open_file(layer.path, plan.folder, where, report, folders=True)
    tables = _tables(layer, opened, plan, where, report)
    if opened.kind == "raster":
        polygons = _from_raster(layer, plan, region, crs, where, report)
    else:
        files, name = _polygon_files(opened, layer, where, report)
        # a survey covers a county or a state: only the ground around the farm is read, where the file can be trusted
        near = None if layer.crs is not None or layer.swap_xy else (region.bounds, crs)
        frames = [_with_geometry(f, name, where, report, near) for f in files]
        frames = [f for f in frames if len(f)] if near is not None else frames
        if not frames:
            raise report.refuse("overlay.empty", where, "No soil polygon touches the farm.")
        read = [placed(f, layer, where, report) for f in frames]
        sound = [valid_polygons(of_family(f, {"polygon"}, where, report), where, report, 0.0) for f in read]
        polygons = pd.concat([to_working(f, crs, where, report) for f in sound], ignore_index=True)
    near = polygons[polygons.geometry.intersects(region)].reset_index(drop=True)
    if near.empty:
        raise report.refuse("overlay.empty", where, "No soil polygon touches the farm.")
    return near if tables is None else _joined(near, tables, where, report)


def _tables(layer: SoilsLayer, opened: OpenFile, plan: Plan, where: str, report: Report) -> SurveyTables | None:
    place = where
    if layer.tables is not None:
        place = f"{where}.tables"
        opened = open_file(layer.tables, plan.folder, place, report, folders=True)
    if opened.kind == "folder":
        folder = _folder(opened.path, "tabular")
        if folder is None and any(opened.path.glob("comp.txt")):
            folder = opened.path
        if folder is None:
            raise report.refuse("soil.folder", place, f"The folder {opened.path.name} holds no folder `tabular`.")
        return SurveyTables(folder, database=False)
    if opened.driver in ("GPKG", "SQLite"):
        names = table_names(opened.path)
        if {"component", "mapunit"} <= names:
            return SurveyTables(opened.path, database=True)
        if layer.tables is not None:
            raise report.refuse("soil.tables", place, f"{opened.path.name} holds no tables component and mapunit.")
    elif layer.tables is not None:
        raise report.refuse("soil.tables", place, f"{opened.path.name} is neither a survey download nor its database.")
    return None


def _polygon_files(
    opened: OpenFile, layer: SoilsLayer, where: str, report: Report
) -> tuple[list[OpenFile], str | None]:
    if opened.kind == "folder":
        spatial = _folder(opened.path, "spatial") or opened.path
        paths = sorted(
            p for p in spatial.iterdir() if p.suffix.lower() == ".shp" and p.name.lower().startswith("soilmu_a")
        )
        if not paths:
            raise report.refuse("soil.folder", where, f"The folder {opened.path.name} holds no soilmu_a_*.shp.")
        return [open_file(p.name, spatial, where, report) for p in paths], layer.layer
    if opened.kind == "database":
        opened = OpenFile(opened.path, "vector", opened.driver)
    survey = opened.driver in ("GPKG", "SQLite") and POLYGON_LAYER in table_names(opened.path)
    return [opened], layer.layer or (POLYGON_LAYER if survey else None)


def _with_geometry(
    opened: OpenFile, name: str | None, where: str, report: Report, near: Near | None
) -> gpd.GeoDataFrame:
    frame = read_frame(opened, name, where, report, near)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise report.refuse("geom.type", where, f"{opened.path.name} holds no polygons; soils need them.")
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


def _from_raster(
    layer: SoilsLayer, plan: Plan, region: shapely.Polygon, crs: CRS, where: str, report: Report
) -> gpd.GeoDataFrame:
    """Return polygons of equal map-unit key from a raster whose cell values are keys."""
    as_raster = RasterLayer(path=layer.path, crs=layer.crs, band=layer.band)
    with opened_raster(as_raster, plan, where, report) as (source, header):
        west, south, east, north = region.bounds
        box: Bounds = transform_bounds(crs.to_wkt(), header.crs.to_wkt(), west, south, east, north)
        part: Window = window_around(source, box)
        if not header.meets(box):
            raise report.refuse("overlay.empty", where, "No soil cell touches the farm.")
        if part.width * part.height > _MAX_RASTER_CELLS:
            raise report.refuse(
                "raster.too_big", where, f"The farm's part of it has {part.width * part.height:,} cells."
            )
        values = source.read(header.band, window=part)
        empty = 0 if header.nodata is None else header.nodata
        if not np.issubdtype(values.dtype, np.integer):
            raise report.refuse("raster.layout", where, "The cells hold no whole numbers, as keys of map units are.")
        # shapes() takes no 32-bit unsigned numbers: keys stand by their place among those that occur
        keys, places = np.unique(values, return_inverse=True)
        numbered = places.reshape(values.shape).astype(np.int32)
        found = [
            (shapely.geometry.shape(shape), keys[int(value)])
            for shape, value in raster_shapes(numbered, mask=values != empty, transform=source.window_transform(part))
        ]
    frame = gpd.GeoDataFrame({KEY: [str(int(k)) for _, k in found]}, geometry=[s for s, _ in found], crs=header.crs)
    return to_working(frame, crs, where, report)


def _joined(polygons: gpd.GeoDataFrame, tables: SurveyTables, where: str, report: Report) -> gpd.GeoDataFrame:
    column = survey_column(polygons, KEY)
    if column is None:
        raise report.refuse("soil.tables", where, "The polygons have no column MUKEY to find their map unit by.")
    keys = polygons[column].map(plain_key)
    units = map_units(tables.read(sorted(set(keys.dropna())), where, report))
    lacking = sorted(set(keys.dropna()) - set(units.index))
    if lacking:
        report.add("soil.unjoined", where, f"{len(lacking)} map units have no row in the tables, such as {lacking[0]}.")
    own = polygons[["geometry"]].assign(mukey=keys)
    return own.merge(units.rename_axis(KEY).reset_index(), on=KEY, how="left", validate="many_to_one")
