"""Rating the ground: every criterion asked, hard reasons kept, scores weighed."""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
import xarray as xr
from rasterio.errors import NotGeoreferencedWarning

from stovergeo.bales import bale_of
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import ContractError, Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.nearest import unknown_value
from stovergeo.core.plugins import SITE_CRITERIA, Plugin, load_plugins
from stovergeo.core.schemas import SETBACK_AREAS
from stovergeo.core.stack import put, variable
from stovergeo.inputs.plan.gather import Bale
from stovergeo.inputs.plan.yards import Yards
from stovergeo.siting.pattern import Pattern, row_pattern
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message

_OWN: Final = "stovergeo"
_THREADS: Final = 2
_ROWS_AT_ONCE: Final = 64  # a strip of this many rows stays in the cache while all scores are added
_NAME: Final = re.compile(r"[a-z0-9_]+")
_UNKNOWN: Final = Catalog("stovergeo.core")


@dataclass(frozen=True, slots=True)
class Rated:
    """One criterion and its rating."""

    name: str
    criterion: Any
    weight: float
    rating: Rating

    @property
    def mitigable(self) -> bool:
        """Whether a base or a drain could answer the hard reason."""
        return getattr(self.criterion, "mitigable", False)

    def message_at(self, row: int, col: int) -> Message:
        """Return the criterion's message for one cell."""
        value, score, allowed = (
            array.values[row, col].item() for array in (self.rating.value, self.rating.score, self.rating.allowed)
        )
        return self.message(value, score, allowed)

    def message(self, value: float, score: float, allowed: bool) -> Message:
        """Return the criterion's message for a value; unknown is reported as not known."""
        if np.isnan(value) and np.isnan(score):
            return _UNKNOWN("unknown", what=str(self.criterion.title))
        return self.criterion.message(value, score, allowed, limit=self.rating.limit)


