"""Field boundaries, each a sound outline with a true area; and whether points, heights and property fit them."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr
from pyproj import CRS

from stovergeo.core.messages import Catalog
from stovergeo.core.units import M2_PER_HA
from stovergeo.inputs.crs import geodesic_ha, to_working
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import FieldsLayer, PointsLayer
from stovergeo.inputs.tables import find_column, names_of
from stovergeo.inputs.text import shown
from stovergeo.inputs.vector import SLIVER_HA, of_family, parts_of, valid_polygons

message = Catalog("stovergeo.inputs")
#: outlines beyond this are more likely a wrong unit or a whole farm (bad-inputs sheet, row 26; judgment)
SMALL_HA: Final = 0.1
LARGE_HA: Final = 5000.0
_YES: Final = ("1", "1.0", "yes", "y", "true")
_NO: Final = ("", "0", "0.0", "no", "n", "false", "none", "nan")
_NAMES: Final = ("name", "field_name", "fieldname", "field", "label", "title")


def make_fields(frame: gpd.GeoDataFrame, layer: FieldsLayer, crs: CRS, at: Place) -> gpd.GeoDataFrame:
    """Return the FIELDS table in the working CRS from rows as read.

    Raises
    ------
    InputError
        ``geom.type``, ``geom.invalid_much``, ``layer.empty``, ``column.missing``.
    """
    frame = valid_polygons(of_family(frame, {"polygon"}, at), at)
    frame = to_working(frame, crs, at)
    frame = _counted_once(frame.reset_index(drop=True), at)
    area = geodesic_ha(frame)
    fields = gpd.GeoDataFrame(
        {
            "field_id": [f"F{i + 1}" for i in range(len(frame))],
            "name": names_of(frame, layer.name_column, _NAMES, "Field", at),
            "area_ha": area,
            "crop_stands": _standing(frame, layer, at),
        },
        geometry=frame.geometry.to_numpy(),
        crs=crs,
    )
    for name, size in zip(fields["name"], area, strict=True):
        if not SMALL_HA <= size <= LARGE_HA:
            at.part(f"{name!r}").add("geom.size", message("area.odd", area=float(size)))
    return fields


def _standing(frame: gpd.GeoDataFrame, layer: FieldsLayer, at: Place) -> np.ndarray:
    """Return True for each field whose column says yes; False for all where no column is named."""
    if layer.standing_column is None:
        return np.zeros(len(frame), dtype=bool)
    place = at.key("standing_column")
    column = find_column(frame, layer.standing_column, (), place)
    words = frame[column].map(lambda said: "" if pd.isna(said) else str(said).strip().lower())
    odd = words[~words.isin((*_YES, *_NO))]
    if len(odd):
        said = f"{len(odd):,} of {len(words):,} rows say neither, such as {shown(odd.iloc[0], 40)}."
        place.add("fields.standing_words", said)
    return words.isin(_YES).to_numpy(dtype=bool)


def _counted_once(frame: gpd.GeoDataFrame, at: Place) -> gpd.GeoDataFrame:
    """Take ground that two outlines share off the later one, so that nothing is counted twice."""
    shapes = frame.geometry.to_numpy().copy()
    first, second = frame.sindex.query(shapes, predicate="intersects")
    for i, j in sorted(zip(first[first < second].tolist(), second[first < second].tolist(), strict=True)):
        shared = shapely.intersection(shapes[i], shapes[j])
        hectares = geodesic_ha(gpd.GeoDataFrame(geometry=[parts_of(shared, {"polygon"})], crs=frame.crs))[0]
        if hectares > SLIVER_HA:
            at.add("geom.overlap", message("area.overlap", one=i + 1, other=j + 1, area=float(hectares)))
        if shared.area > 0:
            shapes[j] = parts_of(shapely.difference(shapes[j], shapes[i]), {"polygon"}) or shapely.Polygon()
    frame = frame.set_geometry(shapes, crs=frame.crs)
    return frame[geodesic_ha(frame) > SLIVER_HA].reset_index(drop=True)


#: share of records outside all fields that is worth a word, and that means the wrong field (bad-inputs sheet, row 34)
SOME_OUTSIDE: Final = 0.02
MAX_OUTSIDE: Final = 0.20
#: fewer records than this on a field say little of its pattern (judgment)
MIN_POINTS: Final = 100
#: harvested ground as a share of a field, between which there is no warning: strips are left, headlands driven twice
COVERED: Final = (0.8, 1.3)
#: side of the squares in which the ground of points is taken, where no outline is there, m
SQUARE_M: Final = 30.0
#: meters between two heights of one place that no geoid explains (it departs from the ellipsoid by up to 106 m)
HEIGHTS_APART_M: Final = 120.0
#: correlation of two surveys of one ground with that much relief (judgment; a receiver's noise takes little of it)
MIN_ALIKE: Final = 0.6
#: ground flatter than this cannot be distinguished from a receiver's noise, m
MIN_RELIEF_M: Final = 8.0


def check_points_on_fields(
    points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, layer: PointsLayer | None, at: Place
) -> None:
    """Hold the points against the field outlines.

    Raises
    ------
    InputError
        ``overlay.empty`` when no point lies on a field, ``points.outside_max`` when over a fifth lie outside.
    """
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    on_field = []
    inside = np.zeros(len(points), dtype=bool)
    for shape in fields.geometry:
        west, south, east, north = shape.bounds
        near = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
        shapely.prepare(shape)
        on = near[shapely.contains_xy(shape, x[near], y[near])]
        inside[on] = True
        on_field.append(on)
    outside = 1 - inside.mean()
    said = f"{(~inside).sum():,} of {len(points):,} records ({outside:.0%}) lie outside all fields."
    if not inside.any():
        raise at.refuse("overlay.empty", said)
    if outside > MAX_OUTSIDE and not (layer is not None and layer.allow_outside):
        raise at.refuse("points.outside_max", said)
    if outside > SOME_OUTSIDE:
        at.add("points.outside", said)
    for name, rows, area_ha in zip(fields["name"], on_field, fields["area_ha"], strict=True):
        field = Place(f"fields, {name!r}", at.report)
        if len(rows) < MIN_POINTS:
            field.add("points.sparse", f"Yield records that lie on it: {len(rows):,}.")
            continue
        cut = float(points["area_m2"].to_numpy()[rows].clip(min=0).sum()) / M2_PER_HA / area_ha
        if not COVERED[0] <= cut <= COVERED[1]:
            field.add("points.coverage", message("area.covered", share=cut, area=float(area_ha)))


def rough_ground(points: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the ground yield points lie on, in squares: enough to ask of other layers whether they cover it."""
    corners = np.unique(np.floor(shapely.get_coordinates(points.geometry.to_numpy()) / SQUARE_M), axis=0) * SQUARE_M
    squares = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + SQUARE_M, corners[:, 1] + SQUARE_M)
    ground = gpd.GeoDataFrame({"name": ["yield points"]}, geometry=[shapely.union_all(squares)], crs=points.crs)
    return ground.assign(area_ha=geodesic_ha(ground))


