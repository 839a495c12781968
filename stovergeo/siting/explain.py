"""Why here, why not there, and what the ground would need: in plain sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from pyproj import Transformer
from scipy.ndimage import uniform_filter

from stovergeo.core.coefficients import Handbook
from stovergeo.siting.base import base_cost, base_kind
from stovergeo.siting.pattern import land_per_bale_m2
from stovergeo.siting.rate import GroundRatings, Rated
from stovergeo.siting.say import depth, share

if TYPE_CHECKING:
    from stovergeo.siting.yard import Cells, Yard

_SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_LOOK_M = 40  # least bad ground is looked for in squares of this side


@dataclass(frozen=True, slots=True)
class Answer:
    """Why a stack may or may not stand at one point."""

    allowed: bool
    score: float
    reason: str  #: the first hard reason in words, or the best that can be said
    words: dict[str, str]  #: by criterion, and what was not checked


def why_here(stack: xr.Dataset, ratings: GroundRatings, x: float, y: float, units: str = "us") -> Answer:
    """Return why yes or why not, for a point of the map in the stack's CRS.

    Raises
    ------
    ValueError
        When the point lies off the grid.
    """
    col = round((x - float(stack["x"][0])) / ratings.site.cell_m)
    row = round((float(stack["y"][0]) - y) / ratings.site.cell_m)
    if not (0 <= row < stack.sizes["y"] and 0 <= col < stack.sizes["x"]):
        raise ValueError(f"the point ({x:.0f}, {y:.0f}) lies off the map")
    said = {r.name: r.words_at(row, col, units) for r in ratings.rated}
    number = int(stack["yard_reason"].values[row, col])
    score = float(stack["yard_score"].values[row, col])
    if number:
        reason = said[ratings.rated[number - 1].name]
    else:
        reason = f"A stack may stand here; the ground scores {share(score)}."
    return Answer(number == 0, score, reason, {**said, **ratings.not_checked})


def summary_words(yards: list[Yard], bales_wanted: int, most: int) -> list[str]:
    """Say how much room was found against what is wanted."""
    held = sum(y.bales for y in yards)
    count = "1 yard" if len(yards) == 1 else f"{len(yards)} yards"
    said = [f"{count} found, with room for {held:,} bales; {bales_wanted:,} are to be stored."]
    if held < bales_wanted:
        cure = "raise `yards.most`, or " if len(yards) >= most else ""
        few = f"{bales_wanted - held:,} bales too few"
        said.append(f"The allowed ground holds {few}: {cure}look at smaller fire gaps, higher stacks or other ground.")
    return said


def known_place_words(name: str, cells: Cells, stack: xr.Dataset, ratings: GroundRatings, units: str) -> str:
    """Say why a place the grower named holds no yard: the reason that forbids most of it."""
    called = f"The place you named {name!r}" if name else "A place you named"
    number = np.bincount(stack["yard_reason"].values[cells].astype(int), minlength=1)
    number[0] = 0
    if not number.any():
        return f"{called} is allowed, but too small for the smallest yard asked for (`yards.smallest_bales`)."
    worst = int(number.argmax())
    here = np.nonzero(stack["yard_reason"].values[cells] == worst)[0]
    middle = here[len(here) // 2]
    words = ratings.rated[worst - 1].words_at(int(cells[0][middle]), int(cells[1][middle]), units)
    part = share(number[worst] / len(cells[0]))
    return f"{called} holds no yard. {part} of it is out for this reason: {words}"


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


def no_ground_words(stack: xr.Dataset, ratings: GroundRatings, book: Handbook, units: str) -> list[str]:
    """Say why there is no yard, which reason forbids most, and where the least bad ground lies."""
    shares = forbidden_shares(stack)
    titles = {r.name: str(r.criterion.title).lower() for r in ratings.rated}
    if (stack["yard_allowed"].values >= 1).any():
        said = ["Some ground is allowed, but no piece holds the smallest yard asked for (`yards.smallest_bales`)."]
    else:
        said = ["No ground on this farm is allowed for a stack."]
    if shares:
        listed = ", ".join(f"{titles[name]} ({share(part)})" for name, part in list(shares.items())[:3])
        said.append(f"What forbids most of it: {listed} of the farm's ground.")
    least_bad = _least_bad(stack, ratings, book, units)
    return [*said, least_bad] if least_bad else said


def _least_bad(stack: xr.Dataset, ratings: GroundRatings, book: Handbook, units: str) -> str:
    """Say where the best of the ground lies that only a base would be needed for, and which base."""
    curable = ~ratings.incurable
    if not curable.any():
        return "No piece of it could be made good by a base; look outside this ground."
    size = max(1, round(_LOOK_M / ratings.site.cell_m))
    part = uniform_filter(curable.astype(np.float32), size, mode="constant")
    score = np.where(curable, np.nan_to_num(stack["yard_score"].values), 0)
    mean = uniform_filter(score.astype(np.float32), size, mode="constant")
    row, col = np.unravel_index(int(np.argmax(np.where(curable, mean * part, -1))), mean.shape)
    where = _whereabouts(ratings, int(row), int(col))
    drainage, clay = (
        np.asarray(stack[name].values[row, col]) if name in stack else np.asarray(np.nan)
        for name in ("drainage_class", "clay_pct")
    )
    limits = [book.value(f"yards.clay.{k}") for k in ("good", "fair", "most")]
    pattern = ratings.options.pattern
    base = base_cost(int(base_kind(drainage, clay, *limits)), 100 * land_per_bale_m2(pattern), 100, book)
    bad = [r for r in ratings.rated if getattr(r.criterion, "curable", False) and _is_bad(r, int(row), int(col))]
    why = " ".join(r.words_at(int(row), int(col), units) for r in bad)
    need = base.title if not base.depth_m else f"{base.title}, {depth(base.depth_m, units)} deep"
    if any(r.name == "ponding_class" for r in bad):
        need += ", raised above the water, with a drain"
    cost = f", about ${round(base.cost, -2):,.0f} for 100 bales" if base.cost else ""
    accept = "" if ratings.options.yards.accept_base else " To plan with such a base, set `yards.accept_base`."
    return f"The least bad ground is {where}. {why} It would need: {need}{cost}.{accept}"


def _is_bad(rated: Rated, row: int, col: int) -> bool:
    return not rated.rating.allowed.values[row, col] or float(rated.rating.score.values[row, col]) < 0.5


def _whereabouts(ratings: GroundRatings, row: int, col: int) -> str:
    """Name a place by its side of the farm and by latitude and longitude, for want of names on the ground."""
    stack = ratings.site.stack
    own = np.isfinite(stack["field_number"].values) if "field_number" in stack else np.ones(ratings.site.shape, bool)
    rows, cols = np.nonzero(own if own.any() else np.ones(ratings.site.shape, bool))
    east = (col - cols.mean()) / max(np.ptp(cols) / 2, 1)
    north = (rows.mean() - row) / max(np.ptp(rows) / 2, 1)
    to_degrees = Transformer.from_crs(stack.rio.crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(float(stack["x"][col]), float(stack["y"][row]))
    at = f"{lat:.5f}, {lon:.5f}"
    if np.hypot(east, north) < 0.35:
        return f"near the middle of the farm ({at})"
    return f"on the {_SIDES[round(np.degrees(np.arctan2(east, north)) % 360 / 45) % 8]} side of the farm ({at})"
