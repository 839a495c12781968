"""What could leave if one thing in the plan were otherwise: limits and offers anew, for some zones only."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
import xarray as xr

from stovergeo import bales, residue, zones
from stovergeo.core.errors import Report
from stovergeo.inputs.plan import Plan
from stovergeo.workflow.steps import Ground, owners


def offers_if(
    ground: Ground, wanted: np.ndarray, options: residue.RuleOptions, methods: Mapping[str, residue.Method]
) -> pd.DataFrame:
    """Return what methods could take from some zones under other options; the zones stay as they are drawn.

    Only the cells of the zones asked for are worked on, and the odds are computed only where a method fits under what
    may leave when the zone is gathered evenly.

    Parameters
    ----------
    ground : Ground
    wanted : bool array
        By zone of the ground.
    options : RuleOptions
    methods : mapping of name to Method

    Returns
    -------
    DataFrame
        As `residue.zone_methods`, for the zones and methods whose odds were computed.
    """
    found = [_offers_of(ground, part, options, methods) for part in _some_at_once(ground, wanted)]
    return pd.concat([offers for offers in found if len(offers)] or [ground.offers.storable.iloc[:0]])


def _some_at_once(ground: Ground, wanted: np.ndarray) -> Iterator[np.ndarray]:
    """Yield the zones in parts of few cells, by zone of the ground: large arrays made often fill the memory in gaps."""
    number = ground.offers.labels.values
    counts = np.bincount(number[np.isfinite(number)].astype(int), minlength=len(wanted))
    part = (np.cumsum(counts * wanted) - counts * wanted) // residue.CELLS_AT_ONCE
    for k in np.unique(part[wanted]):
        yield wanted & (part == k)


def _offers_of(
    ground: Ground, wanted: np.ndarray, options: residue.RuleOptions, methods: Mapping[str, residue.Method]
) -> pd.DataFrame:
    plan, coefficients, offered = ground.cluster.plan, options.coefficients, ground.offers
    stack, numbers = _cells_of(ground, wanted)
    stack = residue.removable_if(stack, options)
    even = _even_limits(stack, numbers, len(wanted), zones.zone_options(coefficients).over_fraction)
    drawn_zones = offered.zones.assign(removable_mg_ha=even)
    # no method is allowed that takes more than an even take may be: only the others need their odds
    stover = drawn_zones["stover_mg_ha"].to_numpy()
    fitting = {n: m for n, m in methods.items() if (wanted & (m.fraction * stover <= even + 1e-6)).any()}
    if not fitting:
        return offered.storable.iloc[:0]
    open_zones = wanted & (min(m.fraction for m in fitting.values()) * stover <= even + 1e-6)
    inside = np.where(open_zones[numbers.astype(int)], numbers, np.nan)
    drawn = residue.sample_limits(stack, drawn_zones, inside, options, plan.odds, fitting, owners(ground.cluster))
    found = residue.zone_methods(
        stack, drawn_zones, inside, options, fitting, drawn=drawn, cautious_pct=plan.odds.cautious_pct
    )
    return found[found["zone_id"].isin(drawn_zones.loc[open_zones, "zone_id"])]


def may_change(ground: Ground, moved: Collection[str]) -> np.ndarray:
    """Return by zone whether something could be gathered if the rules that may be moved asked for nothing.

    Rules that read the method of gathering count as moved, because what they ask for hangs on it.
    """
    stack, offered = ground.removable.stack, ground.offers
    rules = residue.rules_for(ground.removable.options, Report())
    fixed = [
        stack[f"retention_{r.name}_mg_ha"].values
        for r in rules
        if r.name in stack["binding_rule"].attrs["rules"] and r.name not in moved and not r.trait("reads_method", False)
    ]
    counted = stack["stover_typical_mg_ha"].values.astype(float)
    kept = np.minimum(np.fmax.reduce([np.zeros_like(counted), *fixed]), counted)
    rest = stack.assign(removable_mg_ha=(("y", "x"), counted - kept))
    over_fraction = zones.zone_options(ground.cluster.coefficients).over_fraction
    even = _even_limits(rest, offered.labels.values, len(offered.zones), over_fraction)
    least = offered.storable.groupby("zone_id")["removal_mg_ha"].min().reindex(offered.zones["zone_id"])
    return even >= least.to_numpy()


def most_bales(
    offers: pd.DataFrame,
    area_ha: pd.Series,
    methods: Mapping[str, residue.Method],
    plan: Plan,
    options: residue.RuleOptions,
) -> pd.Series:
    """Return by zone the bales of the allowed method with the largest removal; zones without one are left out."""
    allowed = offers[offers["allowed"].astype(bool) & offers["method"].isin(list(methods))]
    best = allowed.loc[allowed.groupby("zone_id", sort=False)["removal_mg_ha"].idxmax()]
    dry_kg = {name: bales.bale_of(plan.bale, method, options.coefficients).dry_kg for name, method in methods.items()}
    made = [bales.whole_bales(o.removal_mg_ha * area_ha[o.zone_id], dry_kg[o.method]) for o in best.itertuples()]
    return pd.Series(made, index=best["zone_id"].to_numpy(), dtype=int)


def otherwise(
    options: residue.RuleOptions, crop: Mapping | None = None, limits: Mapping | None = None
) -> residue.RuleOptions:
    """Return options with keys of the plan's crop or limits changed."""
    return replace(
        options,
        crop=options.crop.model_copy(update=dict(crop or {})),
        limits=options.limits.model_copy(update=dict(limits or {})),
    )


def _cells_of(ground: Ground, wanted: np.ndarray) -> tuple[xr.Dataset, np.ndarray]:
    """Return the cells of some zones in one column (rules work on some rows at a time), and each one's zone."""
    stack = ground.removable.stack
    numbers = np.nan_to_num(ground.offers.labels.values.ravel(), nan=-1).astype(int)
    inside = np.flatnonzero((numbers >= 0) & wanted[numbers])
    cells = {
        name: (("y", "x"), values.values.ravel()[inside][:, None], values.attrs)
        for name, values in stack.data_vars.items()
        if values.dims == ("y", "x")
    }
    column = xr.Dataset(cells, coords={"y": np.arange(len(inside), dtype=float), "x": [0.0]})
    return column.assign_coords(spatial_ref=stack["spatial_ref"]), numbers[inside][:, None].astype(float)


def _even_limits(stack: xr.Dataset, numbers: np.ndarray, count: int, over_fraction: float) -> np.ndarray:
    """Return what each zone can stand when it is gathered evenly, Mg/ha; 0 in zones without cells."""
    spare, area = zones.spare_of(stack).ravel(), stack["cell_area_ha"].values.ravel()
    number = np.nan_to_num(numbers.ravel(), nan=-1).astype(int)
    order = np.argsort(number, kind="stable")
    parts = np.split(order, np.searchsorted(number[order], np.arange(count)))[1:]
    return np.array([zones.cautious_limit(spare[c], area[c], over_fraction) if len(c) else 0.0 for c in parts])
