"""Geometry repaired and counted: what cannot be repaired without changing the ground is refused."""

from __future__ import annotations

from typing import Final, Literal

import geopandas as gpd
import numpy as np
import shapely

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.inputs.crs import geodesic_ha

Family = Literal["polygon", "line", "point"]

message = Catalog("stovergeo.inputs")
SLIVER_HA: Final = 0.01
#: share of a layer's area that a repair may change, and of its rows that may be lost
MAX_CHANGE: Final = 0.01
_FAMILY: Final[dict[int, Family]] = {
    0: "point",
    4: "point",
    1: "line",
    2: "line",
    5: "line",
    3: "polygon",
    6: "polygon",
}


def sound_rows(frame: gpd.GeoDataFrame, where: str, report: Report, max_lost: float = MAX_CHANGE) -> gpd.GeoDataFrame:
    """Return the rows that have a finite geometry, flat; what is dropped is counted.

    Raises
    ------
    InputError
        ``layer.empty`` when nothing is left, ``geom.nonfinite`` when more than `max_lost` of the rows would be lost.
    """
    shapes = frame.geometry
    none = (shapes.isna() | shapes.is_empty).to_numpy()
    if len(frame) == 0 or none.all():
        said = "The layer has no rows." if len(frame) == 0 else f"All {len(frame):,} rows are without a geometry."
        raise report.refuse("layer.empty", where, said)
    if none.any():
        report.add(
            "geom.null", where, f"{int(none.sum()):,} of {len(frame):,} rows have no geometry and were left out."
        )
        frame = frame[~none]
    flat = shapely.force_2d(np.asarray(frame.geometry, dtype=object))
    coords, row = shapely.get_coordinates(flat, return_index=True)
    bad = np.unique(row[~np.isfinite(coords).all(axis=1)])
    frame = frame.set_geometry(gpd.GeoSeries(flat, index=frame.index, crs=frame.crs))
    if len(bad) == 0:
        return frame
    rows = ", ".join(str(i + 1) for i in bad[:5]) + (", ..." if len(bad) > 5 else "")
    said = f"{len(bad):,} of {len(frame):,} rows hold coordinates that are not numbers (rows {rows})."
    if len(bad) > max_lost * len(frame):
        raise report.refuse("geom.nonfinite", where, said)
    report.add("geom.nonfinite_dropped", where, said)
    return frame.drop(index=frame.index[bad])


def of_family(frame: gpd.GeoDataFrame, wanted: set[Family], where: str, report: Report) -> gpd.GeoDataFrame:
    """Return the rows whose geometry is of a wanted family, parts of collections among them.

    Raises
    ------
    InputError
        ``geom.type`` when there is none, naming what was found.
    """
    collections = shapely.get_type_id(np.asarray(frame.geometry, dtype=object)) == 7
    if collections.any():
        opened = frame.geometry.map(lambda g: _from_collection(g, wanted))
        frame = frame.set_geometry(gpd.GeoSeries(opened, index=frame.index, crs=frame.crs))
    kinds = np.array(
        [_FAMILY.get(t, "collection") for t in shapely.get_type_id(np.asarray(frame.geometry, dtype=object))]
    )
    fits = np.isin(kinds, list(wanted))
    if not fits.any():
        found = ", ".join(sorted({str(t) for t in frame.geometry.geom_type}))
        raise report.refuse(
            "geom.type", where, f"{' or '.join(sorted(wanted))}s are needed here; the layer holds {found}."
        )
    if not fits.all():
        found = ", ".join(sorted({str(t) for t in frame.geometry.geom_type[~fits]}))
        report.add("geom.mixed", where, f"{int((~fits).sum()):,} rows of another kind ({found}) were left out.")
    return frame[fits]


def valid_polygons(frame: gpd.GeoDataFrame, where: str, report: Report, min_ha: float = SLIVER_HA) -> gpd.GeoDataFrame:
    """Return polygons made valid, pieces under `min_ha` dropped, with the change of area reported.

    Raises
    ------
    InputError
        ``geom.invalid_much`` when a repair would change a polygon's area by more than 1 %.
    """
    shapes = np.asarray(frame.geometry, dtype=object)
    broken = ~shapely.is_valid(shapes)
    if broken.any():
        shapes = shapes.copy()
        for i in np.flatnonzero(broken):
            shapes[i] = _repaired(shapes[i], int(i), frame, where, report)
    pieces = gpd.GeoDataFrame({"row": np.arange(len(frame))}, geometry=shapes, crs=frame.crs).explode(ignore_index=True)
    area = geodesic_ha(pieces) if min_ha > 0 else np.full(len(pieces), np.inf)
    small = area < min_ha
    if small.any():
        left_out = {"pieces": int(small.sum()), "least": min_ha, "area": float(area[small].sum())}
        report.add("geom.sliver", where, message("area.slivers", **left_out))
    kept = pieces[~small]
    if kept.empty:
        raise report.refuse(
            "layer.empty",
            where,
            message("area.all_slivers", least=min_ha, area=float(area.sum())),
        )
    whole = kept.groupby("row")["geometry"].agg(
        lambda parts: shapely.MultiPolygon(list(parts)) if len(parts) > 1 else parts.iloc[0]
    )
    rows = frame.iloc[whole.index.to_numpy()]
    return rows.set_geometry(gpd.GeoSeries(whole.to_numpy(), index=rows.index, crs=frame.crs))


def _from_collection(shape: shapely.Geometry, wanted: set[Family]) -> shapely.Geometry:
    if shape is None or shapely.get_type_id(shape) != 7:
        return shape
    parts = [p for p in shapely.get_parts(shape) if _FAMILY.get(int(shapely.get_type_id(p))) in wanted]
    if not parts:
        return shape
    return parts[0] if len(parts) == 1 else shapely.union_all(parts)


def _repaired(
    shape: shapely.Geometry, row: int, frame: gpd.GeoDataFrame, where: str, report: Report
) -> shapely.Geometry:
    mended = shapely.make_valid(shape)
    polygons = [p for p in shapely.get_parts(mended) if _FAMILY.get(int(shapely.get_type_id(p))) == "polygon"]
    mended = shapely.union_all(polygons) if polygons else shapely.Polygon()
    # signed by direction of the rings, so the two lobes of a figure of eight count against each other
    before, after = abs(shape.area), mended.area
    change = abs(after - before) / max(after, before) if max(after, before) > 0 else 1.0
    said = message("area.repaired", place=shapely.is_valid_reason(shape), change=change)
    place = f"{where}, row {row + 1}"
    if after == 0 or abs(after - before) > MAX_CHANGE * after:
        raise report.refuse("geom.invalid_much", place, said)
    report.add("geom.invalid", place, said)
    return mended
