"""How far it is to a road or gate, to the bales, and to the edge of the field."""

from __future__ import annotations

import numpy as np
from scipy.spatial.distance import cdist

from stovergeo.core.distance import distance_to_cells
from stovergeo.core.messages import Message
from stovergeo.siting.route import route_m
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp

#: layers that a machine cannot drive over
_BARRIERS = ("water", "buildings", "trees")


class Access:
    """Refuses ground that no loaded mover can reach; scores the rest by the length of the route."""

    name = "access"
    title = "Route to a road or gate"
    reads = ()
    source = "least-cost route over the ground; limits are judgment, handbook, yards.way"
    order = 45
    of_yard = "route"

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Find the easiest route from every cell to the nearest road or gate."""
        start = site.covered("roads", "gates")
        if not start.any():
            return NotChecked(message("not_checked.no_route", layers=(message("layer.roads"), message("layer.gates"))))
        names = ("slope_max", "slope_weight", "verge", "good", "far")
        slope_max, weight, verge_m, good, far = options.values("yards.way", *names)
        hardness = np.ones(site.shape, np.float32)
        if "slope_pct" in site.stack:
            slope = np.nan_to_num(site.array("slope_pct"))
            hardness = np.where(slope > slope_max, np.nan, 1 + weight * slope).astype(np.float32)
        hardness[site.covered(*_BARRIERS)] = np.nan
        if site.layer("property") is not None:
            # nobody drives over the neighbor's ground, but the verge between road and line is crossed
            hardness[~site.covered("property") & ~(site.distance_m("roads") <= verge_m)] = np.nan
        route = route_m(start, hardness, site.cell_m)
        reached = np.isfinite(route)
        score = np.where(reached, ramp(route, (good, far, 3 * far), (1, 0.2, 0)), 0)
        return site.rating(score, reached, route, "m", limit=slope_max)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how long the route is, or what cuts it."""
        return message("access.route", value=value) if allowed else message("access.no_route", limit=limit)


ACCESS = Access()


_LATTICE = 40  # the mean distance is smooth; it is worked out on so many places each way and spread between them


class Haul:
    """Scores nearness to the ground the bales come from."""

    name = "haul"
    title = "Distance to the bales"
    reads = ("field_number",)
    source = "straight-line mean distance weighed by stover; scores are judgment, handbook, yards.haul"
    order = 65

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Work out the mean distance to the stover, or to the field ground where none is known yet."""
        give = np.isfinite(site.array("field_number")).astype(np.float32)
        if "removable_mg_ha" in site.stack:
            stover = np.nan_to_num(site.array("removable_mg_ha")) * give
            give = stover if stover.sum() > 0 else give
        if not give.any():
            return NotChecked(message("not_checked.no_field"))
        mean = mean_distance_m(give, site.cell_m)
        good_far = options.values("yards.haul", "good", "far")
        return site.rating(ramp(mean, good_far, (1, 0.2)), site.everywhere(True), mean, "m")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far the bales come."""
        return message("haul.mean", value=value)


def mean_distance_m(weight: np.ndarray, cell_m: float) -> np.ndarray:
    """Return each cell's mean distance to all weight on the grid, to about a lattice step's rounding.

    Parameters
    ----------
    weight : float array (rows, cols)
    cell_m : float

    Returns
    -------
    float32 array (rows, cols)
    """
    rows, cols = weight.shape
    step = max(1, -(-max(rows, cols) // _LATTICE))
    padded = np.zeros((-(-rows // step) * step, -(-cols // step) * step))
    padded[:rows, :cols] = weight
    lumps = padded.reshape(padded.shape[0] // step, step, padded.shape[1] // step, step).sum(axis=(1, 3))
    at_y = (np.arange(lumps.shape[0]) + 0.5) * step
    at_x = (np.arange(lumps.shape[1]) + 0.5) * step
    lattice, heavy = np.stack(np.meshgrid(at_y, at_x, indexing="ij"), axis=-1), lumps > 0
    # one row of the lattice at a time keeps the table of distances small
    coarse = np.stack([cdist(line, lattice[heavy]) @ lumps[heavy] for line in lattice]) / lumps.sum()
    wide = np.stack([np.interp(np.arange(cols) + 0.5, at_x, line) for line in coarse])
    low = np.clip(np.searchsorted(at_y, np.arange(rows) + 0.5) - 1, 0, max(len(at_y) - 2, 0))
    if len(at_y) == 1:
        return (np.repeat(wide, rows, axis=0) * cell_m).astype(np.float32)
    part = np.clip((np.arange(rows) + 0.5 - at_y[low]) / step, 0, 1)[:, None].astype(np.float32)
    wide = wide.astype(np.float32)
    return ((wide[low] * (1 - part) + wide[low + 1] * part) * np.float32(cell_m)).astype(np.float32)


HAUL = Haul()


class FieldEdge:
    """Stacks stand into the next season: edges, headlands and farmstead ground before the middle of a field."""

    name = "field_edge"
    title = "Out of the way of planting"
    reads = ("field_number",)
    source = "handbook, yards.field_edge (judgment)"
    order = 66

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Score by the distance into the field."""
        outside = ~np.isfinite(site.array("field_number"))
        if not outside.any():  # the field fills the grid: its edge is not on the map
            return NotChecked(message("not_checked.no_edge"))
        inward = distance_to_cells(outside, site.cell_m)
        good, far, least = options.values("yards.field_edge", "good", "far", "least")
        return site.rating(ramp(inward, (good, far), (1, least)), site.everywhere(True), inward, "m")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far in the field it lies."""
        if value <= 0:
            return message("field_edge.outside")
        return message("field_edge.near" if score > 0.8 else "field_edge.inside", value=value)


FIELD_EDGE = FieldEdge()
