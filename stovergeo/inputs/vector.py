"""Vector layers: from a named file to sound rows in a believed CRS, their geometry repaired and counted.

What cannot be repaired without changing the ground is refused.
"""

from __future__ import annotations

import warnings
from typing import Any, Final, Literal, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS
from rasterio.warp import transform_bounds

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.inputs.crs import Bounds, believed_crs, geodesic_ha
from stovergeo.inputs.idle_keys import kind_of, report_idle_keys
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import Layer, TaggedLayer, Tags
from stovergeo.inputs.tags import rows_asked_for, tags_of, where_clause
from stovergeo.inputs.text import clean_text, shown
from stovergeo.inputs.tracks import outlines_of

MAX_ROWS: Final = 20_000_000
MAX_PARQUET_BYTES: Final = 8 * 2**30
Near = tuple[Bounds, CRS]
Family = Literal["polygon", "line", "point"]


class Part(NamedTuple):
    """Which part of a file that holds many things is wanted."""

    kinds: frozenset[Family]
    tags: Tags | None  #: rows of an OpenStreetMap extract


#: layers of formats that hold one for each kind of geometry, by which a layer of the plan finds its own
_BY_KIND: Final[dict[str, dict[Family, tuple[str, ...]]]] = {
    "OSM": {"polygon": ("multipolygons",), "line": ("lines",), "point": ("points",)},
    "GPX": {"polygon": ("tracks", "routes"), "line": ("tracks", "routes"), "point": ("waypoints",)},
}
#: drivers that a signature may turn out to be, besides the one it names
_ALSO: Final = {"GeoJSON": {"GeoJSON", "GeoJSONSeq", "TopoJSON", "ESRIJSON"}, "LIBKML": {"LIBKML", "KML"}}


def read_layer(
    layer: Layer, plan: Plan, where: str, report: Report, kinds: frozenset[Family] = frozenset({"polygon"})
) -> gpd.GeoDataFrame:
    """Return a layer's rows with finite geometry, in the CRS of the file once it is believed.

    Parameters
    ----------
    layer : Layer
    plan : Plan
    where : str
        Key of the layer in the plan, by which it takes its rows of a mixed file.
    report : Report
    kinds : set of str
        Kinds of geometry that the layer may hold, by which it takes its part of a file of several kinds.

    Raises
    ------
    InputError
        For everything of `open_file`, `rows_asked_for`, `outlines_of`, `sound_rows` and `believed_crs`, and
        ``layer.choose``, ``layer.unknown``, ``file.unreadable``, ``file.too_big``, ``geom.type``.
    """
    at = Place(where, report)
    opened = open_file(layer.path, plan.folder, at, layer=layer.layer)
    asked = layer.tags if isinstance(layer, TaggedLayer) else None
    extract = opened.driver == "OSM"
    tags = tags_of(asked, where, at, extract=extract) if extract else None
    frame = read_frame(opened, layer.layer, at, part=Part(kinds, tags))
    if not isinstance(frame, gpd.GeoDataFrame):
        found = f"{opened.path.name} is a {opened.kind}"
        raise at.refuse("geom.type", f"{found} without geometries; a vector layer is needed here.")
    report_idle_keys(layer, [(kind_of(opened, frame), layer)], at, opened.heeded)
    frame = rows_asked_for(frame, asked, where, at, extract=extract)
    if opened.driver == "GPX" and "line" not in kinds:
        frame = outlines_of(frame, at)
    return placed(frame, layer, at)


def placed(frame: gpd.GeoDataFrame, layer: Layer, at: Place) -> gpd.GeoDataFrame:
    """Return rows with finite geometry, turned round where the plan says so, in a believed CRS."""
    given = CRS(frame.crs) if frame.crs is not None else None
    frame = sound_rows(frame.set_crs(None, allow_override=True), at)
    if layer.swap_xy:
        turned = shapely.transform(frame.geometry.to_numpy(), lambda xy: xy[:, ::-1])
        frame = frame.set_geometry(turned)
    west, south, east, north = (float(v) for v in frame.total_bounds)
    crs = believed_crs(given, layer.crs, (west, south, east, north), at)
    return frame.set_crs(crs)


def read_frame(
    opened: OpenFile, layer: str | None, at: Place, near: Near | None = None, part: Part | None = None
) -> pd.DataFrame:
    """Return the rows of a vector or Parquet file unchanged (a plain frame where it has no geometry).

    Parameters
    ----------
    near : (bounds, CRS), optional
        Read only rows whose box meets this one, where the file says its CRS.
    part : Part, optional
        Read only this part of a file that holds many things.
    """
    if opened.kind not in ("vector", "parquet"):
        return pd.DataFrame()
    wanted = None if opened.chosen else layer
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            if opened.kind == "parquet":
                frames = [_read_parquet(opened, at)]
            else:
                tags = part.tags if part else None
                frames = [_read_one(opened, name, at, near, tags) for name in _layers(opened, wanted, at, part)]
        except InputError:
            raise
        except Exception as error:  # damaged bytes make the libraries raise what they never meant to
            raise at.refuse("file.unreadable", f"{opened.path.name}: {clean_text(error)}.") from None
    for text in sorted({clean_text(w.message) for w in said}):
        at.add("file.reader_says", f"{opened.path.name}: {text}")
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    if len(filled) == 1:
        return filled[0]
    # a column without any value has no kind that could be joined
    held = [frame.drop(columns=[c for c in frame if c != "geometry" and frame[c].isna().all()]) for frame in filled]
    return pd.concat(held, ignore_index=True)


