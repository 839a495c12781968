"""Field boundaries: each a sound outline with a true area, no ground counted twice."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.inputs.columns import find_column
from stovergeo.inputs.crs import geodesic_ha, to_working
from stovergeo.inputs.plan.layers import FieldsLayer
from stovergeo.inputs.shapes import SLIVER_HA, of_family, valid_polygons
from stovergeo.inputs.text import clean_column

message = Catalog("stovergeo.inputs")
#: outlines beyond this are more likely a wrong unit or a whole farm (bad-inputs sheet, row 26; judgement)
SMALL_HA: Final = 0.1
LARGE_HA: Final = 5000.0
_YES: Final = ("1", "1.0", "yes", "y", "true")
_NAMES: Final = ("name", "field_name", "fieldname", "field", "label", "title")


def make_fields(frame: gpd.GeoDataFrame, layer: FieldsLayer, crs: CRS, where: str, report: Report) -> gpd.GeoDataFrame:
    """Return the FIELDS table in the working CRS from rows as read.

    Raises
    ------
    InputError
        ``geom.type``, ``geom.invalid_much``, ``layer.empty``, ``column.missing``.
    """
    frame = valid_polygons(of_family(frame, {"polygon"}, where, report), where, report)
    frame = to_working(frame, crs, where, report)
    frame = _counted_once(frame.reset_index(drop=True), where, report)
    column = find_column(frame, layer.name_column, _NAMES, f"{where}.name_column", report)
    numbered = [f"Field {i + 1}" for i in range(len(frame))]
    names = clean_column(frame[column], where, report).to_list() if column else numbered
    area = geodesic_ha(frame)
    fields = gpd.GeoDataFrame(
        {
            "field_id": [f"F{i + 1}" for i in range(len(frame))],
            "name": [name or number for name, number in zip(names, numbered, strict=True)],
            "area_ha": area,
            "crop_stands": _standing(frame, layer, where, report),
        },
        geometry=frame.geometry.to_numpy(),
        crs=crs,
    )
    for name, size in zip(fields["name"], area, strict=True):
        if not SMALL_HA <= size <= LARGE_HA:
            report.add("geom.size", f"{where}, {name!r}", message("area.odd", area=float(size)))
    return fields


def _standing(frame: gpd.GeoDataFrame, layer: FieldsLayer, where: str, report: Report) -> np.ndarray:
    """Return True for each field whose column says yes; False for all where no column is named."""
    if layer.standing_column is None:
        return np.zeros(len(frame), dtype=bool)
    column = find_column(frame, layer.standing_column, (), f"{where}.standing_column", report)
    return frame[column].map(lambda said: str(said).strip().lower() in _YES).to_numpy(dtype=bool)


def _counted_once(frame: gpd.GeoDataFrame, where: str, report: Report) -> gpd.GeoDataFrame:
    """Take ground that two outlines share off the later one, so that nothing is counted twice."""
    shapes = frame.geometry.to_numpy().copy()
    first, second = frame.sindex.query(shapes, predicate="intersects")
    for i, j in sorted((int(a), int(b)) for a, b in zip(first, second, strict=True) if a < b):
        shared = shapely.intersection(shapes[i], shapes[j])
        hectares = geodesic_ha(gpd.GeoDataFrame(geometry=[_polygons(shared)], crs=frame.crs))[0]
        if hectares > SLIVER_HA:
            shared_rows = message("area.overlap", one=i + 1, other=j + 1, area=float(hectares))
            report.add("geom.overlap", where, shared_rows)
        if shared.area > 0:
            shapes[j] = _polygons(shapely.difference(shapes[j], shapes[i]))
    kept = ~shapely.is_empty(shapes) & (geodesic_ha(gpd.GeoDataFrame(geometry=shapes, crs=frame.crs)) > SLIVER_HA)
    frame = frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))
    return frame[np.asarray(kept)].reset_index(drop=True)


def _polygons(shape: shapely.Geometry) -> shapely.Geometry:
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
    return parts[0] if len(parts) == 1 else shapely.union_all(parts) if parts else shapely.Polygon()
