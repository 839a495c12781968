"""Clear distances from wells, water, buildings, dwellings, roads, lines, the property line and trees."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, around, message, no_layer, ramp

#: score just beyond the clear distance; it reaches 1 at the handbook's high distance
_AT_LIMIT = 0.6
#: whatever the plan says, no bale stands on the thing itself
_NEVER_ON_M = 0.5


@dataclass(frozen=True, slots=True)
class Setback:
    """A clear distance from every shape of one layer.

    The ground within the distance is forbidden exactly, by the shapes; beyond it the
    score rises until the most cautious distance any source asks for.
    """

    name: str
    title: str
    layer: str  #: key of the surroundings
    key: str  #: name in the handbook's `setbacks` and, with ``_m``, in the plan's `[yards.setbacks]`
    thing: str  #: the nearest what
    order: int
    add_height: bool = False  #: the stack's height is added
    at_least_height: bool = False  #: never less than the stack's height
    reads: tuple[str, ...] = ()
    mitigable: bool = False
    of_yard: str = "nearest"  #: a yard's distance is measured exactly, from its stacks

    @property
    def source(self) -> str:
        """Where the distances come from."""
        return f"handbook, setbacks.{self.key}"

    def distances_m(self, options: SiteOptions) -> tuple[float, float]:
        """Return the distance asked for, and the most cautious one; the plan's own number comes first."""
        own = getattr(options.yards.setbacks, f"{self.key}_m")
        number = options.coefficients[f"setbacks.{self.key}"]
        asked, high = (number.value, number.high) if own is None else (own, max(own, number.high))
        if self.at_least_height:
            asked = max(asked, options.pattern.height_m)
        if not self.add_height:
            asked = max(asked, _NEVER_ON_M)
        return asked, max(asked, high)  # of max, each number prints as it was given

    def measured_from(self, frame: gpd.GeoDataFrame) -> gpd.GeoSeries:
        """Return the shapes that distances are measured from."""
        return frame.geometry

    def extra_m(self, frame: gpd.GeoDataFrame, options: SiteOptions) -> np.ndarray | float:
        """Return what is added to the distance shape by shape."""
        return 0.0

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Forbid the ground within the distance, score the rest by distance."""
        if not site.given(self.layer):
            return no_layer(self.layer)
        asked, high = self.distances_m(options)
        added = options.pattern.height_m if self.add_height else 0.0
        clear = asked + added
        frame = site.layer(self.layer)
        if frame is None:  # the layer says there is none
            good, allowed, far = site.everywhere(1.0), site.everywhere(True), site.everywhere(np.nan)
            return site.rating(good, allowed, far, "m", limit=asked, added=added)
        distances = np.broadcast_to(clear + self.extra_m(frame, options), len(frame))
        keep_out = around(frame.geometry, distances)
        near = site.touched([keep_out])
        distance = site.distance_m(self.layer)
        score = ramp(distance, (clear, max(high + added, clear + 1)), (_AT_LIMIT, 1.0))
        score[np.isnan(distance)] = 1  # all of them lie off the map, farther than the grid's margin
        score[near] = 0
        clear_of = frame.geometry.to_numpy(), distances
        return site.rating(score, ~near, distance, "m", limit=asked, added=added, keep_out=keep_out, clear_of=clear_of)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far the nearest one is."""
        if np.isnan(value):
            return message("setback.none", thing=self.thing)
        under = "_under" if self.add_height else ""
        if allowed:
            return message(f"setback.clear{under}", thing=self.thing, value=value, limit=limit)
        danger = message(f"setback.danger.{self.key}")
        return message(f"setback.too_close{under}", thing=self.thing, limit=limit, danger=danger)


@dataclass(frozen=True, slots=True)
class RoadSetback(Setback):
    """The same from the edge of a road; a road drawn as a line gets half its width."""

    def extra_m(self, frame: gpd.GeoDataFrame, options: SiteOptions) -> np.ndarray | float:
        """Return half a road's width for lines, nothing for polygons."""
        half = options.coefficients.value("setbacks.road_half_width")
        return np.where(frame.geometry.geom_type.str.contains("Polygon"), 0.0, half)


@dataclass(frozen=True, slots=True)
class PropertyLine(Setback):
    """The same from the outline of the property."""

    def measured_from(self, frame: gpd.GeoDataFrame) -> gpd.GeoSeries:
        """Return the outline; lines between the owner's own parcels do not count."""
        return gpd.GeoSeries([frame.geometry.union_all().boundary], crs=frame.crs)

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Measure from the outline, not from the inside."""
        frame = site.layer(self.layer)
        if frame is None:
            return no_layer(self.layer)
        outline = gpd.GeoDataFrame(geometry=self.measured_from(frame))
        # a site of its own, so that distances to the outline are not mixed with those to the parcels
        return Setback.rate(self, Site(site.stack, {self.layer: outline}), options)


WELLS = Setback("setback_wells", "Clear of wells", "wells", "well", "well", 10)
DWELLINGS = Setback("setback_dwellings", "Clear of dwellings", "dwellings", "dwelling", "dwelling", 11)
OVERHEAD_LINES = Setback(
    "setback_overhead_lines",
    "Clear of overhead lines",
    "overhead_lines",
    "overhead_line",
    "overhead line",
    12,
    add_height=True,
)
BUILDINGS = Setback(
    "setback_buildings", "Clear of buildings", "buildings", "building", "building", 13, at_least_height=True
)
ROADS = RoadSetback("setback_roads", "Clear of roads", "roads", "road", "road", 14)
WATER = Setback("setback_water", "Clear of water", "water", "water", "stream, ditch or pond", 15)
PROPERTY_LINE = PropertyLine(
    "setback_property_line", "Clear of the property line", "property", "property_line", "property line", 16
)
TREES = Setback("setback_trees", "Clear of trees", "trees", "trees", "tree crown", 17)
