"""From the files of a yield monitor to the POINTS table: every record kept, nothing guessed.

A points layer is one file, or a folder with one a load or machine.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.crs import to_working
from stovergeo.inputs.harvest import grain_of
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import PointsLayer
from stovergeo.inputs.point_checks import check_one_harvest, check_plausible
from stovergeo.inputs.point_columns import (
    MEASURED,
    DeclaredColumns,
    believed_swath,
    distance_of,
    moisture_of,
    seconds_of,
)
from stovergeo.inputs.tables import column_missing, read_table, to_numbers
from stovergeo.inputs.vector import of_family, placed, read_frame

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


def make_points(frame: gpd.GeoDataFrame, layer: PointsLayer, where: str, report: Report) -> gpd.GeoDataFrame:
    """Return the POINTS table from rows placed in the working CRS.

    Raises
    ------
    InputError
        With everything that is undeclared, missing or contradictory at once.
    """
    col = DeclaredColumns(frame, layer, where, report)
    corn = _corn_rows(col)
    values = {role: col.measured(role) for role in MEASURED}
    moisture = moisture_of(values["moisture"], col)
    machine = col.text("machine")
    seconds, time = seconds_of(values["seconds"], machine, col)
    distance = distance_of(values, seconds, col)
    swath = values["swath"]
    if swath is None and layer.swath_m is not None:
        swath = np.full(col.n, layer.swath_m)
    if swath is None and not col.trouble:
        said = "Neither a swath column nor one swath width is declared, so the ground of a record is unknown."
        col.trouble.append(report.refuse("points.area", f"{where}.columns.swath", said))
    if swath is not None and not col.trouble:
        swath = believed_swath(swath, col)
    grain = grain_of(values, moisture, seconds, distance, swath, col)
    load, header = col.text("load"), col.text("header")
    if col.trouble or grain is None or swath is None or distance is None:
        raise InputError([p for error in col.trouble for p in error.problems])
    area, grain_kg, grain_mg_ha = grain
    table: dict[str, object] = {
        "seconds": seconds,
        "flow_kg_s": values["flow"],
        "distance_m": distance,
        "swath_m": swath,
        "moisture_pct": moisture,
        "time_s": time,
        "height_m": values["height"],
        "machine": None if machine is None else machine.to_numpy(),
        "load": None if load is None else load.to_numpy(),
        "header_down": _header_down(header, col),
        "area_m2": area,
        "grain_kg": grain_kg,
        "grain_mg_ha": grain_mg_ha,
    }
    points = gpd.GeoDataFrame(
        {k: v for k, v in table.items() if v is not None}, geometry=frame.geometry.to_numpy(), crs=frame.crs
    )
    points = points[corn].reset_index(drop=True)
    check_one_harvest(points, layer, where, report)
    check_plausible(points, where, report)
    return points


def _corn_rows(col: DeclaredColumns) -> np.ndarray:
    crop = col.text("crop")
    if crop is None:
        return np.ones(col.n, dtype=bool)
    corn = (crop.str.casefold() == col.layer.corn.casefold()).to_numpy(dtype=bool)
    others = crop[~corn].value_counts()
    listed = ", ".join(f"{name!r} ({count:,})" for name, count in others.head(5).items())
    where = f"{col.where}.columns.crop"
    if not corn.any():
        col.trouble.append(
            col.report.refuse("points.no_corn", where, f"No record's crop is {col.layer.corn!r}; there are {listed}.")
        )
    elif not corn.all():
        col.report.add(
            "points.other_crop", where, f"{int((~corn).sum()):,} records of another crop were left out: {listed}."
        )
    return corn


def _header_down(header: pd.Series | None, col: DeclaredColumns) -> np.ndarray | None:
    if header is None:
        return None
    where = f"{col.where}.header_down"
    if col.layer.header_down is None:
        listed = ", ".join(repr(v) for v in header.unique()[:6])
        col.report.add("points.header", where, f"A header column is declared, but not which of {listed} means cutting.")
        return None
    down = (header.str.casefold() == col.layer.header_down.strip().casefold()).to_numpy(dtype=bool)
    if not down.any():
        listed = ", ".join(repr(v) for v in header.unique()[:6])
        col.report.add("points.header", where, f"No record's header is {col.layer.header_down!r}; there are {listed}.")
        return None
    return down
