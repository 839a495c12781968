"""The Monte Carlo run: what may leave from each zone, over the spreads of everything uncertain, and what that says.

Shared causes are drawn once: coefficients of rules and the year's weather for the whole
farm, the season's stover for the grain and the machine's take for each field, the rest for
each zone. Rules run on a sample of cells, all samples at once.

Every coefficient samples from a stream of its own (`sampling`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike
from scipy.special import ndtri
from scipy.stats import rankdata

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue.carbon_goal import carbon_samples
from stovergeo.residue.collection import Method
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.production import stover
from stovergeo.residue.removable import NamedRule, asked, rules_for, with_cautious_soil
from stovergeo.residue.sampling import draw, spread_evenly, stream
from stovergeo.residue.zone_cells import ZoneCells, sample, zone_cells

#: cells that stand for a zone, and samples computed at once (keeps arrays within the processor's cache)
CELLS_A_ZONE: Final = 60
_DRAWS_AT_ONCE: Final = 64


@dataclass(frozen=True, slots=True)
class DrawnLimits:
    """What may leave and what would be taken, in every draw."""

    zone_ids: Sequence[str]
    field_ids: Sequence[str]  #: field of each zone
    area_ha: np.ndarray  #: shape (zones,)
    limit_mg_ha: np.ndarray  #: shape (samples, zones), where no method of gathering is fixed
    method_limit_mg_ha: Mapping[str, np.ndarray]  #: the same by method
    removal_mg_ha: Mapping[str, np.ndarray]  #: what each method takes, shape (samples, zones)
    inputs: Mapping[str, np.ndarray]  #: what was drawn, shape (samples,) or (samples, fields)
    fields: Sequence[str]  #: fields, in the order of `inputs`
    meanings: Mapping[str, str]  #: of the inputs
    #: by method: what harvest costs the soil's carbon in twenty years, and the stock, Mg/ha, shape (samples, zones)
    carbon: Mapping[str, tuple[np.ndarray, np.ndarray]]


def sample_limits(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    plan: Odds,
    methods: Mapping[str, Method],
    owner: Mapping[str, str] | None = None,
) -> DrawnLimits:
    """Run every rule on a sample of each zone's cells under samples of all that is uncertain.

    Parameters
    ----------
    stack : Dataset
        As `limits` returns it.
    zones : DataFrame
        zone_id and field_id; a row for each label.
    labels : array, shape (y, x)
        Row of the zone, NaN outside.
    options : RuleOptions
    plan : Odds
        Draws and seed. With no samples, one run with every number at its default.
    methods : mapping
        Methods to judge.
    owner : mapping, optional
        field_id -> name of the field among the fields of all farms, such as ``farm/field``; left out: its field_id.
        What differs between fields or zones is drawn from streams of these names, so that it hangs neither on the
        order of the fields nor on which others are planned with it, and no two farms share their departures.

    Returns
    -------
    DrawnLimits
        What may leave and what each method takes, by draw and zone.
    """
    everything = zone_cells(labels, stack, len(zones))
    few = sample(everything, everything.of(stack["removable_mg_ha"]), CELLS_A_ZONE)
    silent = Report()  # what is wrong was reported by `limits`
    cells = _cells(with_cautious_soil(stack, options, silent), few)
    in_force = stack["binding_rule"].attrs["rules"]
    rules = [_drawable(r, cells, options) for r in rules_for(options, silent) if r.name in in_force]
    by_method = [r for r in rules if r.trait("reads_method", False)]
    alike = [r for r in rules if r not in by_method]
    fields = list(dict.fromkeys(zones["field_id"]))
    field_of_zone = np.array([fields.index(f) for f in zones["field_id"]], dtype=int)
    names = [(owner or {}).get(field, field) for field in fields]
    places = zones.groupby("field_id").cumcount()  # of each zone in its field
    of_zones = [f"{names[f]}/{place}" for f, place in zip(field_of_zone, places, strict=True)]
    drawn = _draw(plan, options, _uncertain(rules, cells, options, methods), methods, names, of_zones)

    limit = np.empty((drawn.count, len(zones)))
    method_limit = {name: np.empty_like(limit) for name in methods}
    taken = {name: np.empty_like(limit) for name in methods}
    for start in range(0, drawn.count, _DRAWS_AT_ONCE):
        now = slice(start, start + _DRAWS_AT_ONCE)
        factor = drawn.season[now][:, field_of_zone] * drawn.zone_factor[now]
        inputs = _with_stover(cells, options, few, factor, drawn.grain_error[now])
        sampled = replace(options, drawn={k: xr.DataArray(v[now], dims="draw") for k, v in drawn.shared.items()})
        mean_standing = few.mean(inputs["stover_mg_ha"].values)
        counted = inputs["stover_typical_mg_ha"].values
        asked_alike = _largest(alike, inputs, sampled, counted)
        limit[now] = few.mean(counted - np.fmax(asked_alike, _largest(by_method, inputs, sampled, counted)))
        for name, method in methods.items():
            kept = np.fmax(asked_alike, _largest(by_method, inputs, sampled.with_method(method), counted))
            method_limit[name][now] = few.mean(counted - kept)
            taken[name][now] = drawn.shares[name][now][:, field_of_zone] * mean_standing
    shares = {f"methods.{name}.share": share for name, share in drawn.shares.items()}
    all_inputs = {**drawn.shared, "residue.factor": drawn.season, **shares}
    return DrawnLimits(
        zone_ids=list(zones["zone_id"]),
        field_ids=list(zones["field_id"]),
        area_ha=everything.total(everything.weight_ha),
        limit_mg_ha=limit,
        method_limit_mg_ha=method_limit,
        removal_mg_ha=taken,
        inputs=all_inputs,
        fields=fields,
        meanings={key: options.coefficients[key].meaning for key in all_inputs},
        carbon=carbon_samples(stack, everything, options, plan, drawn.shared, taken)
        if "soil_carbon" in in_force
        else {},
    )


@dataclass(frozen=True, slots=True)
class _Drawn:
    """All that is uncertain, drawn."""

    count: int
    shared: Mapping[str, np.ndarray]  #: coefficients of rules, one draw for the farm: shape (samples,)
    season: np.ndarray  #: the season's stover for the grain, by field
    shares: Mapping[str, np.ndarray]  #: what each machine gathers, by field
    zone_factor: np.ndarray  #: each zone's own departure
    grain_error: np.ndarray  #: in standard errors of the grain surface, by zone


def _draw(
    plan: Odds,
    options: RuleOptions,
    keys: list[str],
    methods: Mapping[str, Method],
    fields: list[str],
    zones: list[str],
) -> _Drawn:
    """Draw everything, each input from its own stream; with no samples, return the defaults once."""
    n, coefficients = max(plan.samples, 1), options.coefficients

    def of(key: str, owner: str = "") -> np.ndarray:
        c = coefficients[key]
        return draw(c if plan.samples else c.alone(), plan.seed, n, owner)

    def of_each(key: str, owners: list[str]) -> np.ndarray:
        return np.column_stack([of(key, owner) for owner in owners])

    # the plan's cut height moves the whole range a machine gathers
    moved = {name: method.fraction / coefficients.value(f"methods.{name}.share") for name, method in methods.items()}
    even = np.column_stack([spread_evenly(stream(plan.seed, f"grain surface/{zone}"), n) for zone in zones])
    return _Drawn(
        count=n,
        shared={key: of(key) for key in keys},
        season=of_each("residue.factor", fields),
        shares={name: np.minimum(of_each(f"methods.{name}.share", fields) * moved[name], 1.0) for name in methods},
        zone_factor=of_each("residue.zone_factor", zones),
        grain_error=ndtri(even) * coefficients.value("residue.grain_error_shared") * (plan.samples > 0),
    )


def _cells(stack: xr.Dataset, few: ZoneCells) -> xr.Dataset:
    """Return the stack's variables in the sampled cells, along one dim."""
    flat = {
        n: ("cell", v.values.ravel()[few.cells], v.attrs) for n, v in stack.data_vars.items() if v.dims == ("y", "x")
    }
    return xr.Dataset(flat).astype(float)


