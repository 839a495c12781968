"""The Monte Carlo run: what may leave from each zone, over the spreads of everything uncertain.

Shared causes are drawn once: coefficients of rules and the year's weather for the whole
farm, the season's stover for the grain and the machine's take for each field, the rest for
each zone. Rules run on a sample of cells, all draws at once.
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

from stovergeo.errors import Report
from stovergeo.plan_file.crop import Odds
from stovergeo.residue.collection import Method
from stovergeo.residue.draws import draw, spread_evenly, stream
from stovergeo.residue.options import Number, RuleOptions
from stovergeo.residue.production import stover
from stovergeo.residue.removable import NamedRule, asked, rules_for, with_cautious_soil
from stovergeo.residue.zone_cells import ZoneCells, sample, zone_cells

#: cells that stand for a zone, and draws computed at once (keeps arrays within the processor's cache)
CELLS_A_ZONE: Final = 60
_DRAWS_AT_ONCE: Final = 64


@dataclass(frozen=True, slots=True)
class DrawnLimits:
    """What may leave and what would be taken, in every draw."""

    zone_ids: Sequence[str]
    field_ids: Sequence[str]  #: field of each zone
    area_ha: np.ndarray  #: shape (zones,)
    limit_mg_ha: np.ndarray  #: shape (draws, zones), where no way of gathering is fixed
    method_limit_mg_ha: Mapping[str, np.ndarray]  #: the same by method
    take_mg_ha: Mapping[str, np.ndarray]  #: what each method takes, shape (draws, zones)
    inputs: Mapping[str, np.ndarray]  #: what was drawn, shape (draws,) or (draws, fields)
    fields: Sequence[str]  #: fields, in the order of `inputs`
    meanings: Mapping[str, str]  #: of the inputs


def draw_limits(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    plan: Odds,
    ways: Mapping[str, Method],
) -> DrawnLimits:
    """Run every rule on a sample of each zone's cells under draws of all that is uncertain.

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
        Draws and seed. With no draws, one run with every number at its default.
    ways : mapping
        Methods to judge.
    """
    everything = zone_cells(labels, stack, len(zones))
    few = sample(everything, everything.of(stack["removable_mg_ha"]), CELLS_A_ZONE)
    silent = Report()  # what is wrong was reported by `limits`
    cells = _cells(with_cautious_soil(stack, options, silent), few)
    names = stack["binding_rule"].attrs["rules"]
    rules = [_drawable(r, cells, options) for r in rules_for(options, silent) if r.name in names]
    fields = list(dict.fromkeys(zones["field_id"]))
    field_of_zone = np.array([fields.index(f) for f in zones["field_id"]], dtype=int)

    n = max(plan.draws, 1)
    keys = _uncertain(rules, cells, options, ways) if plan.draws else []
    book, seed = options.book, plan.seed
    shared = {key: draw(book[key], seed, (n,)) for key in keys}
    season = (
        draw(book["residue.factor"], seed, (n, len(fields)))
        if plan.draws
        else _fixed(book["residue.factor"].value, n, len(fields))
    )
    shares = {
        name: _machine_share(options, way, seed, n, len(fields)) if plan.draws else _fixed(way.fraction, n, len(fields))
        for name, way in ways.items()
    }
    zone_factor = draw(book["residue.zone_factor"], seed, (n, len(zones))) if plan.draws else np.ones((n, len(zones)))
    probability = spread_evenly(stream(seed, "grain surface"), (n, len(zones)))
    grain_error = ndtri(probability) * book.value("residue.grain_error_shared") * (plan.draws > 0)

    limit = np.empty((n, len(zones)))
    by_method = {name: np.empty_like(limit) for name in ways}
    taken = {name: np.empty_like(limit) for name in ways}
    for start in range(0, n, _DRAWS_AT_ONCE):
        now = slice(start, start + _DRAWS_AT_ONCE)
        inputs = _with_stover(cells, options, few, season[now][:, field_of_zone] * zone_factor[now], grain_error[now])
        told = replace(options, drawn={k: xr.DataArray(v[now], dims="draw") for k, v in shared.items()})
        standing = inputs["stover_mg_ha"].values
        mean_standing = few.mean(standing)
        fixed = _largest([r for r in rules if not r.trait("reads_method", False)], inputs, told, standing)
        varying = [r for r in rules if r.trait("reads_method", False)]
        limit[now] = few.mean(standing - np.fmax(fixed, _largest(varying, inputs, told, standing)))
        for name, way in ways.items():
            kept = np.fmax(fixed, _largest(varying, inputs, told.with_method(way), standing))
            by_method[name][now] = few.mean(standing - kept)
            taken[name][now] = shares[name][now][:, field_of_zone] * mean_standing
    inputs_drawn = (
        {**shared, "residue.factor": season, **{f"methods.{k}.share": v for k, v in shares.items()}}
        if plan.draws
        else {}
    )
    return DrawnLimits(
        zone_ids=list(zones["zone_id"]),
        field_ids=list(zones["field_id"]),
        area_ha=everything.total(everything.weight_ha),
        limit_mg_ha=limit,
        method_limit_mg_ha=by_method,
        take_mg_ha=taken,
        inputs=inputs_drawn,
        fields=fields,
        meanings={key: book[key].meaning for key in inputs_drawn},
    )


def _cells(stack: xr.Dataset, few: ZoneCells) -> xr.Dataset:
    """Return the stack's variables in the sampled cells, along one dim."""
    flat = {
        n: ("cell", v.values.ravel()[few.cells], v.attrs) for n, v in stack.data_vars.items() if v.dims == ("y", "x")
    }
    return xr.Dataset(flat)


