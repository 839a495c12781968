"""From the files of a yield monitor to the POINTS table: every record kept, nothing guessed.

A points layer is one file, a folder with one a load or machine, or the task data of the machines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from stovergeo.core.errors import InputError, Problem
from stovergeo.inputs.crs import to_working
from stovergeo.inputs.harvest import grain_of
from stovergeo.inputs.idle_keys import FileKind, kind_of, report_idle_keys
from stovergeo.inputs.open_file import OpenFile, open_file
from stovergeo.inputs.place import Place
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
from stovergeo.inputs.tables import find_column, read_table, to_numbers
from stovergeo.inputs.task_files import is_task_data
from stovergeo.inputs.taskdata import read_task_points
from stovergeo.inputs.vector import of_family, placed, read_frame

#: share of records that may be without a usable place before the layer is refused
MAX_LOST: Final = 0.05
#: how far from the middle of all records one may lie: two degrees, or 200 km in length units of a meter
_FAR_DEG: Final = 2.0
_FAR_UNITS: Final = 200_000.0
MAX_FILES: Final = 2000
_ENDINGS: Final = {".csv", ".txt", ".tsv", ".xlsx", ".shp", ".gpkg", ".geojson", ".json", ".fgb", ".parquet", ".kml"}

#: rows of each file, with the place to name it by and the layer that says what its columns are
PointRows = list[tuple[Place, gpd.GeoDataFrame, PointsLayer]]
S = TypeVar("S")
T = TypeVar("T")


def read_point_rows(layer: PointsLayer, plan: Plan, like: PointsLayer | None, at: Place) -> PointRows:
    """Return the rows of each file of a points layer, with the place to name it by, in believed CRSs.

    What the layer leaves out is taken from `like`. Every file is tried, so that one run lists the troubles of all.

    Raises
    ------
    InputError
        With the problems of every file that cannot be used.
    """
    own, layer = layer, layer if like is None else as_declared(layer, like)
    if is_task_data(layer.path, plan.folder):
        tables = read_task_points(layer, plan, at)
        report_idle_keys(own, [("task data", t.layer) for t in tables], at, {k for t in tables for k in t.filled})
        return _of_each(
            lambda place, told: (place, _placed_points(told.frame, told.layer, place), told.layer),
            [(at, told) for told in tables],
        )
    files = files_of(open_file(layer.path, plan.folder, at, folders=True, layer=layer.layer), at)
    places = [at if len(files) == 1 else at.part(file.path.name) for file in files]
    as_read: list[tuple[FileKind, PointsLayer]] = []

    def read(place: Place, file: OpenFile) -> tuple[Place, gpd.GeoDataFrame, PointsLayer]:
        raw = raw_rows(file, layer, place)
        as_read.append((kind_of(file, raw), layer))
        return place, _placed_points(raw, layer, place), layer

    rows = _of_each(read, zip(places, files, strict=True))
    report_idle_keys(own, as_read, at, files[0].heeded)
    return rows


def points_table(rows: PointRows, crs: CRS) -> gpd.GeoDataFrame:
    """Return one POINTS table in the working CRS from the rows of all files."""
    tables = _of_each(
        lambda place, told: make_points(to_working(told[0], crs, place), told[1], place),
        [(place, (frame, layer)) for place, frame, layer in rows],
    )
    if len(rows) == 1:
        return tables[0]
    for (place, *_), table in zip(rows, tables, strict=True):
        if "load" not in table:
            table["load"] = place.where.rsplit(", ", 1)[-1]
    return pd.concat(tables, ignore_index=True)


def _of_each(make: Callable[[Place, S], T], items: Iterable[tuple[Place, S]]) -> list[T]:
    """Return what a reader makes of each item; all are tried, so that one error lists the problems of all."""
    made: list[T] = []
    trouble: list[Problem] = []
    for place, item in items:
        try:
            made.append(make(place, item))
        except InputError as error:
            trouble += error.problems
    if trouble:
        raise InputError(trouble)
    return made


def as_declared(layer: PointsLayer, like: PointsLayer) -> PointsLayer:
    """Return a points layer with what it leaves out of columns, units and fixed values taken from another."""
    left_out = {
        key: getattr(like, key)
        for key in ("columns", "units", "swath_m", "record_s", "moisture_pct", "header_down", "corn", "crs", "swap_xy")
        if key not in layer.model_fields_set
    }
    return layer.model_copy(update=left_out)


def raw_rows(opened: OpenFile, layer: PointsLayer, at: Place) -> pd.DataFrame:
    """Return the rows of one points file unchanged: a table, or a frame with geometry."""
    if opened.kind == "table":
        return read_table(opened, layer.sheet, at)
    if opened.kind in ("vector", "parquet"):
        return read_frame(opened, layer.layer, at)
    raise at.refuse("file.signature", f"{opened.path.name} is a {opened.kind}; yield points are needed here.")


def files_of(opened: OpenFile, at: Place) -> list[OpenFile]:
    """Return the files of a points layer: the one, or those of the folder in order of their names."""
    folder = opened.path
    if opened.kind != "folder":
        return [opened]
    paths = sorted(p for p in folder.iterdir() if p.suffix.lower() in _ENDINGS and p.is_file())
    if not paths:
        raise at.refuse("layer.empty", f"The folder {folder.name} holds no file of points.")
    if len(paths) > MAX_FILES:
        raise at.refuse("file.too_big", f"The folder {folder.name} holds {len(paths):,} files.")
    return [open_file(p.name, folder, at.part(p.name)) for p in paths]


def _placed_points(frame: pd.DataFrame, layer: PointsLayer, at: Place) -> gpd.GeoDataFrame:
    if isinstance(frame, gpd.GeoDataFrame):
        frame = of_family(frame[frame.geometry.notna()], {"point"}, at)
        frame = frame.explode(ignore_index=True)
        x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
        crs = frame.crs
    else:
        x, y = _column(frame, layer.columns.x, "x", at), _column(frame, layer.columns.y, "y", at)
        crs = None
    usable = _usable(x, y)
    lost = int((~usable).sum())
    if lost:
        said = f"{lost:,} of {len(frame):,} records have no usable position."
        if lost > MAX_LOST * len(frame):
            raise at.refuse("geom.nonfinite", said)
        at.add("points.no_place", f"{said} They were left out (first: row {int(np.flatnonzero(~usable)[0]) + 1}).")
    columns = pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))[usable].reset_index(drop=True)
    geometry = gpd.points_from_xy(x[usable], y[usable])
    return placed(gpd.GeoDataFrame(columns, geometry=geometry, crs=crs), layer, at)


def _column(frame: pd.DataFrame, name: str | None, axis: str, at: Place) -> np.ndarray:
    place = at.key(f"columns.{axis}")
    if name is None:
        meaning = "easting or longitude" if axis == "x" else "northing or latitude"
        raise place.refuse("points.no_xy", f"The column with the {meaning} is not declared.")
    return to_numbers(frame[find_column(frame, name, (), place)], at.column(name))


def _usable(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Whether each position is one: finite, not the (0, 0) of a receiver without a fix, near the others."""
    fine = np.isfinite(x) & np.isfinite(y) & ~((x == 0) & (y == 0))
    if not fine.any():
        return fine
    mid_x, mid_y = np.median(x[fine]), np.median(y[fine])
    far = _FAR_DEG if abs(mid_x) <= 180 and abs(mid_y) <= 180 else _FAR_UNITS / 0.3
    with np.errstate(invalid="ignore"):
        return fine & (np.abs(x - mid_x) <= far) & (np.abs(y - mid_y) <= far)


