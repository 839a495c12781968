"""Coordinate reference systems: believed only after the coordinates have been looked at.

A wrong label is the commonest way to a plausible wrong map. Each check here compares the
coordinates with what the label claims; nothing is converted on a guess.
"""

from __future__ import annotations

import warnings
from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Geod, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from stovergeo.core.messages import Catalog
from stovergeo.core.units import M2_PER_HA
from stovergeo.inputs.place import Place
from stovergeo.inputs.text import shown

Bounds = tuple[float, float, float, float]

message = Catalog("stovergeo.inputs")
LONLAT: Final = CRS.from_epsg(4326)
#: latitudes between which corn is grown at all, with room to spare (common practice, no source)
CORN_LATITUDES: Final = (-56.0, 66.0)
#: how far outside a CRS's area of use a layer may lie and still be believed (a UTM zone is 6 degrees wide)
NEIGHBOUR_DEG: Final = 4.0
#: farther than this from the origin no plane coordinate on Earth lies, in any length unit in use
FARTHEST: Final = 1.5e8
#: a datum shift is mentioned when it may be worse than this
ACCURATE_M: Final = 5.0
#: datums that agree to about a meter, as their names tell
_MODERN: Final = (
    "world geodetic system 1984",
    "wgs 84",
    "european terrestrial",
    "geocentric datum of australia",
    "itrf",
)
_GEOD: Final = Geod(ellps="GRS80")


def crs_from(text: str, at: Place) -> CRS:
    """Return the CRS a user wrote.

    Raises
    ------
    InputError
        ``crs.unknown``.
    """
    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise at.refuse("crs.unknown", f"{shown(text)} names no known coordinate reference system.") from None


def believed_crs(given: CRS | None, declared: str | None, bounds: Bounds, at: Place) -> CRS:
    """Return the CRS of a layer after its coordinates have been held against it.

    Parameters
    ----------
    given : pyproj.CRS or None
        What the file says.
    declared : str or None
        What the plan says; it wins, and a contradiction is reported.
    bounds : (west, south, east, north)
        Of the coordinates as stored in the file.

    Raises
    ------
    InputError
        ``crs.missing``, ``crs.unknown``, ``crs.unsupported``, ``crs.swapped``, ``crs.mislabeled``,
        ``crs.wrong_place``, ``geom.out_of_range``, ``geom.antimeridian``.
    """
    if declared is not None:
        crs = crs_from(declared, at)
        if given is not None and not _same(crs, given):
            at.add("crs.overridden", f"The file says {named(given)}, the plan says {named(crs)}; the plan is followed.")
    elif given is None:
        looks = " The numbers look like longitude and latitude." if _degrees(bounds) else ""
        cure = 'If so, add crs = "EPSG:4326" to this layer in the plan file.' if looks else None
        raise at.refuse("crs.missing", f"The layer has no coordinate reference system.{looks}", cure)
    else:
        crs = given
    flat = horizontal(crs)
    if not (flat.is_geographic or flat.is_projected):
        raise at.refuse("crs.unsupported", f"{named(crs)} is neither longitude/latitude nor a map projection.")
    if flat.is_geographic:
        _check_degrees(bounds, named(crs), at)
    else:
        _check_plane(flat, bounds, at)
    return flat


def horizontal(crs: CRS) -> CRS:
    """Return the two-dimensional part of a CRS."""
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if crs.is_bound and crs.source_crs is not None:
        return crs
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def named(crs: CRS) -> str:
    """Return a CRS's name with its code, for messages."""
    authority = crs.to_authority(min_confidence=70)
    return f"{crs.name} ({':'.join(authority)})" if authority else str(crs.name)


def to_working(frame: gpd.GeoDataFrame, working: CRS, at: Place) -> gpd.GeoDataFrame:
    """Return a layer in the working CRS, saying what had to be done on the way; polygons stay valid."""
    west, south, east, north = (float(v) for v in frame.total_bounds)
    note_conversion(CRS(frame.crs), (west, south, east, north), working, at)
    moved = frame.to_crs(working)
    # rounding can lay a corner across the line that it touches
    crossed = ~moved.is_valid & moved.geom_type.isin(["Polygon", "MultiPolygon"])
    if crossed.any():
        shapes = moved.geometry.to_numpy().copy()
        shapes[crossed] = shapely.make_valid(shapes[crossed], method="structure", keep_collapsed=False)
        moved = moved.set_geometry(shapes, crs=working)
    return moved[~(crossed & moved.is_empty)]


def note_conversion(crs: CRS, bounds: Bounds, working: CRS, at: Place) -> None:
    """Report a conversion a grower should know of: web map plane, feet, a datum shift of unknown accuracy."""
    if _same(crs, working):
        return
    if is_web_mercator(crs):
        at.add("crs.web_mercator", f"The layer is in {named(crs)}; it was converted to {named(working)}.")
    elif crs.is_projected and (unit := crs.axis_info[0].unit_name) not in ("metre", "meter"):
        at.add("crs.feet", f"The layer is in {named(crs)}, in {unit}; it was converted to {named(working)}.")
    accuracy = _accuracy_m(crs, bounds, working)
    if accuracy is None:
        at.add("crs.ballpark", f"From {named(crs)} to {named(working)} no conversion of known accuracy exists here.")
    elif accuracy > ACCURATE_M:
        at.add("crs.ballpark", message("length.ballpark", crs=named(crs), accuracy=accuracy))


def is_web_mercator(crs: CRS) -> bool:
    """Whether a CRS is the plane of web maps, under any of its names."""
    return crs.is_projected and (
        "Pseudo-Mercator" in crs.name or "Pseudo Mercator" in crs.to_wkt() or "Web_Mercator" in crs.name
    )


