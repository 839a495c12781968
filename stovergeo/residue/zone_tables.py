"""What each rule asks of each zone and of the farm, and every method side by side, in numbers and messages."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from stovergeo.core.errors import Report
from stovergeo.core.messages import Message, check_message
from stovergeo.residue.carbon import removal_a_year, share_of_years, years_within
from stovergeo.residue.collection import Method, soil_in_bales, take
from stovergeo.residue.messages import LITTLE_MG_HA, catalog, in_years
from stovergeo.residue.monte_carlo import DrawnLimits, compliance_probability
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.removable import NamedRule, answers_of, rules_for, with_cautious_soil
from stovergeo.residue.retention import soil_carbon
from stovergeo.residue.zone_cells import ZoneCells, zone_cells

_LIMIT_COLUMNS = ["zone_id", "rule", "title", "retention_mg_ha", "binds_fraction", "gain_mg_ha"]
_LIMIT_COLUMNS += ["lift", "source", "message"]
_METHOD_COLUMNS = ["zone_id", "method", "title", "removal_mg_ha", "limit_mg_ha", "moisture_pct", "ash_pct"]
#: limits of a method in a zone, by how they come about; the least decides
_LIMITS: Final = ("mean", "even", "cautious")
_METHOD_COLUMNS += [f"{limit}_limit_mg_ha" for limit in _LIMITS]
_METHOD_COLUMNS += ["passes", "standing_mg_ha", "flat_mg_ha", "soil_mg_ha", "clean_fraction"]
_METHOD_COLUMNS += ["harvest_fraction", "removal_mean_mg_ha"]
_METHOD_COLUMNS += ["compliance_probability", "allowed", "message"]


def zone_limits(stack: xr.Dataset, zones: pd.DataFrame, labels: ArrayLike, options: RuleOptions) -> pd.DataFrame:
    """Return what each rule asks of each zone: what binds, by how much, and what would lift it.

    Parameters
    ----------
    stack : Dataset
        As `limits` returns it.
    zones : DataFrame
        With zone_id; a row for each label.
    labels : array, shape (y, x)
        Row of the zone, NaN outside.
    options : RuleOptions

    Returns
    -------
    DataFrame
        zone_id, rule, title, retention_mg_ha (mean asked for), binds_fraction (of the zone's area), gain_mg_ha (how
        much more could leave if this rule alone were lifted), lift, source, message; the binding rule first in each
        zone. `lift` and `message` hold several sentences.
    """
    names = list(stack["binding_rule"].attrs["rules"])
    rules = {r.name: r for r in rules_for(options, Report())}
    cells = zone_cells(labels, stack, len(zones))
    standing = cells.mean(cells.of(stack["stover_mg_ha"]))
    binding = cells.of(stack["binding_rule"])
    asks = {n: cells.mean(cells.of(stack[f"retention_{n}_mg_ha"])) for n in names}
    gains = {n: cells.mean(gain.ravel()[cells.cells]) for n, gain in gain_without(stack)}
    binds = {n: cells.mean((binding == i).astype(float)) for i, n in enumerate(names)}
    rows = []
    for z, zone in enumerate(zones["zone_id"]):
        known = [n for n in names if np.isfinite(asks[n][z])]
        ranked = sorted(known, key=lambda n: (-binds[n][z], -asks[n][z]))
        for place, n in enumerate(ranked):
            messages = [rule_message(rules[n], asks[n][z], standing[z], options)]
            if place == 0 and binds[n][z] > 0:
                messages.append(_strictest(binds[n][z]))
            what = n, rules[n].rule.title, asks[n][z], binds[n][z], gains[n][z]
            rows.append((zone, *what, _lift(rules[n], gains[n][z]), rules[n].rule.source, tuple(messages)))
    return pd.DataFrame(rows, columns=_LIMIT_COLUMNS)


def zone_methods(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    methods: Mapping[str, Method],
    *,
    drawn: DrawnLimits | None = None,
    cautious_pct: float = 10.0,
) -> pd.DataFrame:
    """Return for each zone every method of gathering, allowed or refused with the reason.

    A method is allowed when its take, at the zone's expected stover, fits under the mean limit for it, under the
    zone's own even-take limit (column removable_mg_ha of `zones`, where it has one) and, where samples are given, under
    the cautious percentile of the limit.

    Parameters
    ----------
    stack, zones, labels, options
        As for `zone_limits`.
    methods : mapping
        Methods by name.
    drawn : DrawnLimits, optional
        From `sample_limits` with the same zones and methods.
    cautious_pct : float
        Percentile of the drawn limit that decides.

    Returns
    -------
    DataFrame
        zone_id, method, title, removal_mg_ha, limit_mg_ha (that decides), moisture_pct, ash_pct, mean_limit_mg_ha,
        even_limit_mg_ha and cautious_limit_mg_ha (NaN where it was not asked for), passes, standing_mg_ha and
        flat_mg_ha (left), soil_mg_ha (earth carried off), clean_fraction (of the bale that a buyer pays for),
        harvest_fraction (of the corn years in which the carbon budget bears this take; 0: in none), removal_mean_mg_ha
        (a corn year, in the mean over those with and without harvest as planned), compliance_probability, allowed,
        recommended, message (several, a sentence each).
    """
    cells = zone_cells(labels, stack, len(zones))
    inputs = with_cautious_soil(stack, options, Report())
    stover_zone = cells.mean(cells.of(stack["stover_mg_ha"]))
    planned = options.crop.harvest_years
    bearable = _years_borne(stack, cells, options)
    budgeted = "soil_carbon" in stack["binding_rule"].attrs["rules"]
    rules = [r for r in rules_for(options, Report()) if r.name in stack["binding_rule"].attrs["rules"]]
    rows = []
    for name, method in methods.items():
        mean_limit = _mean_limit(stack, inputs, cells, options.with_method(method), rules)
        taken = take(stover_zone, method)
        for z, zone in enumerate(zones["zone_id"]):
            limits = _limits_of(mean_limit[z], zones, drawn, name, z, cautious_pct)
            deciding = min(limits, key=lambda k: limits[k])
            limit = limits[deciding]
            known = np.isfinite(stover_zone[z])
            allowed = bool(known and taken[z] <= limit + 1e-9 and taken[z] > 0)
            bears = years_within(bearable(z, taken[z])) if known and budgeted else None
            stands = method.stands * stover_zone[z]
            rows.append(
                {
                    "zone_id": zone,
                    "method": name,
                    "title": method.title,
                    "removal_mg_ha": taken[z],
                    "limit_mg_ha": max(limit, 0.0),
                    "moisture_pct": method.moisture_pct,
                    "ash_pct": method.ash_pct,
                    **{f"{limit}_limit_mg_ha": limits.get(limit, np.nan) for limit in _LIMITS},
                    "passes": method.passes,
                    "standing_mg_ha": stands,
                    "flat_mg_ha": stover_zone[z] - taken[z] - stands,
                    "soil_mg_ha": float(soil_in_bales(taken[z], method.ash_pct, method.plant_ash_pct)),
                    "clean_fraction": method.clean_fraction,
                    "harvest_fraction": np.nan if bears is None else float(bears),
                    "removal_mean_mg_ha": removal_a_year(taken[z], float(planned)),
                    "compliance_probability": compliance_probability(drawn, z, name) if drawn is not None else np.nan,
                    "allowed": allowed,
                    "message": _verdict(taken[z], max(limit, 0.0), deciding, allowed, (planned, bears), cautious_pct),
                }
            )
    frame = pd.DataFrame(rows, columns=_METHOD_COLUMNS)
    order = {zone: i for i, zone in enumerate(zones["zone_id"])}
    frame = frame.sort_values("zone_id", key=lambda s: s.map(order), kind="stable").reset_index(drop=True)
    best = frame[frame["allowed"].astype(bool)].groupby("zone_id", sort=False)["removal_mg_ha"].idxmax()
    return frame.assign(recommended=frame.index.isin(best))


def _years_borne(stack: xr.Dataset, cells: ZoneCells, options: RuleOptions) -> Callable[[int, float], float]:
    """Return what gives the share of corn years in which table and goal bear a removal from the zone of a row."""
    ground = cells.dataset(stack, (*soil_carbon.reads, *soil_carbon.reads_if_known))
    stover = ground["stover_typical_mg_ha"]
    counted = cells.mean(stover.values)
    needed = soil_carbon.required(options, soil_carbon.manure_of(ground, options))
    required = cells.mean((needed + xr.zeros_like(stover)).values)
    most = cells.mean(soil_carbon.removal_max(ground, options, float(options.crop.corn_fraction)).values)

    def share(z: int, removal_mg_ha: float) -> float:
        by_goal = np.clip(most[z] / removal_mg_ha, 0.0, 1.0) if removal_mg_ha > 0 else 1.0
        return float(min(share_of_years(counted[z], required[z], removal_mg_ha), by_goal))

    return share


def _limits_of(
    mean: float, zones: pd.DataFrame, drawn: DrawnLimits | None, method: str, z: int, cautious_pct: float
) -> dict[str, float]:
    """Return the limits of a method in the zone of row `z` by how they come about."""
    limits = {"mean": mean}
    if "removable_mg_ha" in zones:
        limits["even"] = float(zones["removable_mg_ha"].iloc[z])
    if drawn is not None:
        limits["cautious"] = float(np.percentile(drawn.method_limit_mg_ha[method][:, z], cautious_pct))
    return limits


def recommended(zone_methods: pd.DataFrame) -> dict[str, str]:
    """Return the recommended method by zone, "leave" where none is allowed."""
    best = zone_methods[zone_methods["recommended"].astype(bool)].set_index("zone_id")["method"].to_dict()
    return {zone: best.get(zone, "leave") for zone in zone_methods["zone_id"].unique()}


def _mean_limit(
    stack: xr.Dataset, inputs: xr.Dataset, cells: ZoneCells, options: RuleOptions, rules: list[NamedRule]
) -> np.ndarray:
    """Return each zone's mean of what may leave by one method of gathering (other rules come from the stack)."""
    varying = [r for r in rules if r.trait("reads_method", False)]
    answers = answers_of(varying, inputs, options, Report())
    counted = cells.of(stack["stover_typical_mg_ha"])
    kept = [cells.of(stack[f"retention_{r.name}_mg_ha"]) for r in rules if r not in varying]
    kept += [cells.of(a.broadcast_like(inputs["stover_mg_ha"]).transpose("y", "x")) for a in answers.values()]
    return cells.mean(counted - np.minimum(np.fmax.reduce(np.stack(kept)), counted))


