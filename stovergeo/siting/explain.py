"""Why here, why not there, and what the ground would need."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from pyproj import Transformer
from scipy.ndimage import uniform_filter

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.siting.pattern import land_per_bale_m2
from stovergeo.siting.rate import GroundRatings, Rated
from stovergeo.siting.site import SIDES, message
from stovergeo.siting.yard import base_cost, kinds_on

if TYPE_CHECKING:
    from stovergeo.siting.yard import Cells, Yard

_LOOK_M = 40  # least bad ground is looked for in squares of this side
_PRICED_BALES = 100  # for so many the base of the least bad ground is priced


def room_messages(yards: list[Yard], bales_wanted: int, most: int) -> list[Message]:
    """Say how much room was found against what is wanted."""
    held = sum(y.bales for y in yards)
    messages = [message("found.room", yards=len(yards), held=held, wanted=bales_wanted)]
    if held < bales_wanted:
        messages.append(message("found.few_of_max" if len(yards) >= most else "found.few", few=bales_wanted - held))
    return messages


def named_place_message(name: str, cells: Cells, stack: xr.Dataset, ratings: GroundRatings) -> Message:
    """Say why a place the grower named holds no yard: the reason that forbids most of it."""
    place = message("named_place.name", name=name) if name else message("named_place.no_name")
    reasons = stack["yard_reason"].values[cells].astype(int)
    number = np.bincount(reasons, minlength=1)
    number[0] = 0
    if not number.any():
        return message("named_place.small", place=place)
    worst = int(number.argmax())
    here = np.nonzero(reasons == worst)[0]
    middle = here[len(here) // 2]
    why = ratings.rated[worst - 1].message_at(int(cells[0][middle]), int(cells[1][middle]))
    return message("named_place.refused", place=place, share=float(number[worst]) / len(cells[0]), why=why)


def forbidden_shares(stack: xr.Dataset) -> dict[str, float]:
    """Return for each hard reason the share of the property's ground it is first to forbid, largest first."""
    reason = stack["yard_reason"]
    names = reason.attrs["reasons"]
    on_farm = np.isfinite(reason.values)
    if "inside_property" in names:
        on_farm &= reason.values != names.index("inside_property")
    ground = max(int(on_farm.sum()), 1)
    counts = np.bincount(reason.values[on_farm].astype(int), minlength=len(names))
    shares = {name: float(counts[k]) / ground for k, name in enumerate(names) if k and counts[k]}
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


def no_ground_messages(stack: xr.Dataset, ratings: GroundRatings, coefficients: Handbook) -> list[Message]:
    """Say why there is no yard, which reason forbids most, and where the least bad ground lies."""
    allowed = bool((stack["yard_allowed"].values >= 1).any())
    messages = [message("no_ground.small" if allowed else "no_ground.none")]
    if shares := forbidden_shares(stack):
        largest = list(shares.items())[:3]
        listed = tuple(message("no_ground.reason", title=ratings.titles[n], share=part) for n, part in largest)
        messages.append(message("no_ground.reasons", reasons=listed))
    return messages + _least_bad(stack, ratings, coefficients)


def _least_bad(stack: xr.Dataset, ratings: GroundRatings, coefficients: Handbook) -> list[Message]:
    """Say where the best of the ground lies that only a base would be needed for, and which base."""
    mitigable = ~ratings.not_mitigable
    if not mitigable.any():
        return [message("no_ground.not_mitigable")]
    size = max(1, round(_LOOK_M / ratings.site.cell_m))
    part = uniform_filter(mitigable.astype(np.float32), size, mode="constant")
    score = np.where(mitigable, np.nan_to_num(stack["yard_score"].values), 0)
    mean = uniform_filter(score.astype(np.float32), size, mode="constant")
    row, col = (int(k) for k in np.unravel_index(int(np.argmax(np.where(mitigable, mean * part, -1))), mean.shape))
    kind = int(kinds_on(stack, (np.array([row]), np.array([col])), coefficients)[0])
    base = base_cost(kind, _PRICED_BALES * land_per_bale_m2(ratings.options.pattern), _PRICED_BALES, coefficients)
    bad = [r for r in ratings.rated if r.mitigable and _is_bad(r, row, col)]
    drained = any(r.name == "ponding_class" for r in bad)
    need = message("no_ground.drain", base=base.message) if drained else base.message
    return [
        message("no_ground.least_bad", where=_whereabouts(ratings, row, col)),
        *(r.message_at(row, col) for r in bad),
        message("no_ground.need_cost", base=need, cost=round(base.cost, -2), bales=_PRICED_BALES)
        if base.cost
        else message("no_ground.need", base=need),
        *([] if ratings.options.yards.accept_base else [message("no_ground.accept")]),
    ]


def _is_bad(rated: Rated, row: int, col: int) -> bool:
    return not rated.rating.allowed.values[row, col] or float(rated.rating.score.values[row, col]) < 0.5


def _whereabouts(ratings: GroundRatings, row: int, col: int) -> Message:
    """Name a place by its side of the farm and by latitude and longitude, for want of names on the ground."""
    stack, own = ratings.site.stack, np.zeros(1, bool)
    if "field_number" in stack:
        own = np.isfinite(stack["field_number"].values)
    rows, cols = np.nonzero(own if own.any() else np.ones(ratings.site.shape, bool))
    east = (col - cols.mean()) / max(np.ptp(cols) / 2, 1)
    north = (rows.mean() - row) / max(np.ptp(rows) / 2, 1)
    to_degrees = Transformer.from_crs(stack.rio.crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(float(stack["x"][col]), float(stack["y"][row]))
    if np.hypot(east, north) < 0.35:
        return message("where.middle", lat=lat, lon=lon)
    side = SIDES[round(np.degrees(np.arctan2(east, north)) % 360 / 45) % 8]
    return message("where.side", side=side, lat=lat, lon=lon)