def working_crs(lon: float, lat: float) -> CRS:
    """Return the UTM zone (WGS 84) of a place: one projected meter CRS for the farm."""
    zone = int(np.clip((lon + 180) // 6 + 1, 1, 60))
    return CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)


def center_lonlat(bounds: Bounds, crs: CRS) -> tuple[float, float]:
    """Return longitude and latitude of the middle of a box."""
    west, south, east, north = bounds
    to_lonlat = Transformer.from_crs(crs, LONLAT, always_xy=True)
    lon, lat = to_lonlat.transform((west + east) / 2, (south + north) / 2)
    return float(lon), float(lat)


def geodesic_ha(frame: gpd.GeoDataFrame) -> np.ndarray:
    """Return the true area of each polygon on the ellipsoid, in hectares (geodesic, holes left out)."""
    # pyproj signs the area by ring direction: shells count, holes are taken off
    turned = shapely.orient_polygons(frame.to_crs(LONLAT).geometry.to_numpy())
    area_m2 = [0.0 if shape is None else _GEOD.geometry_area_perimeter(shape)[0] for shape in turned]
    return np.array(area_m2) / M2_PER_HA


def _same(one: CRS, other: CRS) -> bool:
    return one.equals(other, ignore_axis_order=True)


def _degrees(bounds: Bounds) -> bool:
    west, south, east, north = bounds
    return -180 <= west <= east <= 180 and -90 <= south <= north <= 90


def _check_degrees(bounds: Bounds, name: str, at: Place) -> None:
    west, south, east, north = bounds
    box = f"x {west:.6g} to {east:.6g}, y {south:.6g} to {north:.6g}"
    turned = (south, west, north, east)
    low, high = CORN_LATITUDES
    if _degrees(bounds) and east - west > 180:
        raise at.refuse("geom.antimeridian", f"The layer spans {east - west:.0f} degrees of longitude ({box}).")
    if _degrees(bounds) and low <= south and north <= high:
        return
    if _degrees(turned) and low <= west and east <= high:
        said = f"Read as longitude and latitude ({box}) this is no place on farmland; turned round it is."
        raise at.refuse("crs.swapped", said)
    if not _degrees(bounds):
        raise at.refuse("crs.mislabeled", f"The layer says {name}, in degrees, but holds {box}.")
    raise at.refuse("geom.out_of_range", f"No corn grows at latitude {south:.4g} to {north:.4g} ({box}).")


def _check_plane(crs: CRS, bounds: Bounds, at: Place) -> None:
    west, south, east, north = bounds
    box = f"x {west:.8g} to {east:.8g}, y {south:.8g} to {north:.8g}"
    if max(map(abs, bounds)) > FARTHEST:
        raise at.refuse("geom.out_of_range", f"No place on Earth has the coordinates {box} in {named(crs)}.")
    if _degrees(bounds):
        raise at.refuse("crs.mislabeled", f"The layer says {named(crs)}, but its numbers are degrees ({box}).")
    middle = ((west + east) / 2, (south + north) / 2)
    off = _outside_deg(crs, middle)
    if off == 0:
        return
    if _outside_deg(crs, middle[::-1]) == 0:
        raise at.refuse("crs.swapped", f"{box} lies outside {named(crs)}; with x and y turned round it lies inside.")
    if off is None:
        raise at.refuse("geom.out_of_range", f"{box} is no place on Earth in {named(crs)}.")
    if off > NEIGHBOUR_DEG:
        said = f"The layer lies {off:.0f} degrees outside the area of {named(crs)} ({box})."
        raise at.refuse("crs.wrong_place", said)
    at.add("crs.outside_area_of_use", f"The layer lies {off:.1f} degrees outside the area of {named(crs)}.")


def _outside_deg(crs: CRS, place: tuple[float, float]) -> float | None:
    """Degrees by which a place lies outside a CRS's area of use; None where it is no place at all."""
    try:
        there = Transformer.from_crs(crs, LONLAT, always_xy=True)
        lon, lat = there.transform(*place)
        back = there.transform(lon, lat, direction="INVERSE")
    except ProjError:
        return None
    # a plane point far off transforms to a plausible one, but does not come back (bad-inputs sheet, 5.2)
    if not np.isfinite([lon, lat, *back]).all() or np.hypot(back[0] - place[0], back[1] - place[1]) > 1.0:
        return None
    area = crs.area_of_use
    if area is None:
        return 0.0 if CORN_LATITUDES[0] <= lat <= CORN_LATITUDES[1] else 90.0
    beyond_lat = max(area.south - lat, lat - area.north, 0.0)
    inside_lon = area.west <= lon <= area.east if area.west <= area.east else lon >= area.west or lon <= area.east
    beyond_lon = 0.0 if inside_lon else min(abs((lon - edge + 180) % 360 - 180) for edge in (area.west, area.east))
    off = max(beyond_lat, beyond_lon)
    return off if off > 0.05 else 0.0


def _accuracy_m(crs: CRS, bounds: Bounds, working: CRS) -> float | None:
    """Meters to which a conversion is good at a place; None where nobody knows."""
    lon, lat = center_lonlat(bounds, crs)
    aoi = AreaOfInterest(lon - 0.05, lat - 0.05, lon + 0.05, lat + 0.05)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a missing grid shows in the accuracy, which is reported
        group = TransformerGroup(crs, working, always_xy=True, area_of_interest=aoi)  # type: ignore[arg-type]
    if group.transformers and group.transformers[0].accuracy >= 0:  # the one that is used there
        return float(group.transformers[0].accuracy)
    datum = (crs.geodetic_crs.datum.name if crs.geodetic_crs and crs.geodetic_crs.datum else "").lower()
    return 1.0 if any(name in datum for name in _MODERN) else None
