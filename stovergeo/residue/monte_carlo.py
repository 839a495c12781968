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

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue.collection import Method
from stovergeo.residue.draws import draw, spread_evenly, stream
from stovergeo.residue.options import RuleOptions
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
    limit_mg_ha: np.ndarray  #: shape (draws, zones), where no method of gathering is fixed
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

    Returns
    -------
    DrawnLimits
        What may leave and what each method takes, by draw and zone.
    """
    everything = zone_cells(labels, stack, len(zones))
    few = sample(everything, everything.of(stack["removable_mg_ha"]), CELLS_A_ZONE)
    silent = Report()  # what is wrong was reported by `limits`
    cells = _cells(with_cautious_soil(stack, options, silent), few)
    names = stack["binding_rule"].attrs["rules"]
    rules = [_drawable(r, cells, options) for r in rules_for(options, silent) if r.name in names]
    by_way = [r for r in rules if r.trait("reads_method", False)]
    alike = [r for r in rules if r not in by_way]
    fields = list(dict.fromkeys(zones["field_id"]))
    field_of_zone = np.array([fields.index(f) for f in zones["field_id"]], dtype=int)
    drawn = _draw(plan, options, _uncertain(rules, cells, options, ways), ways, len(fields), len(zones))

    limit = np.empty((drawn.count, len(zones)))
    way_limit = {name: np.empty_like(limit) for name in ways}
    taken = {name: np.empty_like(limit) for name in ways}
    for start in range(0, drawn.count, _DRAWS_AT_ONCE):
        now = slice(start, start + _DRAWS_AT_ONCE)
        factor = drawn.season[now][:, field_of_zone] * drawn.zone_factor[now]
        inputs = _with_stover(cells, options, few, factor, drawn.grain_error[now])
        told = replace(options, drawn={k: xr.DataArray(v[now], dims="draw") for k, v in drawn.shared.items()})
        mean_standing = few.mean(inputs["stover_mg_ha"].values)
        counted = inputs["stover_usual_mg_ha"].values
        asked_alike = _largest(alike, inputs, told, counted)
        limit[now] = few.mean(counted - np.fmax(asked_alike, _largest(by_way, inputs, told, counted)))
        for name, way in ways.items():
            kept = np.fmax(asked_alike, _largest(by_way, inputs, told.with_method(way), counted))
            way_limit[name][now] = few.mean(counted - kept)
            taken[name][now] = drawn.shares[name][now][:, field_of_zone] * mean_standing
    shares = {f"methods.{name}.share": share for name, share in drawn.shares.items()}
    all_inputs = {**drawn.shared, "residue.factor": drawn.season, **shares}
    return DrawnLimits(
        zone_ids=list(zones["zone_id"]),
        field_ids=list(zones["field_id"]),
        area_ha=everything.total(everything.weight_ha),
        limit_mg_ha=limit,
        method_limit_mg_ha=way_limit,
        take_mg_ha=taken,
        inputs=all_inputs,
        fields=fields,
        meanings={key: options.book[key].meaning for key in all_inputs},
    )


@dataclass(frozen=True, slots=True)
class _Drawn:
    """All that is uncertain, drawn."""

    count: int
    shared: Mapping[str, np.ndarray]  #: coefficients of rules, one draw for the farm: shape (draws,)
    season: np.ndarray  #: the season's stover for the grain, by field
    shares: Mapping[str, np.ndarray]  #: what each machine gathers, by field
    zone_factor: np.ndarray  #: each zone's own departure
    grain_error: np.ndarray  #: in standard errors of the grain surface, by zone


def _draw(
    plan: Odds, options: RuleOptions, keys: list[str], ways: Mapping[str, Method], fields: int, zones: int
) -> _Drawn:
    """Draw everything, each input from its own stream; with no draws, return the defaults once."""
    n, book = max(plan.draws, 1), options.book

    def of(key: str, *among: int) -> np.ndarray:
        c = book[key]
        return draw(c if plan.draws else replace(c, low=c.value, high=c.value), plan.seed, (n, *among))

    # the plan's cut height moves the whole range a machine gathers
    moved = {name: way.fraction / book.value(f"methods.{name}.share") for name, way in ways.items()}
    normal = ndtri(spread_evenly(stream(plan.seed, "grain surface"), (n, zones)))
    return _Drawn(
        count=n,
        shared={key: of(key) for key in keys},
        season=of("residue.factor", fields),
        shares={name: np.minimum(of(f"methods.{name}.share", fields) * moved[name], 1.0) for name in ways},
        zone_factor=of("residue.zone_factor", zones),
        grain_error=normal * book.value("residue.grain_error_shared") * (plan.draws > 0),
    )


def _cells(stack: xr.Dataset, few: ZoneCells) -> xr.Dataset:
    """Return the stack's variables in the sampled cells, along one dim."""
    flat = {
        n: ("cell", v.values.ravel()[few.cells], v.attrs) for n, v in stack.data_vars.items() if v.dims == ("y", "x")
    }
    return xr.Dataset(flat).astype(float)


@dataclass(slots=True)
class _AsOnTheMap:
    """A rule that cannot work on draws: what it asked for on the map stands in every draw."""

    title: str
    reads: tuple[str, ...]
    source: str

    def keep(self, stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
        return stack[self.reads[0]]


def _drawable(named: NamedRule, cells: xr.Dataset, options: RuleOptions) -> NamedRule:
    """Return a rule that works on sampled cells and draws; a plug-in that does not is held to its map."""
    two = {"residue.factor": xr.DataArray([1.0, 1.0], dims="draw")}
    told = replace(options, drawn=two, asked=set())
    try:
        drawn = {n: cells[n] * two["residue.factor"] for n in ("stover_mg_ha", "stover_usual_mg_ha")}
        asked(named, cells.assign(drawn), told)
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
    stands = stands * factor[:, few.zone]
    # one error moves both: what is in doubt is the stover for the grain, not by how much this year is the better one
    share = cells["stover_usual_mg_ha"].values / np.maximum(cells["stover_mg_ha"].values, 1e-9)
    drawn = {"grain_mg_ha": grain, "stover_mg_ha": stands, "stover_usual_mg_ha": stands * share}
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
    rules: list[NamedRule], cells: xr.Dataset, options: RuleOptions, ways: Mapping[str, Method]
) -> list[str]:
    """Return the keys with a spread that the rules ask for, found by running them once."""
    listener = replace(options, asked=set())
    for named in rules:
        for way in (None, *ways.values()):
            asked(named, cells, listener.with_method(way))
    # the season is drawn by field
    return sorted(k for k in listener.asked if options.book[k].low < options.book[k].high and k != "residue.factor")
