"""Whose ground it is, what the landowner refuses, and what the grower uses already."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_erosion

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, around, message

_AROUND = np.ones((3, 3), bool)


class InsideProperty:
    """Forbids ground outside the property."""

    name = "inside_property"
    title = "On the farm's own ground"
    reads = ("inside_property",)
    source = "the layers given"
    order = 0

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Allow cells marked as inside; a cell of unknown standing is outside.

        A cell is marked by its center, so one on the line lies partly outside. Where
        property lines are given their own clear distance sees to that; where they are
        not, the outermost cells are left out.
        """
        inside = site.array("inside_property")
        own = np.nan_to_num(inside) >= 1
        if site.layer("property") is None:
            own = binary_erosion(own, _AROUND, border_value=1)
        return site.rating(own, own, inside, "1", limit=1.0)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whose ground it is."""
        if allowed:
            return message("inside_property.inside")
        return message("inside_property.edge" if value >= 1 else "inside_property.outside")


INSIDE_PROPERTY = InsideProperty()


class NoGo:
    """Forbids refused places, and a lane's width around them so that no machine circles on them."""

    name = "no_go"
    title = "Not refused by the landowner"
    reads = ()
    source = "the landowner's answer"
    order = 1

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Forbid the layer `no_go`; none given means nothing is refused."""
        frame = site.layer("no_go")
        lane = options.coefficients.value("yards.lane")
        if frame is None:
            return site.rating(site.everywhere(1.0), site.everywhere(True), site.everywhere(1.0), "1", limit=lane)
        keep_out = around(frame.geometry, lane)
        refused = site.touched([keep_out])
        clear_of = frame.geometry.to_numpy(), np.full(len(frame), lane)
        return site.rating(~refused, ~refused, ~refused, "1", limit=lane, keep_out=keep_out, clear_of=clear_of)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether the place was refused."""
        return message("no_go.not_refused" if allowed else "no_go.refused")


NO_GO = NoGo()


class KnownPlace:
    """Scores up the grower's own places; they are held to every other criterion all the same."""

    name = "known_place"
    title = "Known to the grower"
    reads = ()
    source = "the layer `yards`"
    order = 69

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Mark the grower's places."""
        if site.layer("yards") is None:  # where none is given the criterion says nothing and weighs nothing
            return site.rating(site.everywhere(np.nan), site.everywhere(True), site.everywhere(0.0), "1")
        known = site.covered("yards")
        return site.rating(np.where(known, 1, 0.7), site.everywhere(True), known, "1")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether the grower named it."""
        return message("known_place.named" if value >= 0.5 else "known_place.new")


KNOWN_PLACE = KnownPlace()
