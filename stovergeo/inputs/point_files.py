"""From the files of a yield monitor to rows with a place: one file, or a folder with one a load or machine."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.columns import column_missing
from stovergeo.inputs.crs import to_working
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import PointsLayer
from stovergeo.inputs.points import make_points
from stovergeo.inputs.shapes import of_family
from stovergeo.inputs.tables import read_table, to_numbers
from stovergeo.inputs.vector import placed, read_frame

#: share of records that may be without a usable place before the layer is refused
MAX_LOST: Final = 0.05
#: how far from the middle of all records one may lie: two degrees, or 200 km in length units of a metre
_FAR_DEG: Final = 2.0
_FAR_UNITS: Final = 200_000.0
MAX_FILES: Final = 2000
_ENDINGS: Final = {".csv", ".txt", ".tsv", ".xlsx", ".shp", ".gpkg", ".geojson", ".json", ".fgb", ".parquet", ".kml"}


def read_point_rows(layer: PointsLayer, plan: Plan, where: str, report: Report) -> list[tuple[str, gpd.GeoDataFrame]]:
    """Return the rows of each file of a points layer, with the place to name it by, in believed CRSs.

    Every file is tried, so that one run lists the troubles of all.

    Raises
    ------
    InputError
        With the problems of every file that cannot be used.
    """
    opened = open_file(layer.path, plan.folder, where, report, folders=True)
    files = files_of(opened, where, report)
    rows: list[tuple[str, gpd.GeoDataFrame]] = []
    trouble: list[InputError] = []
    for file in files:
        place = where if len(files) == 1 else f"{where}, {file.path.name}"
        try:
            rows.append((place, _placed_points(file, layer, place, report)))
        except InputError as error:
            trouble.append(error)
    if trouble:
        raise InputError([p for error in trouble for p in error.problems])
    return rows


def points_table(
    rows: list[tuple[str, gpd.GeoDataFrame]], layer: PointsLayer, crs: CRS, report: Report
) -> gpd.GeoDataFrame:
    """Return one POINTS table in the working CRS from the rows of all files."""
    tables: list[gpd.GeoDataFrame] = []
    trouble: list[InputError] = []
    for place, frame in rows:
        try:
            table = make_points(to_working(frame, crs, place, report), layer, place, report)
        except InputError as error:
            trouble.append(error)
            continue
        if len(rows) > 1 and "load" not in table:
            table["load"] = place.rsplit(", ", 1)[-1]
        tables.append(table)
    if trouble:
        raise InputError([p for error in trouble for p in error.problems])
    return tables[0] if len(tables) == 1 else pd.concat(tables, ignore_index=True)


def as_declared(layer: PointsLayer, like: PointsLayer) -> PointsLayer:
    """Return a points layer with what it leaves out of columns, units and fixed values taken from another."""
    left_out = {
        key: getattr(like, key)
        for key in ("columns", "units", "swath_m", "record_s", "moisture_pct", "header_down", "corn", "crs", "swap_xy")
        if key not in layer.model_fields_set
    }
    return layer.model_copy(update=left_out)


def raw_rows(opened: OpenFile, layer: PointsLayer, where: str, report: Report) -> pd.DataFrame:
    """Return the rows of one points file unchanged: a table, or a frame with geometry."""
    if opened.kind == "table":
        return read_table(opened, layer.sheet, where, report)
    if opened.kind in ("vector", "parquet"):
        return read_frame(opened, layer.layer, where, report)
    raise report.refuse(
        "file.signature", where, f"{opened.path.name} is a {opened.kind}; yield points are needed here."
    )


def files_of(opened: OpenFile, where: str, report: Report) -> list[OpenFile]:
    """Return the files of a points layer: the one, or those of the folder in order of their names."""
    return _files_in(opened.path, where, report) if opened.kind == "folder" else [opened]


def _files_in(folder: Path, where: str, report: Report) -> list[OpenFile]:
    paths = sorted(p for p in folder.iterdir() if p.suffix.lower() in _ENDINGS and p.is_file())
    if not paths:
        raise report.refuse("layer.empty", where, f"The folder {folder.name} holds no file of points.")
    if len(paths) > MAX_FILES:
        raise report.refuse("file.too_big", where, f"The folder {folder.name} holds {len(paths):,} files.")
    return [open_file(p.name, folder, f"{where}, {p.name}", report) for p in paths]


def _placed_points(file: OpenFile, layer: PointsLayer, where: str, report: Report) -> gpd.GeoDataFrame:
    frame = raw_rows(file, layer, where, report)
    if isinstance(frame, gpd.GeoDataFrame):
        frame = of_family(frame[frame.geometry.notna()], {"point"}, where, report)
        frame = frame.explode(ignore_index=True)
        x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
        crs = frame.crs
    else:
        x, y = _column(frame, layer.columns.x, "x", where, report), _column(frame, layer.columns.y, "y", where, report)
        crs = None
    usable = _usable(x, y)
    lost = int((~usable).sum())
    if lost:
        said = f"{lost:,} of {len(frame):,} records have no usable position."
        if lost > MAX_LOST * len(frame):
            raise report.refuse("geom.nonfinite", where, said)
        report.add(
            "points.no_place", where, f"{said} They were left out (first: row {int(np.flatnonzero(~usable)[0]) + 1})."
        )
    columns = pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))[usable].reset_index(drop=True)
    geometry = gpd.points_from_xy(x[usable], y[usable])
    return placed(gpd.GeoDataFrame(columns, geometry=geometry, crs=crs), layer, where, report)


def _column(frame: pd.DataFrame, name: str | None, axis: str, where: str, report: Report) -> np.ndarray:
    place = f"{where}.columns.{axis}"
    if name is None:
        meaning = "easting or longitude" if axis == "x" else "northing or latitude"
        raise report.refuse("points.no_xy", place, f"The column with the {meaning} is not declared.")
    if name not in frame.columns:
        raise column_missing(name, [str(c) for c in frame.columns], place, report)
    return to_numbers(frame[name], f"{where}, column {name!r}", report)


def _usable(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Whether each position is one: finite, not the (0, 0) of a receiver without a fix, near the others."""
    fine = np.isfinite(x) & np.isfinite(y) & ~((x == 0) & (y == 0))
    if not fine.any():
        return fine
    mid_x, mid_y = np.median(x[fine]), np.median(y[fine])
    far = _FAR_DEG if abs(mid_x) <= 180 and abs(mid_y) <= 180 else _FAR_UNITS / 0.3
    with np.errstate(invalid="ignore"):
        return fine & (np.abs(x - mid_x) <= far) & (np.abs(y - mid_y) <= far)
