"""Where a falling tree would land, and where snow drifts behind trees and buildings."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, around, message, no_layer


class TreeFall:
    """Scores down the ground within one tree height of the crowns."""

    name = "tree_fall"
    title = "Out of reach of falling trees"
    reads = ()
    source = "plane geometry: a tree reaches its own height; the score is judgment, handbook, yards.trees.fall_score"
    order = 64

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Mark the ground within each tree's height."""
        if not site.given("trees"):
            return no_layer("trees")
        frame = site.layer("trees")
        reach = np.zeros(site.shape, bool)
        if frame is not None and "height_m" in frame.columns:
            tall = frame[frame["height_m"] > 0]
            if len(tall):
                reach = site.touched([around(tall.geometry, tall["height_m"].to_numpy(float))])
        elif frame is not None:
            return NotChecked(message("not_checked.no_heights", layer=message("layer.trees")))
        low = options.coefficients.value("yards.trees.fall_score")
        return site.rating(np.where(reach, low, 1), site.everywhere(True), reach, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether a tree would reach it."""
        return message("tree_fall.reached" if value >= 0.5 else "tree_fall.clear")


TREE_FALL = TreeFall()


class Snow:
    """Scores down the lee of trees and buildings."""

    name = "snow"
    title = "Clear of snow drifts"
    reads = ()
    source = "handbook, yards.snow"
    order = 67

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Mark the ground over which a drift would lie."""
        wind = options.yards.wind_from_deg
        if wind is None:
            return NotChecked(message("not_checked.no_wind"))
        if not (site.given("trees") or site.given("buildings")):
            return no_layer("trees", "buildings")
        heights = options.coefficients.value("yards.snow.heights")
        lee = np.zeros(site.shape, bool)
        for name in ("trees", "buildings"):
            frame = site.layer(name)
            if frame is not None and "height_m" in frame.columns:
                lee |= site.touched(drifts(frame, wind, heights))
        low = options.coefficients.value("yards.snow.score")
        return site.rating(np.where(lee, low, 1), site.everywhere(True), lee, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether drifts form."""
        return message("snow.drifts" if value >= 0.5 else "snow.clear")


def drifts(frame: gpd.GeoDataFrame, wind_from_deg: float, heights: float) -> list[object]:
    """Return the ground swept by each shape when it is pushed downwind by so many of its heights."""
    toward = np.radians(wind_from_deg + 180)
    found: list[object] = []
    for shape, height in zip(frame.geometry, frame["height_m"].to_numpy(float), strict=True):
        if not height > 0:
            continue
        push = heights * height * np.array([np.sin(toward), np.cos(toward)])
        for part in shapely.get_parts(shape):
            ring = shapely.get_coordinates(part)
            # each side of the outline sweeps a parallelogram
            sides = np.stack([ring[:-1], ring[1:], ring[1:] + push, ring[:-1] + push], axis=1)
            found.append(shapely.union_all([part, *shapely.polygons(sides)]))
    return found


SNOW = Snow()
