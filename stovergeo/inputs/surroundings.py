"""What stands around the fields: trees, buildings, roads, wells, water, lines; each optional, none assumed."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.crs import to_working
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import HeightLayer, Layer, Layers, NamedLayer
from stovergeo.inputs.tables import LENGTH_M, find_column, names_of, to_numbers
from stovergeo.inputs.vector import Family, of_family, valid_polygons

#: layer of the plan -> what kinds of geometry it may hold, if any, and its title, where its lack is named
_LAYERS: Final[dict[str, tuple[set[Family], str | None]]] = {
    "property": ({"polygon"}, "Property lines"),
    "trees": ({"polygon", "line", "point"}, "Trees"),
    "buildings": ({"polygon", "point"}, "Buildings"),
    "dwellings": ({"polygon", "point"}, "Dwellings"),
    "roads": ({"line", "polygon"}, "Roads"),
    "gates": ({"point", "line"}, "Gates"),
    "wells": ({"point", "polygon"}, "Wells"),
    "water": ({"line", "polygon", "point"}, "Streams, ditches and tile inlets"),
    "culverts": ({"line", "point"}, None),
    "overhead_lines": ({"line"}, "Overhead wires"),
    "yards": ({"polygon", "point"}, None),
    "elevation": (set(), "Elevation"),
    "soils": (set(), "Soil map"),
}
message = Catalog("stovergeo.inputs")
FAMILIES: Final = {key: kinds for key, (kinds, _) in _LAYERS.items() if kinds}
#: ground a single tree, tree row or building takes where only its middle is mapped, m (judgment)
HALF_WIDTH_M: Final = {"trees": 4.0, "buildings": 5.0}
#: nothing on a farm is taller (judgment; a leg elevator reaches some 60 m)
TALLEST_M: Final = 100.0
#: heights that a wrong unit explains better: taller than the trees and farm buildings of the corn lands (judgment)
UNUSUAL_M: Final = {"trees": 40.0, "buildings": 35.0}
_NAMES: Final = ("name", "label", "title", "description")


def make_surrounding(
    key: str, frame: gpd.GeoDataFrame, layer: Layer, region: shapely.Polygon | None, crs: CRS, at: Place
) -> gpd.GeoDataFrame:
    """Return one layer of surroundings in the working CRS: `name`, `height_m` for trees and buildings, geometry.

    Raises
    ------
    InputError
        ``geom.type``, ``geom.invalid_much``, ``column.missing``, ``height.unit``, ``height.missing``.
    """
    frame = to_working(of_family(frame, FAMILIES[key], at), crs, at).reset_index(drop=True)
    wanted = layer.name_column if isinstance(layer, NamedLayer | HeightLayer) else None
    table: dict[str, object] = {"name": names_of(frame, wanted, _NAMES, key.rstrip("s").replace("_", " "), at)}
    if isinstance(layer, HeightLayer):
        table["height_m"] = _heights(key, frame, layer, at)
    made = gpd.GeoDataFrame(table, geometry=_ground(key, frame, at), crs=crs)
    if region is None:
        return made
    near = made[made.geometry.intersects(region)].reset_index(drop=True)
    if near.empty:
        at.add("overlay.far", f"None of its {len(made):,} rows lies near the farm.")
    return near


def _ground(key: str, frame: gpd.GeoDataFrame, at: Place) -> np.ndarray:
    shapes = np.asarray(frame.geometry, dtype=object)
    area = np.isin(shapely.get_type_id(shapes), (3, 6))
    broken = area & ~shapely.is_valid(shapes)
    if broken.any():
        mended = valid_polygons(frame[broken], at, 0.0)
        shapes = shapes.copy()
        shapes[mended.index] = mended.geometry
    if key in HALF_WIDTH_M and not area.all():
        half = HALF_WIDTH_M[key]
        shapes = np.where(area, shapes, shapely.buffer(shapes, half))
        at.add("geom.widened", message("length.widened", count=int((~area).sum()), half=half))
    return shapes


def _heights(key: str, frame: gpd.GeoDataFrame, layer: HeightLayer, at: Place) -> np.ndarray:
    if layer.height_column is None:
        if layer.height_m is None:
            raise at.refuse("height.missing", "Neither a height column nor one height for all is declared.")
        return np.full(len(frame), layer.height_m)
    column = find_column(frame, layer.height_column, (), at.key("height_column"))
    if layer.height_unit is None:
        raise at.key("height_unit").refuse("height.unit", f"The unit of the column {column!r} is not declared.")
    heights = to_numbers(frame[column], at.column(column)) * LENGTH_M[layer.height_unit]
    if UNUSUAL_M[key] < (tallest := float(np.max(heights, initial=0, where=np.isfinite(heights)))) <= TALLEST_M:
        at.add("height.unusual", message("length.tallest", height=tallest))
    wrong = ~((heights > 0) & (heights <= TALLEST_M))
    if wrong.all():
        raise at.refuse("height.missing", message("length.no_height", column=repr(column), tallest=TALLEST_M))
    if wrong.any():
        tallest = float(heights[~wrong].max()) if layer.height_m is None else layer.height_m
        counts = {"count": int(wrong.sum()), "all": len(heights)}
        at.add("height.filled", message("length.filled", **counts, tallest=TALLEST_M, height=tallest))
        heights = np.where(wrong, tallest, heights)
    return heights


def not_checked(layers: Layers) -> dict[str, Message]:
    """Return what the layers that were not given leave unchecked, by the layer's title."""
    return {
        title: message(f"not_checked.{key}")
        for key, (_, title) in _LAYERS.items()
        if title and getattr(layers, key) is None
    }
