"""Reading a vector layer: from a named file to sound rows in a believed CRS."""

from __future__ import annotations

import warnings
from typing import Final

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS
from rasterio.warp import transform_bounds

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.crs import Bounds, believed_crs
from stovergeo.inputs.open_file import OpenFile, open_file, shown
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import Layer
from stovergeo.inputs.shapes import sound_rows
from stovergeo.inputs.text import clean_text

MAX_ROWS: Final = 20_000_000
MAX_PARQUET_BYTES: Final = 8 * 2**30
Near = tuple[Bounds, CRS]
#: drivers that a signature may turn out to be, besides the one it names
_ALSO: Final = {
    "GeoJSON": {"GeoJSON", "GeoJSONSeq", "TopoJSON", "ESRIJSON"},
    "LIBKML": {"LIBKML", "KML"},
}


def read_layer(layer: Layer, plan: Plan, where: str, report: Report) -> gpd.GeoDataFrame:
    """Return a layer's rows with finite geometry, in the CRS of the file once it is believed.

    Raises
    ------
    InputError
        For everything of `open_file`, `sound_rows` and `believed_crs`, and ``layer.choose``,
        ``layer.unknown``, ``file.unreadable``, ``file.too_big``, ``geom.type``.
    """
    opened = open_file(layer.path, plan.folder, where, report)
    frame = read_frame(opened, layer.layer, where, report)
    if not isinstance(frame, gpd.GeoDataFrame):
        found = "a table" if opened.kind == "table" else f"a {opened.kind}"
        raise report.refuse(
            "geom.type", where, f"{opened.path.name} is {found} without geometries; a vector layer is needed here."
        )
    return placed(frame, layer, where, report)


def placed(frame: gpd.GeoDataFrame, layer: Layer, where: str, report: Report) -> gpd.GeoDataFrame:
    """Return rows with finite geometry, turned round where the plan says so, in a believed CRS."""
    given = CRS(frame.crs) if frame.crs is not None else None
    frame = sound_rows(frame.set_crs(None, allow_override=True), where, report)
    if layer.swap_xy:
        turned = shapely.transform(frame.geometry.to_numpy(), lambda xy: xy[:, ::-1])
        frame = frame.set_geometry(gpd.GeoSeries(turned, index=frame.index))
    west, south, east, north = (float(v) for v in frame.total_bounds)
    crs = believed_crs(given, layer.crs, (west, south, east, north), where, report)
    return frame.set_crs(crs)


def read_frame(
    opened: OpenFile, layer: str | None, where: str, report: Report, near: Near | None = None
) -> pd.DataFrame:
    """Return the rows of a vector or Parquet file unchanged (a plain frame where it has no geometry).

    Parameters
    ----------
    near : (bounds, CRS), optional
        Read only rows whose box meets this one, where the file says its CRS.
    """
    if opened.kind == "parquet":
        return _read_parquet(opened, where, report)
    if opened.kind != "vector":
        return pd.DataFrame()
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            frames = [_read_one(opened, name, where, report, near) for name in _layers(opened, layer, where, report)]
        except InputError:
            raise
        except Exception as error:  # damaged bytes make the vector library raise what it never meant to
            raise report.refuse("file.unreadable", where, f"{opened.path.name}: {clean_text(error)}.") from None
    for text in sorted({clean_text(w.message) for w in said}):
        report.add("file.reader_says", where, f"{opened.path.name}: {text}")
    return frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)


def _layers(opened: OpenFile, wanted: str | None, where: str, report: Report) -> list[str]:
    listed = pyogrio.list_layers(opened.path)
    names = [str(name) for name, _ in listed]
    spatial = [str(name) for name, kind in listed if kind is not None] or names
    if wanted is not None:
        if wanted not in names:
            raise report.refuse(
                "layer.unknown", where, f"{opened.path.name} has no layer {shown(wanted)}; it has {_list(names)}."
            )
        return [wanted]
    if not names:
        raise report.refuse("layer.empty", where, f"{opened.path.name} holds no layer.")
    if len(spatial) > 1:
        filled = [
            n for n in spatial if pyogrio.read_info(opened.path, layer=n, force_feature_count=True)["features"] > 0
        ]
        if opened.driver == "LIBKML":  # folders of one map; every placemark counts
            return filled or spatial[:1]
        if len(filled) != 1:
            raise report.refuse(
                "layer.choose", where, f"{opened.path.name} holds {len(spatial)} layers: {_list(spatial)}."
            )
        return filled
    return spatial


def _read_one(opened: OpenFile, name: str, where: str, report: Report, near: Near | None) -> pd.DataFrame:
    info = pyogrio.read_info(opened.path, layer=name, force_feature_count=True)
    if info["driver"] not in _ALSO.get(opened.driver, {opened.driver}):
        said = f"{opened.path.name} begins like {opened.driver}, but would be read as {info['driver']}."
        raise report.refuse("file.signature", where, said)
    if info["features"] > MAX_ROWS:
        raise report.refuse("file.too_big", where, f"{opened.path.name} holds {info['features']:,} rows.")
    box = None
    if near is not None and info["crs"] is not None:
        box = transform_bounds(near[1].to_wkt(), CRS.from_user_input(info["crs"]).to_wkt(), *near[0])
    return pyogrio.read_dataframe(opened.path, layer=name, on_invalid="ignore", use_arrow=False, bbox=box)


def _read_parquet(opened: OpenFile, where: str, report: Report) -> pd.DataFrame:
    try:
        import pyarrow  # the extra `parquet`
        import pyarrow.parquet
    except ImportError:
        raise report.refuse(
            "file.extra", where, f"{opened.path.name} is Parquet, which needs the extra `parquet`."
        ) from None
    try:
        meta = pyarrow.parquet.read_metadata(opened.path)
        size = sum(meta.row_group(i).total_byte_size for i in range(meta.num_row_groups))
        if size > MAX_PARQUET_BYTES or meta.num_rows > MAX_ROWS:
            raise report.refuse(
                "file.too_big",
                where,
                f"{opened.path.name} holds {meta.num_rows:,} rows, {size / 2**30:,.1f} GB unpacked.",
            )
        if b"geo" in (meta.metadata or {}):
            return gpd.read_parquet(opened.path)
        return pd.read_parquet(opened.path)
    except InputError:
        raise
    except Exception as error:  # as above: what stands in the file's own notes is taken at its word there
        raise report.refuse("file.unreadable", where, f"{opened.path.name}: {clean_text(error)}.") from None


def _list(names: list[str], most: int = 8) -> str:
    text = ", ".join(shown(n, 40) for n in names[:most])
    return text if len(names) <= most else f"{text} and {len(names) - most} more"