def rule_message(named: NamedRule, retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what a rule says it asks for; one of others that says nothing, or wrongly, gets a plain sentence."""
    try:
        own: Message = named.rule.message(retention_mg_ha, stover_mg_ha, options)  # type: ignore[attr-defined]
        check_message(own)
    except Exception:
        if named.package == "stovergeo":
            raise
        return catalog("rule.asks", title=str(named.rule.title), keep=retention_mg_ha)
    return own


def _strictest(share: float) -> Message:
    return catalog("rule.strictest") if share > 0.995 else catalog("rule.strictest_on", share=share)


def _lift(named: NamedRule, gain_mg_ha: float) -> tuple[str | Message, ...]:
    lift = (str(named.trait("lift", "")),) if named.trait("lift", "") else ()
    # what must not be touched is not held out as a gain
    if not gain_mg_ha >= LITTLE_MG_HA or named.trait("forbids", False):
        return lift
    return (*lift, catalog("rule.gain", gain=gain_mg_ha))


def _verdict(
    take: float,
    limit: float,
    deciding: str,
    allowed: bool,
    years: tuple[Fraction, Fraction | None],
    cautious_pct: float,
) -> tuple[Message, ...]:
    """Return whether a method's take fits under the limit that decides; `years`: as planned, as the budget bears."""
    if np.isnan(take):
        return (catalog("method.unknown"),)
    sure = {"sure": 100 - cautious_pct} if deciding == "cautious" else {}
    verdict = catalog(("fits." if allowed else "exceeds.") + deciding, take=take, limit=limit, **sure)
    planned, bears = years
    found = [verdict]
    if planned < 1:
        found.append(catalog("method.a_year", mean=removal_a_year(take, float(planned)), **in_years(planned)))
    if not allowed and bears is not None and 0 < bears < planned:
        found.append(catalog("method.seldom", **in_years(bears)))
    return tuple(found)


def gain_without(stack: xr.Dataset) -> Iterator[tuple[str, np.ndarray]]:
    """Yield each rule's name, and how much more could leave (Mg/ha) from each cell if that rule alone were lifted.

    0 where another rule asks for as much; NaN where nothing is known of the crop. Shape (y, x).
    """
    names = list(stack["binding_rule"].attrs["rules"])
    counted = stack["stover_typical_mg_ha"].values.astype(float)
    largest, second = np.zeros_like(counted), np.zeros_like(counted)
    for name in names:
        asked = np.nan_to_num(stack[f"retention_{name}_mg_ha"].values.astype(float))
        second = np.maximum(second, np.minimum(largest, asked))
        largest = np.maximum(largest, asked)
    for name in names:
        asked = np.nan_to_num(stack[f"retention_{name}_mg_ha"].values.astype(float))
        # the largest of all others: the second largest where the rule is the largest itself
        others = np.where(asked >= largest, second, largest)
        yield name, np.minimum(largest, counted) - np.minimum(others, counted)


def limit_totals(stacks: Sequence[xr.Dataset], options: RuleOptions) -> pd.DataFrame:
    """Return for the whole farm where each rule binds and what lifting it alone would free.

    Parameters
    ----------
    stacks : sequence of Dataset
        One for each cluster of fields, as `limits` returns them.
    options : RuleOptions

    Returns
    -------
    DataFrame
        rule, title, binds_ha, gain_mg (dry Mg that could leave besides, if this rule alone were lifted), lift, source,
        message (several, a sentence each); the rule that binds on most ground first.
    """
    rules = {r.name: r for r in rules_for(options, Report())}
    sums: dict[str, tuple[float, float]] = {}
    for stack in stacks:
        area = stack["cell_area_ha"].values.astype(float)
        binding = stack["binding_rule"].values
        for number, (name, gain) in enumerate(gain_without(stack)):
            binds_ha, freed = sums.get(name, (0.0, 0.0))
            sums[name] = binds_ha + float(area[binding == number].sum()), freed + float(np.nansum(gain * area))
    rows = []
    for name, (binds_ha, freed) in sums.items():
        rule, lift = rules[name].rule, rules[name].trait("lift", "")
        rows.append((name, rule.title, binds_ha, freed, lift, rule.source, _farm_messages(rule.title, binds_ha, freed)))
    columns = ["rule", "title", "binds_ha", "gain_mg", "lift", "source", "message"]
    return pd.DataFrame(rows, columns=columns).sort_values(
        "binds_ha", ascending=False, kind="stable", ignore_index=True
    )


def _farm_messages(title: str, binds_ha: float, freed_mg: float) -> tuple[Message, ...]:
    if binds_ha == 0:
        return (catalog("farm.nowhere", title=title),)
    without = catalog("farm.gain", gain=freed_mg) if freed_mg >= 0.5 else catalog("farm.no_gain")
    return catalog("farm.binds", title=title, area=binds_ha), without