@dataclass(slots=True)
class _AsOnTheMap:
    """A rule that cannot work on draws: what it asked for on the map stands in every draw."""

    title: str
    reads: tuple[str, ...]
    source: str

    def keep(self, stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
        return stack[self.reads[0]]


def _drawable(named: NamedRule, cells: xr.Dataset, options: RuleOptions) -> NamedRule:
    """Return a rule that works on sampled cells and draws; a stranger's that does not is held to its map."""
    two = {"residue.factor": xr.DataArray([1.0, 1.0], dims="draw")}
    told = replace(options, drawn=two, asked=set())
    try:
        asked(named, cells.assign(stover_mg_ha=cells["stover_mg_ha"] * two["residue.factor"]), told)
    except Exception:
        if named.package == "stovergeo":
            raise
        return NamedRule(named.name, _AsOnTheMap(named.rule.title, (f"keep_{named.name}_mg_ha",), named.rule.source))
    return named


def _with_stover(
    cells: xr.Dataset, options: RuleOptions, few: ZoneCells, factor: np.ndarray, error: np.ndarray
) -> xr.Dataset:
    """Return the cells with drawn stover, dims (draw, cell)."""
    grain = np.broadcast_to(cells["grain_mg_ha"].values, (len(factor), len(few.cells)))
    if "grain_error_mg_ha" in cells:
        grain = np.maximum(grain + error[:, few.zone] * np.nan_to_num(cells["grain_error_mg_ha"].values), 0.0)
    stands = stover(grain, options.book.value("residue.slope"), options.book.value("residue.intercept"))
    return cells.assign(
        stover_mg_ha=(("draw", "cell"), stands * factor[:, few.zone], cells["stover_mg_ha"].attrs),
        grain_mg_ha=(("draw", "cell"), grain, cells["grain_mg_ha"].attrs),
    )


def _largest(rules: list[NamedRule], inputs: xr.Dataset, options: RuleOptions, standing: np.ndarray) -> np.ndarray:
    """Return the most that any rule asks for, at most what stands; 0 where no rule is known."""
    most = np.zeros_like(standing)
    for named in rules:
        answer = named.rule.keep(inputs, options)
        lined_up = answer.transpose(*(d for d in ("draw", "cell") if d in answer.dims)).values
        if answer.dims == ("draw",):
            lined_up = lined_up[:, None]
        most = np.fmax(most, lined_up)
    return np.minimum(most, standing)


def _uncertain(
    rules: list[NamedRule], cells: xr.Dataset, options: RuleOptions, ways: Mapping[str, Method]
) -> list[str]:
    """Return the keys with a spread that the rules ask for, found by running them once."""
    listener = replace(options, asked=set())
    for named in rules:
        for way in (None, *ways.values()):
            asked(named, cells, listener.with_method(way))
    # a stratum of its own: these are drawn by field below
    return sorted(k for k in listener.asked if options.book[k].low < options.book[k].high and k != "residue.factor")


def _machine_share(options: RuleOptions, way: Method, seed: int, draws: int, fields: int) -> np.ndarray:
    """Return the share a method gathers in each draw and field, moved with the cut height the plan sets."""
    coefficient = options.book[f"methods.{way.name}.share"]
    return np.minimum(draw(coefficient, seed, (draws, fields)) * (way.fraction / coefficient.value), 1.0)


def _fixed(value: Number, draws: int, fields: int) -> np.ndarray:
    return np.full((draws, fields), value)
