"""How much of a stack is seen from roads, houses or places the plan names; an option."""

from __future__ import annotations

import numpy as np
from pyproj import Transformer

from stovergeo.core.messages import Message
from stovergeo.inputs.plan.yards import Visibility
from stovergeo.siting.sight import looking_places, places_max, seen_fraction
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message

_OUT_OF_SIGHT = 0.02


class InView:
    """Scores ground out of sight, or ground in view where the owner wants to keep an eye on the stacks."""

    name = "visibility"
    title = "In view, or out of sight"
    reads = ("elevation_m",)
    source = "lines of sight (Franklin & Ray 1994, from memory); scores are judgment, handbook, yards.visibility"
    order = 71
    optional = True

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Look from each kind of place; the kind that sees most of a cell decides."""
        wish = options.yards.visibility
        lacking = [layer for layer in wish.seen_from if not site.given(layer)]
        if lacking:
            return NotChecked(message("not_checked.no_view", layer=message(f"layer.{lacking[0]}")))
        coefficients = options.coefficients
        reach = coefficients.value("yards.visibility.reach") if wish.reach_m is None else wish.reach_m
        named = self._named(site, wish)
        far = [place.name for place, at in zip(wish.places, named, strict=True) if not _within(at, site, reach)]
        if far:
            return NotChecked(message("not_checked.far_view", name=far[0], reach=reach))
        ground = site.array("elevation_m")
        surface = site.array("surface_m") if "surface_m" in site.stack else ground
        value = np.where(np.isnan(ground), np.float32(np.nan), np.float32(0))
        every, most = coefficients.value("yards.visibility.every"), places_max(reach / site.cell_m)
        shapes = [frame.geometry.to_numpy() for name in wish.seen_from if (frame := site.layer(name)) is not None]
        places = [site.row_col(looking_places(s, every, 1.5 * site.cell_m, most)) for s in shapes]
        for group in [*places, named]:
            seen = seen_fraction(
                ground,
                surface,
                group,
                site.cell_m,
                eye_m=coefficients.value("yards.visibility.eye"),
                stack_m=options.pattern.height_m,
                reach_m=reach,
            )
            np.maximum(value, seen, out=value)
        score = value if wish.wish == "in view" else 1 - value
        return site.rating(score, site.everywhere(True), value, "1")

    @staticmethod
    def _named(site: Site, wish: Visibility) -> np.ndarray:
        """Return the plan's own places as rows and columns."""
        to_stack = Transformer.from_crs(4326, site.stack.rio.crs, always_xy=True)
        at = [to_stack.transform(place.lon, place.lat) for place in wish.places]
        return site.row_col(np.array(at, float).reshape(-1, 2))

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how much of it is seen, and whether that is what the owner wants."""
        wish = "wished" if score >= 0.5 else "unwished"
        if value < _OUT_OF_SIGHT:
            return message(f"visibility.hidden_{wish}")
        return message(f"visibility.seen_{wish}", value=value)


def _within(row_col: np.ndarray, site: Site, reach_m: float) -> bool:
    """Return whether a place is near enough to the grid for something on it to be seen."""
    beyond = np.maximum(np.maximum(-row_col, row_col - np.array(site.shape)), 0)
    return bool(np.hypot(*beyond) * site.cell_m < reach_m)  # false too where the place is nowhere


VISIBILITY = InView()