def check_heights_agree(points: gpd.GeoDataFrame, elevation: xr.DataArray, at: Place) -> None:
    """Hold the elevation raster against the heights of the combine's receiver, where both are there.

    A receiver's height is noisy and may refer to the ellipsoid, tens of meters from the raster's; a wrong unit
    is off by hundreds, or makes the ground three times as hilly.
    """
    if "height_m" not in points:
        return
    some = points.iloc[:: max(len(points) // 5000, 1)]
    x, y = xr.DataArray(some.geometry.x.to_numpy(), dims="p"), xr.DataArray(some.geometry.y.to_numpy(), dims="p")
    ground = elevation.sel(x=x, y=y, method="nearest").to_numpy().astype(np.float64)
    heard = some["height_m"].to_numpy()
    both = np.isfinite(ground) & np.isfinite(heard)
    if both.sum() < MIN_POINTS:
        return
    ground, heard = ground[both], heard[both]
    apart = float(np.median(ground - heard))
    relief, told = (float(np.subtract(*np.quantile(h, (0.95, 0.05)))) for h in (ground, heard))
    if abs(apart) > HEIGHTS_APART_M:
        side = "above" if apart > 0 else "below"
        at.add("dem.disagree", message("length.heights_apart", apart=abs(apart), side=side))
        return
    if max(relief, told) > MIN_RELIEF_M and not 0.5 <= relief / max(told, 0.1) <= 2:
        at.add("dem.disagree", message("length.relief", relief=relief, receiver=told))
    elif min(relief, told) > MIN_RELIEF_M and (alike := float(np.corrcoef(ground, heard)[0, 1])) < MIN_ALIKE:
        said = f"Its ups and downs are not those of the yield points' receiver (correlation {alike:.2f})."
        at.add("dem.disagree", f"{said} It may be turned, mirrored or moved.")


def check_property(fields: gpd.GeoDataFrame, owned: gpd.GeoDataFrame, at: Place) -> None:
    """Report field ground outside the property lines."""
    ground = shapely.union_all(owned.geometry.to_numpy()) if len(owned) else shapely.Polygon()
    for name, shape in zip(fields["name"], fields.geometry, strict=True):
        beyond = shapely.difference(shape, ground)
        share = beyond.area / shape.area
        if share > 0.02:
            hectares = share * geodesic_ha(gpd.GeoDataFrame(geometry=[shape], crs=fields.crs))[0]
            outside = message("area.outside_property", area=float(hectares), share=float(share))
            Place(f"fields, {name!r}", at.report).add("property.field_outside", outside)
