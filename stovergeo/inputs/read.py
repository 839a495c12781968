"""All layers of a plan, read one after the other; a layer that fails does not hide the troubles of the others."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from typing import Final, TypeVar, TypeVarTuple

import geopandas as gpd
import pandas as pd
import shapely
import xarray as xr
from pyproj import CRS
from pyproj.exceptions import ProjError

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.inputs.cluster import cluster_fields, cluster_of_points, crs_of
from stovergeo.inputs.crs import Bounds, center_lonlat, crs_from, named, to_working, working_crs
from stovergeo.inputs.farm_layers import FarmLayers, FarmSize, Sized
from stovergeo.inputs.fields import (
    check_heights_agree,
    check_points_on_fields,
    check_property,
    make_fields,
    rough_ground,
)
from stovergeo.inputs.grid import farm_bounds
from stovergeo.inputs.heights import cells_to_read, check_header, read_heights
from stovergeo.inputs.idle_keys import report_idle_keys
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import ElevationLayer, Layer, RasterLayer
from stovergeo.inputs.points import PointRows, points_table, read_point_rows
from stovergeo.inputs.rasters import read_yield_raster
from stovergeo.inputs.soil_files import read_soil_polygons
from stovergeo.inputs.soils import make_soils, no_soils, report_unknown
from stovergeo.inputs.surroundings import FAMILIES, make_surrounding, not_checked
from stovergeo.inputs.tags import report_shared
from stovergeo.inputs.text import clean_text
from stovergeo.inputs.vector import of_family, read_layer, valid_polygons

message = Catalog("stovergeo.inputs")
#: surroundings and soils are kept this far beyond the farm's grid, m: setbacks and shadows reach no farther
REACH_M: Final = 1000.0
#: heights are read a little beyond the grid, so that its rim has neighbors, m
RIM_M: Final = 50.0
MAX_GRID_CELLS: Final = 60_000_000

T = TypeVar("T")
Ts = TypeVarTuple("Ts")


def read_layers(plan: Plan, report: Report, sized: Sized = lambda size: True) -> FarmLayers:
    """Read and check every layer of a plan; problems go to the report.

    A layer that cannot be used is None (or missing from `surroundings`) and its refusal stands in
    the report: call `Report.stop_if_refused` before using the result.

    Parameters
    ----------
    plan : Plan
    report : Report
        Gains every problem of every layer.
    sized : callable, optional
        Told how large the farm is before any raster is read; where it answers False, no raster is.

    Returns
    -------
    FarmLayers
        Everything in one working CRS in meters; `not_checked` says what was not given, and why that matters.

    Raises
    ------
    InputError
        When no layer at all says where the farm lies.

    Examples
    --------
    >>> from stovergeo import Report, read_layers, read_plan, sample_plan_path
    >>> report = Report()
    >>> farm = read_layers(read_plan(sample_plan_path(), report), report)
    >>> report.stop_if_refused()
    >>> farm.crs.is_projected, "field_id" in farm.fields
    (True, True)
    """
    return _Reader(plan, report, sized).read()


class _Reader:
    def __init__(self, plan: Plan, report: Report, sized: Sized) -> None:
        self.plan, self.report, self.sized = plan, report, sized
        self.layers = plan.layers

    def attempt(self, where: str, make: Callable[[*Ts, Place], T], *args: *Ts) -> T | None:
        """Run one reader; a refusal is in the report already, a library's surprise is put there."""
        at = Place(where, self.report)
        try:
            return make(*args, at)
        except InputError:
            return None
        except (shapely.errors.ShapelyError, ProjError, sqlite3.Error, ArithmeticError, MemoryError) as error:
            at.add("file.unreadable", f"{type(error).__name__}: {clean_text(error)}.")
            return None

    def read(self) -> FarmLayers:
        """Read everything: first where each layer lies, then, in one CRS, what it says."""
        layers, plan = self.layers, self.plan
        self._check_named()
        given: dict[str, Layer] = {k: v for k in ("fields", *FAMILIES) if (v := getattr(layers, k)) is not None}
        if plan.landowner.no_go is not None:
            given["no_go"] = Layer(path=plan.landowner.no_go)
        self.raw = raw = {k: self.attempt(k, self._rows, v) for k, v in given.items()}
        report_shared({k: v for k, v in given.items() if raw[k] is not None}, self.report)
        rows = None
        if layers.yield_points is not None:
            rows = self.attempt("yield_points", read_point_rows, layers.yield_points, plan, None)
        # what says where the farm lies, the surest first
        lying = [raw.get("fields"), *(frame for _, frame, _ in rows or []), raw.get("property"), *raw.values()]
        placed = [frame for frame in lying if frame is not None]
        self.crs = crs = self._working(placed)
        fields = points = None
        if layers.fields is not None and (outlines := raw["fields"]) is not None:
            fields = self.attempt("fields", make_fields, outlines, layers.fields, crs)
        if layers.yield_points is not None and rows is not None:
            points = self.attempt("yield_points", self._points, rows, crs)
        earlier = self._earlier_points(fields, crs)
        alone = FarmLayers(crs, no_soils(crs), fields, points, earlier=earlier, not_checked=not_checked(layers))
        parts = self._parts(alone)
        owned = self._surrounding("property", None) if len(parts) == 1 else None
        boxes = [self._inner_box(part, placed, owned) for part in parts]
        self.read_rasters = self.sized(self._size(parts, boxes))
        done = [self._around(part, box) for part, box in zip(parts, boxes, strict=True)]
        self._check_refused_places(done)
        farm = done[0] if len(done) == 1 else _whole(alone, done)
        if fields is not None and points is not None and layers.yield_points is not None:
            self.attempt("yield_points", check_points_on_fields, points, fields, layers.yield_points)
        for part in done:
            if part.points is not None and part.elevation is not None:
                self.attempt("elevation", check_heights_agree, part.points, part.elevation)
        owned = farm.surroundings.get("property")
        if fields is not None and owned is not None:
            self.attempt("property", check_property, fields, owned)
        return farm

    def _parts(self, farm: FarmLayers) -> list[FarmLayers]:
        """Return the fields and points of each cluster, each in a CRS of its own unless the plan names one."""
        fields, points = farm.fields, farm.points
        clusters = [] if fields is None else cluster_fields(fields, self.plan.farm.margin_m)
        if fields is None or len(clusters) < 2:
            return [farm]
        records = {year: p for year, p in farm.earlier.items() if isinstance(p, gpd.GeoDataFrame)}
        records |= {} if points is None else {self.plan.farm.season: points}
        owner = {year: cluster_of_points(p, fields, clusters) for year, p in records.items()}
        parts = []
        for number, rows in enumerate(clusters):
            mine = fields.iloc[rows].reset_index(drop=True)
            crs = farm.crs if self.plan.farm.crs is not None else crs_of(mine)
            mine = mine.to_crs(crs)
            own = {year: p[owner[year] == number].to_crs(crs).reset_index(drop=True) for year, p in records.items()}
            now = own.pop(self.plan.farm.season, None)
            parts.append(replace(farm, crs=crs, fields=mine, points=now, earlier=own))
        return parts

    def _around(self, part: FarmLayers, inner: Bounds) -> FarmLayers:
        """Return a cluster with everything round its fields: soils, rasters, surroundings, refused places."""
        self.crs = part.crs
        self.box = _with_rim(inner)
        fields, points, no_go = part.fields, part.points, self.raw.get("no_go")
        region = shapely.box(*self.box).buffer(REACH_M, join_style="mitre")
        # without outlines the other layers are held against the ground of the points
        ground = fields if fields is not None or points is None else rough_ground(points)
        found = {k: self._surrounding(k, None if k == "property" else region) for k in FAMILIES}
        return replace(
            part,
            soils=self._soils(region, ground),
            yield_raster=self._raster("yield_raster", read_yield_raster, ground),
            earlier=self._earlier_maps(part, ground),
            elevation=self._raster("elevation", read_heights, ground),
            surface=self._raster("surface", read_heights, None),
            surroundings={k: frame for k, frame in found.items() if frame is not None},
            no_go=None if no_go is None else self.attempt("no_go", _no_go, no_go, part.crs),
        )

    def _check_refused_places(self, parts: list[FarmLayers]) -> None:
        """Report places that the landowner refuses none of which lies near any field."""
        refused = parts[0].no_go
        if refused is not None and not any(_is_near(part) for part in parts):
            self.report.add("answer.far_away", "no_go", f"None of its {len(refused):,} places lies near the farm.")

    def _check_named(self) -> None:
        """Report what no plan can be without, and is not named."""
        layers, named = self.layers, Place("plan file, layers", self.report)
        if layers.fields is None and layers.yield_points is None:
            named.add("layer.needed", "Neither fields nor yield points are named.")
        if not self._says_yields():
            said = "No yield points, no yield map, no earlier harvest and no stated yield are named."
            named.add("yield.needed", said)
        report_idle_keys(layers, [(None, layers)], Place("layers", self.report))
        if layers.soils is None and self.plan.soil is None:
            self.report.add("soil.none", "plan file", "Neither a soil layer nor a [soil] section is there.")

    def _says_yields(self) -> bool:
        layers, stated = self.layers, self.plan.yields
        measured = (layers.yield_points, layers.yield_raster, *layers.earlier_points, *layers.earlier_maps)
        return any(layer is not None for layer in measured) or stated.everywhere is not None or bool(stated.by_field)

    def _rows(self, layer: Layer, at: Place) -> gpd.GeoDataFrame:
        kinds = frozenset(FAMILIES.get(at.where, {"polygon"}))
        return read_layer(layer, self.plan, at.where, at.report, kinds)

    def _points(self, rows: PointRows, crs: CRS, at: Place) -> gpd.GeoDataFrame:
        return points_table(rows, crs)

    def _earlier_points(self, fields: gpd.GeoDataFrame | None, crs: CRS) -> dict[int, gpd.GeoDataFrame | xr.DataArray]:
        """Return the points of earlier harvests by year; one that cannot be used is refused in the report."""
        layers = self.layers
        found: dict[int, gpd.GeoDataFrame | xr.DataArray] = {}
        for number, layer in enumerate(layers.earlier_points, start=1):
            where = f"earlier_points {number}"
            if not self._is_earlier(layer.year, found, where):
                continue
            rows = self.attempt(where, read_point_rows, layer, self.plan, layers.yield_points)
            points = None if rows is None else self.attempt(where, self._points, rows, crs)
            if points is not None:
                found[layer.year] = points
                if fields is not None:
                    self.attempt(where, check_points_on_fields, points, fields, layer)
        return found

    def _earlier_maps(
        self, part: FarmLayers, ground: gpd.GeoDataFrame | None
    ) -> dict[int, gpd.GeoDataFrame | xr.DataArray]:
        """Return the earlier harvests of a cluster with those that are finished maps."""
        found = dict(part.earlier)
        for number, chart in enumerate(self.layers.earlier_maps, start=1):
            where = f"earlier_maps {number}"
            if not self._is_earlier(chart.year, found, where) or not self.read_rasters:
                continue
            grain = self.attempt(where, read_yield_raster, chart, self.plan, self.box, part.crs, ground)
            if grain is not None:
                found[chart.year] = grain
        return found

    def _is_earlier(self, year: int, found: dict[int, gpd.GeoDataFrame | xr.DataArray], where: str) -> bool:
        place, season = Place(f"plan file, layers.{where}.year", self.report), self.plan.farm.season
        if year >= season:
            place.add("years.not_earlier", f"The year is {year}, the season planned {season}.")
        if year in found:
            place.add("years.twice", f"The year {year} is there already.")
        return year < season and year not in found

    def _working(self, placed: list[gpd.GeoDataFrame]) -> CRS:
        """Return the working CRS: as the plan says, else the UTM zone of the first layer that could be read."""
        where = "plan file, farm.crs"
        if not placed:
            for key, layer in self._rasters():  # judged by their headers, since nothing says which part to read
                self.attempt(key, check_header, layer, self.plan)
            self.report.stop_if_refused()
            raise self.report.refuse("layer.needed", "plan file, layers", "No layer says where the farm lies.")
        if self.plan.farm.crs is not None:
            crs = self.attempt(where, crs_from, self.plan.farm.crs)
            if crs is not None:
                if crs.is_projected and not crs.is_compound and crs.axis_info[0].unit_name in ("metre", "meter"):
                    return crs
                self.report.add("crs.not_meters", where, f"{named(crs)} is not a projected system in meters.")
        west, south, east, north = placed[0].total_bounds
        return working_crs(*center_lonlat((west, south, east, north), CRS(placed[0].crs)))

    def _rasters(self) -> list[tuple[str, RasterLayer | ElevationLayer]]:
        keys = ("yield_raster", "elevation", "surface")
        return [(key, layer) for key in keys if (layer := getattr(self.layers, key)) is not None]

    def _surrounding(self, key: str, region: shapely.Polygon | None) -> gpd.GeoDataFrame | None:
        frame, layer = self.raw.get(key), getattr(self.layers, key)
        return None if frame is None else self.attempt(key, make_surrounding, key, frame, layer, region, self.crs)

    def _inner_box(self, part: FarmLayers, placed: list[gpd.GeoDataFrame], owned: gpd.GeoDataFrame | None) -> Bounds:
        """Return the box of a cluster's grid, from its fields or the first of the layers, and the property."""
        farm = self.plan.farm
        first = next((f for f in (part.fields, part.points) if f is not None), placed[0])
        box = farm_bounds(first.to_crs(part.crs), owned, farm.cell_m, farm.margin_m)
        wide, high = box[2] - box[0], box[3] - box[1]
        if (cells := wide * high / farm.cell_m**2) > MAX_GRID_CELLS:
            span = message("area.farm", wide=wide / 1000, high=high / 1000, cells=round(cells), cell=farm.cell_m)
            self.report.add("grid.too_big", "plan file, farm.cell", span)
        return box

    def _size(self, parts: list[FarmLayers], boxes: list[Bounds]) -> FarmSize:
        cells = sum((b[2] - b[0]) * (b[3] - b[1]) for b in boxes) / self.plan.farm.cell_m**2
        records = sum(0 if part.points is None else len(part.points) for part in parts)
        read = sum(
            cells_to_read(layer, self.plan, _with_rim(box), part.crs)
            for part, box in zip(parts, boxes, strict=True)
            for _, layer in self._rasters()
        )
        return FarmSize(round(cells), records, read)

    def _soils(self, region: shapely.Polygon, ground: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame:
        layer, sound, soils = self.layers.soils, None, None
        if layer is not None:
            sound = self.attempt("soils", read_soil_polygons, layer, self.plan, region, self.crs)
        # where the layer was refused, the plan's soil does not stand in for it
        if sound is not None or (layer is None and self.plan.soil is not None):
            soils = self.attempt("soils", make_soils, sound, self.plan.soil, region, self.crs)
        if soils is None:
            return no_soils(self.crs)
        if ground is not None:
            self.attempt("soils", report_unknown, soils, ground)
        return soils

    def _raster(
        self, key: str, read: Callable[..., xr.DataArray], ground: gpd.GeoDataFrame | None
    ) -> xr.DataArray | None:
        layer = getattr(self.layers, key)
        if layer is None or not self.read_rasters:
            return None
        return self.attempt(key, read, layer, self.plan, self.box, self.crs, ground)


def _with_rim(box: Bounds) -> Bounds:
    return box[0] - RIM_M, box[1] - RIM_M, box[2] + RIM_M, box[3] + RIM_M


def _no_go(frame: gpd.GeoDataFrame, crs: CRS, at: Place) -> gpd.GeoDataFrame:
    return to_working(valid_polygons(of_family(frame, {"polygon"}, at), at, 0.0), crs, at)


def _is_near(part: FarmLayers) -> bool:
    """Whether any refused place lies within reach of a cluster."""
    ground = next((f for f in (part.fields, part.points) if f is not None), None)
    if part.no_go is None or ground is None:
        return part.no_go is not None
    region = shapely.box(*ground.total_bounds).buffer(REACH_M + RIM_M, join_style="mitre")
    return bool(part.no_go.geometry.intersects(region).any())


def _whole(farm: FarmLayers, parts: list[FarmLayers]) -> FarmLayers:
    """Return a farm of several clusters: the tables of all in the farm's CRS, the rasters in its parts."""

    def joined(frames: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
        both = gpd.GeoDataFrame(pd.concat([f.to_crs(farm.crs) for f in frames], ignore_index=True), crs=farm.crs)
        whole = both.geometry.to_wkb().map(hash)  # what reaches into two clusters was read twice
        return both[~whole.duplicated()].reset_index(drop=True)

    keys = list(dict.fromkeys(k for part in parts for k in part.surroundings))
    return replace(
        farm,
        soils=joined([part.soils for part in parts]),
        surroundings={k: joined([p.surroundings[k] for p in parts if k in p.surroundings]) for k in keys},
        no_go=parts[0].no_go if parts[0].no_go is None else parts[0].no_go.to_crs(farm.crs),
        parts=tuple(parts),
    )
