"""What stands around the fields: trees, buildings, roads, wells, water, lines; each optional, none assumed."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.units import M_PER_FT
from stovergeo.inputs.crs import to_working
from stovergeo.inputs.plan.layers import HeightLayer, Layer, Layers, NamedLayer
from stovergeo.inputs.tables import column_missing, find_column, to_numbers
from stovergeo.inputs.text import clean_column
from stovergeo.inputs.vector import Family, of_family, valid_polygons

#: layer of the plan -> what kinds of geometry it may hold
FAMILIES: Final[dict[str, set[Family]]] = {
    "property": {"polygon"},
    "trees": {"polygon", "line", "point"},
    "buildings": {"polygon", "point"},
    "dwellings": {"polygon", "point"},
    "roads": {"line", "polygon"},
    "gates": {"point", "line"},
    "wells": {"point", "polygon"},
    "water": {"line", "polygon", "point"},
    "culverts": {"line", "point"},
    "overhead_lines": {"line"},
    "yards": {"polygon", "point"},
}
message = Catalog("stovergeo.inputs")
#: layers whose lack is named, and their titles
TITLES: Final = {
    "property": "Property lines",
    "trees": "Trees",
    "buildings": "Buildings",
    "dwellings": "Dwellings",
    "roads": "Roads",
    "gates": "Gates",
    "wells": "Wells",
    "water": "Streams, ditches and tile inlets",
    "overhead_lines": "Overhead wires",
    "elevation": "Elevation",
    "soils": "Soil map",
}
#: ground a single tree, tree row or building takes where only its middle is mapped, m (judgement)
HALF_WIDTH_M: Final = {"trees": 4.0, "buildings": 5.0}
_HEIGHT_M: Final = {"m": 1.0, "ft": M_PER_FT}
#: nothing on a farm is taller (judgement; a leg elevator reaches some 60 m)
TALLEST_M: Final = 100.0
#: heights that a wrong unit explains better: taller than the trees and farm buildings of the corn lands (judgement)
UNUSUAL_M: Final = {"trees": 40.0, "buildings": 35.0}
_NAMES: Final = ("name", "label", "title", "description")


def make_surrounding(
    key: str,
    frame: gpd.GeoDataFrame,
    layer: Layer,
    region: shapely.Polygon | None,
    crs: CRS,
    where: str,
    report: Report,
) -> gpd.GeoDataFrame:
    """Return one layer of surroundings in the working CRS: `name`, `height_m` for trees and buildings, geometry.

    Raises
    ------
    InputError
        ``geom.type``, ``geom.invalid_much``, ``column.missing``, ``height.unit``, ``height.missing``.
    """
    frame = to_working(of_family(frame, FAMILIES[key], where, report), crs, where, report).reset_index(drop=True)
    wanted = layer.name_column if isinstance(layer, NamedLayer) else None
    column = find_column(frame, wanted, _NAMES, f"{where}.name_column", report)
    numbered = [f"{key.rstrip('s').replace('_', ' ')} {i + 1}" for i in range(len(frame))]
    names = clean_column(frame[column], where, report).to_list() if column else numbered
    table: dict[str, object] = {"name": [n or other for n, other in zip(names, numbered, strict=True)]}
    if isinstance(layer, HeightLayer):
        table["height_m"] = _heights(key, frame, layer, where, report)
    made = gpd.GeoDataFrame(table, geometry=_ground(key, frame, where, report), crs=crs)
    if region is None:
        return made
    near = made[made.geometry.intersects(region)].reset_index(drop=True)
    if near.empty:
        report.add("overlay.far", where, f"None of its {len(made):,} rows lies near the farm.")
    return near


def _ground(key: str, frame: gpd.GeoDataFrame, where: str, report: Report) -> np.ndarray:
    shapes = np.asarray(frame.geometry, dtype=object)
    area = np.isin(shapely.get_type_id(shapes), (3, 6))
    broken = area & ~shapely.is_valid(shapes)
    if broken.any():
        mended = valid_polygons(frame[broken], where, report, 0.0)
        shapes = shapes.copy()
        for i, shape in zip(mended.index, mended.geometry, strict=True):
            shapes[i] = shape
    if key in HALF_WIDTH_M and not area.all():
        half = HALF_WIDTH_M[key]
        shapes = np.where(area, shapes, shapely.buffer(shapes, half))
        report.add(
            "geom.widened",
            where,
            message("length.widened", count=int((~area).sum()), half=half),
        )
    return shapes


def _heights(key: str, frame: gpd.GeoDataFrame, layer: HeightLayer, where: str, report: Report) -> np.ndarray:
    if layer.height_column is None:
        if layer.height_m is None:
            raise report.refuse("height.missing", where, "Neither a height column nor one height for all is declared.")
        return np.full(len(frame), layer.height_m)
    if layer.height_column not in frame.columns:
        raise column_missing(
            layer.height_column, [str(c) for c in frame.columns if c != "geometry"], f"{where}.height_column", report
        )
    if layer.height_unit is None:
        raise report.refuse(
            "height.unit", f"{where}.height_unit", f"The unit of the column {layer.height_column!r} is not declared."
        )
    heights = (
        to_numbers(frame[layer.height_column], f"{where}, column {layer.height_column!r}", report)
        * _HEIGHT_M[layer.height_unit]
    )
    if UNUSUAL_M[key] < (tallest := float(np.max(heights, initial=0, where=np.isfinite(heights)))) <= TALLEST_M:
        report.add("height.unusual", where, message("length.tallest", height=tallest))
    wrong = ~((heights > 0) & (heights <= TALLEST_M))
    if wrong.all():
        raise report.refuse(
            "height.missing",
            where,
            message("length.no_height", column=repr(layer.height_column), tallest=TALLEST_M),
        )
    if wrong.any():
        tallest = float(heights[~wrong].max()) if layer.height_m is None else layer.height_m
        counts = {"count": int(wrong.sum()), "all": len(heights)}
        report.add("height.filled", where, message("length.filled", **counts, tallest=TALLEST_M, height=tallest))
        heights = np.where(wrong, tallest, heights)
    return heights


def not_checked(layers: Layers) -> dict[str, Message]:
    """Return what the layers that were not given leave unchecked, by the layer's title."""
    return {title: message(f"not_checked.{key}") for key, title in TITLES.items() if getattr(layers, key) is None}