def make_points(frame: gpd.GeoDataFrame, layer: PointsLayer, at: Place) -> gpd.GeoDataFrame:
    """Return the POINTS table from rows placed in the working CRS.

    Raises
    ------
    InputError
        With everything that is undeclared, missing or contradictory at once.
    """
    col = DeclaredColumns(frame, layer, at)
    corn = _corn_rows(col)
    values = {role: col.measured(role) for role in MEASURED}
    moisture = moisture_of(values["moisture"], col)
    machine = col.text("machine")
    seconds, time = seconds_of(values["seconds"], machine, col)
    distance = distance_of(values, seconds, col)
    swath = values["swath"]
    if swath is None and layer.swath_m is not None:
        swath = np.full(col.n, layer.swath_m)
    if not col.trouble:
        if swath is None:
            said = "Neither a swath column nor one swath width is declared, so the ground of a record is unknown."
            col.wrong("columns.swath", "points.area", said)
        else:
            swath = believed_swath(swath, col)
    grain = grain_of(values, moisture, seconds, distance, swath, col)
    load, header = col.text("load"), col.text("header")
    if col.trouble or grain is None:
        raise InputError(col.trouble)
    area, grain_kg, grain_mg_ha = grain
    table: dict[str, object] = {
        "seconds": seconds,
        "flow_kg_s": values["flow"],
        "distance_m": distance,
        "swath_m": swath,
        "moisture_pct": moisture,
        "time_s": time,
        "height_m": values["height"],
        "machine": machine,
        "load": load,
        "header_down": _header_down(header, col),
        "area_m2": area,
        "grain_kg": grain_kg,
        "grain_mg_ha": grain_mg_ha,
    }
    points = gpd.GeoDataFrame(
        {k: np.asarray(v) for k, v in table.items() if v is not None}, geometry=frame.geometry.to_numpy(), crs=frame.crs
    )
    points = points[corn].reset_index(drop=True)
    check_one_harvest(points, layer, at)
    check_plausible(points, at)
    return points


def _corn_rows(col: DeclaredColumns) -> np.ndarray:
    crop = col.text("crop")
    if crop is None:
        return np.ones(col.n, dtype=bool)
    corn = (crop.str.casefold() == col.layer.corn.casefold()).to_numpy(dtype=bool)
    others = crop[~corn].value_counts()
    listed = ", ".join(f"{name!r} ({count:,})" for name, count in others.head(5).items())
    if not corn.any():
        col.wrong("columns.crop", "points.no_corn", f"No record's crop is {col.layer.corn!r}; there are {listed}.")
    elif not corn.all():
        said = f"{int((~corn).sum()):,} records of another crop were left out: {listed}."
        col.at.key("columns.crop").add("points.other_crop", said)
    return corn


def _header_down(header: pd.Series | None, col: DeclaredColumns) -> np.ndarray | None:
    if header is None:
        return None
    listed = ", ".join(repr(v) for v in header.unique()[:6])
    if col.layer.header_down is None:
        said = f"A header column is declared, but not which of {listed} means cutting."
    else:
        down = (header.str.casefold() == col.layer.header_down.strip().casefold()).to_numpy(dtype=bool)
        if down.any():
            return down
        said = f"No record's header is {col.layer.header_down!r}; there are {listed}."
    col.at.key("header_down").add("points.header", said)
    return None