def _layers(opened: OpenFile, wanted: str | None, at: Place, part: Part | None) -> list[str]:
    listed = pyogrio.list_layers(opened.path)
    names = [str(name) for name, _ in listed]
    spatial = [str(name) for name, kind in listed if kind is not None] or names
    if wanted is not None:
        if wanted not in names:
            raise at.refuse("layer.unknown", f"{opened.path.name} has no layer {shown(wanted)}; it has {_list(names)}.")
        return [wanted]
    if not names:
        raise at.refuse("layer.empty", f"{opened.path.name} holds no layer.")
    if part is not None and opened.driver in _BY_KIND:
        return _of_kinds(opened, names, part, at)
    if len(spatial) > 1:
        filled = _filled(opened, spatial)
        if opened.driver == "LIBKML":  # folders of one map; every placemark counts
            return filled or spatial[:1]
        if len(filled) != 1:
            raise at.refuse("layer.choose", f"{opened.path.name} holds {len(spatial)} layers: {_list(spatial)}.")
        return filled
    return spatial


def _of_kinds(opened: OpenFile, names: list[str], part: Part, at: Place) -> list[str]:
    """Return the layers of the kinds wanted: all of an extract, whose tags tell things apart, else the one filled."""
    by_kind = _BY_KIND[opened.driver]
    wanted = [n for n in names if any(n in by_kind[kind] for kind in part.kinds)]
    if opened.driver == "OSM":
        return wanted
    filled = _filled(opened, names)
    found = [n for n in wanted if n in filled]
    if not found:
        held = _list([n for n in names if n in filled]) if filled else "nothing"
        said = f"{opened.path.name} holds no {' or '.join(wanted)}; it holds {held}."
        cure = "Export the tracks, routes or waypoints that this layer is made of, or name another file."
        raise at.refuse("layer.empty", said, cure)
    if len(found) > 1:
        raise at.refuse("layer.choose", f"{opened.path.name} holds {len(found)} layers: {_list(found)}.")
    return found


def _filled(opened: OpenFile, names: list[str]) -> list[str]:
    return [n for n in names if _info(opened, n)["features"] > 0]


def _info(opened: OpenFile, name: str) -> dict[str, Any]:
    return pyogrio.read_info(opened.path, layer=name, force_feature_count=True)


def _read_one(opened: OpenFile, name: str, at: Place, near: Near | None, tags: Tags | None) -> pd.DataFrame:
    # an extract of OpenStreetMap has no count: it would have to be read twice
    info = pyogrio.read_info(opened.path, layer=name) if opened.driver == "OSM" else _info(opened, name)
    if info["driver"] not in _ALSO.get(opened.driver, {opened.driver}):
        said = f"{opened.path.name} begins like {opened.driver}, but would be read as {info['driver']}."
        raise at.refuse("file.signature", said)
    if info["features"] > MAX_ROWS:
        raise at.refuse("file.too_big", f"{opened.path.name} holds {info['features']:,} rows.")
    box = None
    if near is not None and info["crs"] is not None:
        box = transform_bounds(near[1].to_wkt(), CRS.from_user_input(info["crs"]).to_wkt(), *near[0])
    where = None if tags is None else where_clause(tags, list(info["fields"]))
    return pyogrio.read_dataframe(opened.path, layer=name, on_invalid="ignore", use_arrow=False, bbox=box, where=where)


def _read_parquet(opened: OpenFile, at: Place) -> pd.DataFrame:
    try:
        import pyarrow  # the extra `parquet`
        import pyarrow.parquet
    except ImportError:
        raise at.refuse("file.extra", f"{opened.path.name} is Parquet, which needs the extra `parquet`.") from None
    meta = pyarrow.parquet.read_metadata(opened.path)
    size = sum(meta.row_group(i).total_byte_size for i in range(meta.num_row_groups))
    if size > MAX_PARQUET_BYTES or meta.num_rows > MAX_ROWS:
        said = f"{opened.path.name} holds {meta.num_rows:,} rows, {size / 2**30:,.1f} GB unpacked."
        raise at.refuse("file.too_big", said)
    return (gpd if b"geo" in (meta.metadata or {}) else pd).read_parquet(opened.path)


def _list(names: list[str], most: int = 8) -> str:
    text = ", ".join(shown(n, 40) for n in names[:most])
    return text if len(names) <= most else f"{text} and {len(names) - most} more"