@dataclass(frozen=True, slots=True)
class GroundRatings:
    """All criteria's answers, for the search and for explaining."""

    rated: list[Rated]  #: in the order in which hard reasons are looked at
    not_checked: dict[str, Message]  #: criterion -> why it was not checked
    options: SiteOptions
    site: Site
    not_mitigable: np.ndarray = field(repr=False)  #: bool (rows, cols): forbidden by a reason that no base answers

    titles: dict[str, str] = field(default_factory=dict)  #: of every criterion asked, also those not checked

    def farm_mean(self, rated: Rated) -> float:
        """Return the mean score of a criterion over the grid, from every tenth row."""
        score = rated.rating.score.values[:: max(1, rated.rating.score.shape[0] // 100)]
        return float(np.nanmean(score)) if np.isfinite(score).any() else np.nan

    def not_checked_messages(self) -> list[Message]:
        """Return what was not checked and why, a sentence for each criterion."""
        return [message("not_checked.named", title=self.titles[n], why=why) for n, why in self.not_checked.items()]

    def of(self, name: str) -> Rated | None:
        """Return one criterion's answer, or None when it was not asked or had nothing to go on."""
        return next((r for r in self.rated if r.name == name), None)

    def keep_out(self) -> shapely.Geometry:
        """Return all ground that vector layers forbid, exactly."""
        return shapely.union_all([r.rating.keep_out for r in self.rated if r.rating.keep_out is not None])

    def too_near(self, shapes: np.ndarray) -> np.ndarray:
        """Return which shapes lie nearer to a hazard than is asked, by distance alone: no buffer, no grid."""
        near = np.zeros(len(shapes), bool)
        tree = shapely.STRtree(shapes)
        for r in self.rated:
            if r.rating.clear_of is not None:
                hazards, distances = r.rating.clear_of
                near[tree.query(hazards, predicate="dwithin", distance=distances)[1]] = True
        return near


def pattern_of(bale: Any, pattern: str, yards_plan: Yards, coefficients: Handbook) -> Pattern:
    """Return how the bales will be stacked, with the plan's row gap or the handbook's."""
    gap = yards_plan.row_gap_m
    return row_pattern(
        bale,
        bale_of(bale, None, coefficients).as_is_kg if isinstance(bale, Bale) else bale.as_is_kg,
        pattern,
        row_gap_m=coefficients.value("yards.row_gap") if gap is None else gap,
        height_per_base=coefficients.value("yards.height_per_base"),
        **{name: round(coefficients.value(f"yards.{name}")) for name in ("square_levels", "square_across", "row_min")},
    )


def rate_ground(
    stack: xr.Dataset,
    surroundings: Mapping[str, gpd.GeoDataFrame],
    yards_plan: Yards,
    bale: Any,
    coefficients: Handbook,
    report: Report,
    *,
    pattern: str = "single row",
) -> tuple[xr.Dataset, GroundRatings]:
    """Rate every cell of the grid as ground for a stack.

    Parameters
    ----------
    stack : xarray.Dataset
        Whatever variables are known; a criterion whose variables are missing is listed as not checked.
    surroundings : mapping of str to GeoDataFrame
        By layer name, in the stack's CRS; ``no_go`` may stand among them. A layer left
        out is not checked; a layer without shapes says there is none.
    yards_plan : Yards
    bale : BaleSize or inputs.plan.gather.Bale
    coefficients : Handbook
    report : Report
        Receives broken criteria and unknown names.
    pattern : str
        Stack pattern, as in the plan's ``storage.pattern``.

    Returns
    -------
    stack : xarray.Dataset
        With ``yard_allowed``, ``yard_score``, ``yard_reason`` (attributes ``reasons`` and
        ``titles``) and ``score_<criterion>``.
    ratings : GroundRatings

    Raises
    ------
    ContractError
        When a criterion of our own is missing, which means that the installation is broken.

    Examples
    --------
    Ground beside a road, too steep in the east:

    >>> import geopandas as gpd
    >>> import numpy as np
    >>> import shapely
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import Report, bale_of, load_handbook, new_stack, put, rate_ground
    >>> from stovergeo.inputs.plan import Bale, Yards
    >>> coefficients = load_handbook()
    >>> stack = new_stack(GeoBox.from_bbox((440_000, 4_650_000, 440_500, 4_650_500), crs="EPSG:32615", resolution=5))
    >>> stack = put(stack, slope_pct=np.where(stack.x > 440_300, 15.0, 2.0) * np.ones((100, 1)))
    >>> road = shapely.LineString([(440_000, 4_650_000), (440_000, 4_650_500)])
    >>> roads = gpd.GeoDataFrame({"name": ["county road"]}, geometry=[road], crs=32615)
    >>> bale = bale_of(Bale(size="5x6"), None, coefficients)
    >>> rated, ratings = rate_ground(stack, {"roads": roads}, Yards(), bale, coefficients, Report())
    >>> float(rated["yard_allowed"].sel(x=440_401, y=4_650_250, method="nearest"))
    0.0
    >>> float(rated["yard_allowed"].sel(x=440_201, y=4_650_250, method="nearest"))
    1.0
    >>> "sun" in ratings.not_checked  # no layer gives it
    True
    """
    options = SiteOptions(yards_plan, pattern_of(bale, pattern, yards_plan, coefficients), coefficients)
    site = Site(stack, dict(surroundings))
    plugins = check_yards(yards_plan, coefficients, report)
    report.stop_if_refused()

    # The kernels and numpy let go of the interpreter. Warning filters are one for all threads: the rasteriser
    # silences a warning of its own, and another thread may lift that too early; so it is silenced for all.
    with warnings.catch_warnings(), ThreadPoolExecutor(_THREADS) as pool:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        answers = list(pool.map(lambda p: _ask(p, site, options), plugins))

    rated: list[Rated] = []
    not_checked: dict[str, Message] = {}
    for plugin, answer in zip(plugins, answers, strict=True):
        if isinstance(answer, Rating):
            rated.append(Rated(plugin.name, plugin.thing, _weight(plugin, yards_plan, coefficients), answer))
        elif isinstance(answer, NotChecked):
            not_checked[plugin.name] = answer.message
        else:
            report.add("yards.criterion_broken", f"site criterion {plugin.name} of {plugin.package}", f"{answer}.")
            not_checked[plugin.name] = message("not_checked.broken")
    rated.sort(key=lambda r: (getattr(r.criterion, "order", 50), r.name))
    new, not_mitigable = _combine(stack, rated, coefficients.value("yards.search.score_floor"), yards_plan.accept_base)
    titles = {p.name: str(getattr(p.thing, "title", p.name.replace("_", " ").capitalize())) for p in plugins}
    return new, GroundRatings(rated, not_checked, options, site, not_mitigable, titles)


def check_yards(yards_plan: Yards, coefficients: Handbook, report: Report) -> list[Plugin]:
    """Return the criteria that the plan asks for; report what it says wrongly of them. No ground is read."""
    offered = load_plugins(SITE_CRITERIA)
    _all_own_are_there(offered, coefficients)
    _warn_of_short_setbacks(yards_plan, coefficients, report)
    return _chosen(offered, yards_plan, coefficients, report)


def _all_own_are_there(offered: Sequence[Plugin], coefficients: Handbook) -> None:
    """Refuse to rate without one of our own criteria: a danger would go unseen.

    A broken plug-in stops nothing; a built-in criterion that is gone means that the
    installation is broken, and a yard could stand under a wire.
    """
    whole = {p.name for p in offered if p.package == _OWN and p.thing is not None}
    if gone := sorted(set(coefficients.group("yards.weight")) - whole):
        names = ", ".join(gone)
        raise ContractError(f"site criteria of stovergeo itself are missing ({names}); install the package again")


def _chosen(plugins: Sequence[Plugin], plan: Yards, coefficients: Handbook, report: Report) -> list[Plugin]:
    """Return the criteria the plan asks for; one that is optional only where it weighs something or is named."""
    known = {p.name for p in plugins}
    for key, names in (("yards.criteria", plan.criteria or ()), ("yards.weights", plan.weights)):
        for name in names:
            if name not in known:
                cure = f"Use names from: {', '.join(sorted(known))}."
                report.add("yards.unknown_criterion", f"plan file, {key}", unknown_value(name, known), cure)
    if plan.criteria is not None:
        return [p for p in plugins if p.name in plan.criteria]
    return [p for p in plugins if not getattr(p.thing, "optional", False) or _weight(p, plan, coefficients) > 0]


def _warn_of_short_setbacks(plan: Yards, coefficients: Handbook, report: Report) -> None:
    """Report each clear distance of the plan that is shorter than any source asks for."""
    for name, own in plan.setbacks:
        key = "flow_path" if name == "waterway_m" else name.removesuffix("_m")
        if own is not None and own < (low := coefficients[f"setbacks.{key}"].low):
            what = message("setback.short", own=own, low=low)
            report.add("yards.short_setback", f"plan file, yards.setbacks.{name.removesuffix('_m')}", str(what))


def _ask(plugin: Plugin, site: Site, options: SiteOptions) -> Rating | NotChecked | str:
    """Return a criterion's answer, or what is wrong with the criterion."""
    if plugin.thing is None:
        return plugin.broken
    if not _NAME.fullmatch(plugin.name):
        return "its name may hold only lower-case letters, digits and _"
    lacking = [name for name in plugin.thing.reads if name not in site.stack or not np.isfinite(site.array(name)).any()]
    if lacking:
        return NotChecked(message("not_checked.variables", names=tuple(variable(name).long_name for name in lacking)))
    try:
        answer = plugin.thing.rate(site, options)
        if not isinstance(answer, Rating):
            return answer
        if not answer.score.shape == answer.allowed.shape == answer.value.shape == site.shape:
            return "its arrays do not have the shape of the grid"
        str(Rated(plugin.name, plugin.thing, 0.0, answer).message_at(0, 0))  # a message that cannot be printed
    except Exception as error:  # whatever a plug-in raises must not stop the others
        if plugin.package == _OWN:  # but a fault of our own must not pass for 'not checked'
            raise
        return f"{type(error).__name__}: {error}"
    return answer


def _weight(plugin: Plugin, plan: Yards, coefficients: Handbook) -> float:
    key = f"yards.weight.{plugin.name}"
    own = coefficients.value(key) if key in coefficients else float(getattr(plugin.thing, "weight", 1.0))
    return max(0.0, plan.weights.get(plugin.name, own))


def _combine(stack: xr.Dataset, rated: list[Rated], floor: float, accept_base: bool) -> tuple[xr.Dataset, np.ndarray]:
    """Weigh the scores and keep the first hard reason of each cell.

    The weighted mean is geometric: a place bad in one thing is not made good by others.
    A criterion that knows nothing of a cell weighs nothing there. A reason that a base
    answers forbids nothing where the plan accepts to lay one.
    """
    shape = stack.sizes["y"], stack.sizes["x"]
    mean, reason, not_mitigable = np.empty(shape, np.float32), np.zeros(shape, np.float32), np.zeros(shape, bool)
    weighty = [(np.float32(r.weight), r.rating.score.values) for r in rated if r.weight > 0]
    hard = [
        (number, r.rating.allowed.values, r.mitigable)
        for number, r in enumerate(rated, start=1)
        if not r.rating.allowed.values.all() and not (accept_base and r.mitigable)
    ]

    def work(rows: slice) -> None:
        logs, weights = np.zeros_like(mean[rows]), np.zeros_like(mean[rows])
        for weight, score in weighty:
            term = np.log(np.clip(score[rows], floor, 1))
            known = term == term  # not NaN
            logs += weight * np.where(known, term, 0)
            weights += weight * known
        np.divide(logs, weights, out=logs, where=weights > 0)
        mean[rows] = np.where(weights > 0, np.exp(logs), np.nan)
        for number, allowed, mitigable in hard:
            out = ~allowed[rows]
            reason[rows][out & (reason[rows] == 0)] = number
            if not mitigable:
                not_mitigable[rows] |= out

    with ThreadPoolExecutor(_THREADS) as pool:
        list(pool.map(work, [slice(k, k + _ROWS_AT_ONCE) for k in range(0, shape[0], _ROWS_AT_ONCE)]))
    scores = {f"score_{r.name}": r.rating.score.values for r in rated}
    out = put(stack, yard_allowed=reason == 0, yard_score=mean, yard_reason=reason, **scores)
    out["yard_reason"].attrs["reasons"] = ["none", *(r.name for r in rated)]
    out["yard_reason"].attrs["titles"] = ["allowed", *(str(r.criterion.title) for r in rated)]
    out["yard_reason"].attrs["sources"] = ["", *(str(r.criterion.source) for r in rated)]
    return out, not_mitigable


def setback_areas(ratings: GroundRatings) -> gpd.GeoDataFrame:
    """Return the ground that vector layers forbid, one row a criterion.

    Returns
    -------
    GeoDataFrame
        `stovergeo.core.schemas.SETBACK_AREAS` in the stack's CRS: all ground within the distance
        asked for, drawn never smaller than it is.
    """
    rows = [
        (r.name, str(r.criterion.title), r.rating.limit + r.rating.added, r.rating.keep_out)
        for r in ratings.rated
        if r.rating.keep_out is not None
    ]
    return gpd.GeoDataFrame(rows, columns=list(SETBACK_AREAS), geometry="geometry", crs=ratings.site.stack.rio.crs)