@dataclass(slots=True)
class _AsOnTheMap:
    """A rule that cannot work on samples: what it asked for on the map stands in every draw."""

    title: str
    reads: tuple[str, ...]
    source: str

    def keep(self, stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
        return stack[self.reads[0]]


def _drawable(named: NamedRule, cells: xr.Dataset, options: RuleOptions) -> NamedRule:
    """Return a rule that works on sampled cells and samples; a plug-in that does not is held to its map."""
    two = {"residue.factor": xr.DataArray([1.0, 1.0], dims="draw")}
    sampled = replace(options, drawn=two, asked=set())
    try:
        drawn = {n: cells[n] * two["residue.factor"] for n in ("stover_mg_ha", "stover_typical_mg_ha")}
        asked(named, cells.assign(drawn), sampled)
    except Exception:
        if named.package == "stovergeo":
            raise
        return NamedRule(
            named.name, _AsOnTheMap(named.rule.title, (f"retention_{named.name}_mg_ha",), named.rule.source)
        )
    return named


def _with_stover(
    cells: xr.Dataset, options: RuleOptions, few: ZoneCells, factor: np.ndarray, error: np.ndarray
) -> xr.Dataset:
    """Return the cells with drawn stover, dims (draw, cell)."""
    grain = np.broadcast_to(cells["grain_mg_ha"].values, (len(factor), len(few.cells)))
    if "grain_error_mg_ha" in cells:
        grain = np.maximum(grain + error[:, few.zone] * np.nan_to_num(cells["grain_error_mg_ha"].values), 0.0)
    stands = stover(grain, options.coefficients.value("residue.slope"), options.coefficients.value("residue.intercept"))
    stands = stands * factor[:, few.zone]
    # one error moves both: what is in doubt is the stover for the grain, not by how much this year is the better one
    share = cells["stover_typical_mg_ha"].values / np.maximum(cells["stover_mg_ha"].values, 1e-9)
    drawn = {"grain_mg_ha": grain, "stover_mg_ha": stands, "stover_typical_mg_ha": stands * share}
    return cells.assign({name: (("draw", "cell"), values, cells[name].attrs) for name, values in drawn.items()})


def _largest(rules: list[NamedRule], inputs: xr.Dataset, options: RuleOptions, counted: np.ndarray) -> np.ndarray:
    """Return the most that any rule asks for, at most the stover counted on; 0 where no rule is known."""
    most = np.zeros_like(counted)
    for named in rules:
        answer = named.rule.keep(inputs, options)
        lined_up = answer.transpose(*(d for d in ("draw", "cell") if d in answer.dims)).values
        if answer.dims == ("draw",):
            lined_up = lined_up[:, None]
        most = np.fmax(most, lined_up)
    return np.minimum(most, counted)


def _uncertain(
    rules: list[NamedRule], cells: xr.Dataset, options: RuleOptions, methods: Mapping[str, Method]
) -> list[str]:
    """Return the keys with a spread that the rules ask for, found by running them once."""
    listener = replace(options, asked=set())
    for named in rules:
        for method in (None, *methods.values()):
            asked(named, cells, listener.with_method(method))
    # the season is drawn by field
    return sorted(k for k in listener.asked if options.coefficients[k].has_spread and k != "residue.factor")


def odds_table(drawn: DrawnLimits, cautious_pct: float, chosen: dict[str, str] | None = None) -> pd.DataFrame:
    """Return percentiles of what may leave, and the odds that each zone's take keeps every limit.

    Parameters
    ----------
    drawn : DrawnLimits
    cautious_pct : float
        Percentile on which decisions rest.
    chosen : dict, optional
        zone_id -> method or "leave". A zone left alone keeps every limit.

    Returns
    -------
    DataFrame
        zone_id, p10_mg_ha, p50_mg_ha, p90_mg_ha, cautious_mg_ha, odds_any (that anything may leave), method,
        compliance_probability.
    """
    chosen = chosen or {}
    p10, p50, p90, cautious = np.percentile(drawn.limit_mg_ha, [10, 50, 90, cautious_pct], axis=0)
    methods = [chosen.get(zone, "leave") for zone in drawn.zone_ids]
    return pd.DataFrame(
        {
            "zone_id": drawn.zone_ids,
            "p10_mg_ha": p10,
            "p50_mg_ha": p50,
            "p90_mg_ha": p90,
            "cautious_mg_ha": cautious,
            "odds_any": (drawn.limit_mg_ha > 0).mean(axis=0),
            "method": methods,
            "compliance_probability": [
                compliance_probability(drawn, row, method) for row, method in enumerate(methods)
            ],
        }
    )


def compliance_probability(drawn: DrawnLimits, row: int, method: str) -> float:
    """Return the share of samples in which a method's take fits under every limit of a zone."""
    if method == "leave":
        return 1.0
    return float((drawn.removal_mg_ha[method][:, row] <= drawn.method_limit_mg_ha[method][:, row]).mean())


def sensitivity(drawn: DrawnLimits) -> pd.DataFrame:
    """Return which uncertain input moves each field's removable stover most.

    The ranks of each field's mean limit are regressed on the ranks of all inputs; the squared standard coefficients,
    as shares of their sum, share out what the inputs explain (they are drawn independently). Coefficients within three
    standard errors of nothing are left out.

    Returns
    -------
    DataFrame
        field_id, rank, input, meaning, share (0-1, sums to 1 in a field), direction (+1: more of it lets more leave).
        Fields whose limit never varies have no rows.
    """
    rows = []
    owner = np.array(drawn.field_ids)
    for number, field in enumerate(drawn.fields):
        here = (owner == field) & (drawn.area_ha > 0)
        if not here.any() or len(drawn.limit_mg_ha) < 3:
            continue
        mean = np.average(drawn.limit_mg_ha[:, here], axis=1, weights=drawn.area_ha[here])
        if np.ptp(mean) == 0:
            continue
        inputs = {
            key: values if values.ndim == 1 else values[:, number]
            for key, values in drawn.inputs.items()
            if not key.startswith("methods.")  # the take moves no limit
        }
        effects = _rank_effects(inputs, mean)
        total = sum(effect**2 for effect in effects.values())
        ranked = sorted(effects.items(), key=lambda item: (-(item[1] ** 2), item[0]))
        for place, (key, r) in enumerate(ranked, start=1):
            rows.append((field, place, key, drawn.meanings[key], r**2 / total, int(np.sign(r))))
    return pd.DataFrame(rows, columns=["field_id", "rank", "input", "meaning", "share", "direction"])


def _rank_effects(inputs: dict[str, np.ndarray], outcome: np.ndarray) -> dict[str, float]:
    """Return the standard rank regression coefficients that differ from zero."""
    varying = {key: values for key, values in inputs.items() if np.ptp(values) > 0}
    if not varying or len(outcome) < 3 * (len(varying) + 1):
        return {}
    x = np.column_stack([_standard_ranks(values) for values in varying.values()])
    y = _standard_ranks(outcome)
    effects, *_ = np.linalg.lstsq(x, y, rcond=None)
    spread = np.sum((y - x @ effects) ** 2) / (len(y) - len(effects) - 1)
    error = np.sqrt(spread * np.diag(np.linalg.inv(x.T @ x)))
    return {key: float(e) for key, e, s in zip(varying, effects, error, strict=True) if abs(e) > 3 * s}


def _standard_ranks(values: np.ndarray) -> np.ndarray:
    ranks = rankdata(values)
    return (ranks - ranks.mean()) / ranks.std()