message = Catalog("stovergeo.inputs")
SLIVER_HA: Final = 0.01
#: share of a layer's area that a repair may change, and of its rows that may be lost
MAX_CHANGE: Final = 0.01
_FAMILY: Final[dict[str, Family]] = {
    **dict.fromkeys(("Point", "MultiPoint"), "point"),
    **dict.fromkeys(("LineString", "LinearRing", "MultiLineString"), "line"),
    **dict.fromkeys(("Polygon", "MultiPolygon"), "polygon"),
}


def sound_rows(frame: gpd.GeoDataFrame, at: Place, max_lost: float = MAX_CHANGE) -> gpd.GeoDataFrame:
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
        raise at.refuse("layer.empty", said)
    if none.any():
        at.add("geom.null", f"{int(none.sum()):,} of {len(frame):,} rows have no geometry and were left out.")
        frame = frame[~none]
    flat = shapely.force_2d(np.asarray(frame.geometry, dtype=object))
    coords, row = shapely.get_coordinates(flat, return_index=True)
    bad = np.unique(row[~np.isfinite(coords).all(axis=1)])
    frame = frame.set_geometry(flat, crs=frame.crs)
    if len(bad) == 0:
        return frame
    rows = ", ".join(str(i + 1) for i in bad[:5]) + (", ..." if len(bad) > 5 else "")
    said = f"{len(bad):,} of {len(frame):,} rows hold coordinates that are not numbers (rows {rows})."
    if len(bad) > max_lost * len(frame):
        raise at.refuse("geom.nonfinite", said)
    at.add("geom.nonfinite_dropped", said)
    return frame.drop(index=frame.index[bad])


def of_family(frame: gpd.GeoDataFrame, wanted: set[Family], at: Place) -> gpd.GeoDataFrame:
    """Return the rows whose geometry is of a wanted family, parts of collections among them.

    Raises
    ------
    InputError
        ``geom.type`` when there is none, naming what was found.
    """
    collections = (frame.geom_type == "GeometryCollection").to_numpy()
    if collections.any():
        shapes = frame.geometry.to_numpy().copy()
        shapes[collections] = [parts_of(shape, wanted) or shape for shape in shapes[collections]]
        frame = frame.set_geometry(shapes, crs=frame.crs)
    fits = frame.geom_type.map(_FAMILY).isin(wanted)
    if not fits.any():
        found = ", ".join(sorted(set(map(str, frame.geom_type))))
        raise at.refuse("geom.type", f"{' or '.join(sorted(wanted))}s are needed here; the layer holds {found}.")
    if not fits.all():
        found = ", ".join(sorted(set(map(str, frame.geom_type[~fits]))))
        at.add("geom.mixed", f"{int((~fits).sum()):,} rows of another kind ({found}) were left out.")
    return frame[fits]


def parts_of(shape: shapely.Geometry, wanted: set[Family]) -> shapely.Geometry | None:
    """Return the parts of a shape that are of wanted families as one shape; None where there are none."""
    parts = [part for part in shapely.get_parts(shape) if _FAMILY.get(part.geom_type) in wanted]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.union_all(parts)


def valid_polygons(frame: gpd.GeoDataFrame, at: Place, min_ha: float = SLIVER_HA) -> gpd.GeoDataFrame:
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
            shapes[i] = _repaired(shapes[i], at.part(f"row {i + 1}"))
    pieces = gpd.GeoDataFrame({"row": np.arange(len(frame))}, geometry=shapes, crs=frame.crs).explode(ignore_index=True)
    area = geodesic_ha(pieces) if min_ha > 0 else np.full(len(pieces), np.inf)
    small = area < min_ha
    if small.any():
        left_out = {"pieces": int(small.sum()), "least": min_ha, "area": float(area[small].sum())}
        at.add("geom.sliver", message("area.slivers", **left_out))
    kept = pieces[~small]
    if kept.empty:
        raise at.refuse("layer.empty", message("area.all_slivers", least=min_ha, area=float(area.sum())))
    whole = kept.groupby("row")["geometry"].agg(
        lambda parts: shapely.MultiPolygon(list(parts)) if len(parts) > 1 else parts.iloc[0]
    )
    return frame.iloc[whole.index.to_numpy()].set_geometry(whole.to_numpy(), crs=frame.crs)


def _repaired(shape: shapely.Geometry, at: Place) -> shapely.Geometry:
    mended = parts_of(shapely.make_valid(shape), {"polygon"}) or shapely.Polygon()
    # signed by direction of the rings, so the two lobes of a figure of eight count against each other
    before, after = abs(shape.area), mended.area
    change = abs(after - before) / max(after, before) if max(after, before) > 0 else 1.0
    said = message("area.repaired", place=shapely.is_valid_reason(shape), change=change)
    if after == 0 or abs(after - before) > MAX_CHANGE * after:
        raise at.refuse("geom.invalid_much", said)
    at.add("geom.invalid", said)
    return mended
