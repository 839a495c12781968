"""What each rule asks of each zone, and every method of gathering side by side, in numbers and messages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from stovergeo.core.errors import Report
from stovergeo.core.messages import Message, check_message
from stovergeo.residue.carbon import one_year_in, share_of_years
from stovergeo.residue.collection import Method, soil_in_bales, take
from stovergeo.residue.messages import LITTLE_MG_HA, catalog
from stovergeo.residue.monte_carlo import DrawnLimits, compliance_probability
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.removable import NamedRule, answers_of, rules_for, with_cautious_soil
from stovergeo.residue.retention import soil_carbon
from stovergeo.residue.why import gain_without
from stovergeo.residue.zone_cells import ZoneCells, zone_cells

_METHOD_COLUMNS: Final = (
    "zone_id",
    "method",
    "title",
    "removal_mg_ha",
    "limit_mg_ha",
    "moisture_pct",
    "ash_pct",
    "passes",
    "standing_mg_ha",
    "flat_mg_ha",
    "soil_mg_ha",
    "clean_fraction",
    "one_year_in",
    "compliance_probability",
    "allowed",
    "message",
)


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
    gains = {n: cells.mean(gain.ravel()[cells.cells]) for n, gain in gain_without(stack).items()}
    binds = {n: cells.mean((binding == i).astype(float)) for i, n in enumerate(names)}
    rows = []
    for z, zone in enumerate(zones["zone_id"]):
        known = [n for n in names if np.isfinite(asks[n][z])]
        ranked = sorted(known, key=lambda n: (-binds[n][z], -asks[n][z]))
        for place, n in enumerate(ranked):
            messages = [rule_message(rules[n], asks[n][z], standing[z], options)]
            if place == 0 and binds[n][z] > 0:
                messages.append(_strictest(binds[n][z]))
            rows.append(
                {
                    "zone_id": zone,
                    "rule": n,
                    "title": rules[n].rule.title,
                    "retention_mg_ha": asks[n][z],
                    "binds_fraction": binds[n][z],
                    "gain_mg_ha": gains[n][z],
                    "lift": _lift(rules[n], gains[n][z]),
                    "source": rules[n].rule.source,
                    "message": tuple(messages),
                }
            )
    columns = [
        "zone_id",
        "rule",
        "title",
        "retention_mg_ha",
        "binds_fraction",
        "gain_mg_ha",
        "lift",
        "source",
        "message",
    ]
    return pd.DataFrame(rows, columns=columns)


def zone_methods(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    ways: Mapping[str, Method],
    *,
    drawn: DrawnLimits | None = None,
    cautious_pct: float = 10.0,
) -> pd.DataFrame:
    """Return for each zone every method of gathering, allowed or refused with the reason.

    A way is allowed when its take, at the zone's expected stover, fits under the mean limit for that way, under the
    zone's own even-take limit (column removable_mg_ha of `zones`, where it has one) and, where samples are given, under
    the cautious percentile of the limit.

    Parameters
    ----------
    stack, zones, labels, options
        As for `zone_limits`.
    ways : mapping
        Methods by name.
    drawn : DrawnLimits, optional
        From `sample_limits` with the same zones and ways.
    cautious_pct : float
        Percentile of the drawn limit that decides.

    Returns
    -------
    DataFrame
        zone_id, method, title, removal_mg_ha, limit_mg_ha (that decides), moisture_pct, ash_pct, passes, standing_mg_ha
        and flat_mg_ha (left), soil_mg_ha (earth carried off), clean_fraction (of the bale that a buyer pays for),
        one_year_in (corn years in which the carbon budget bears this take), compliance_probability, allowed,
        recommended, message (several, a sentence each).
    """
    cells = zone_cells(labels, stack, len(zones))
    inputs = with_cautious_soil(stack, options, Report())
    stover_zone = cells.mean(cells.of(stack["stover_mg_ha"]))
    counted_zone = cells.mean(cells.of(stack["stover_typical_mg_ha"]))
    yearly = replace(options, crop=options.crop.model_copy(update={"harvest_one_year_in": 1}))
    carbon = float(soil_carbon.required(yearly))
    budgeted = "soil_carbon" in stack["binding_rule"].attrs["rules"]
    rows = []
    for name, way in ways.items():
        mean_limit = _mean_limit(stack, inputs, cells, options.with_method(way))
        taken = take(stover_zone, way)
        for z, zone in enumerate(zones["zone_id"]):
            limits = {"mean": mean_limit[z]}
            if "removable_mg_ha" in zones:
                limits["even"] = float(zones["removable_mg_ha"].iloc[z])
            if drawn is not None:
                limits["cautious"] = float(np.percentile(drawn.method_limit_mg_ha[name][:, z], cautious_pct))
            deciding = min(limits, key=lambda k: limits[k])
            limit = limits[deciding]
            known = np.isfinite(stover_zone[z])
            allowed = bool(known and taken[z] <= limit + 1e-9 and taken[z] > 0)
            years = (
                float(one_year_in(share_of_years(counted_zone[z], carbon, taken[z]))) if known and budgeted else np.nan
            )
            stands = way.stands * stover_zone[z]
            rows.append(
                {
                    "zone_id": zone,
                    "method": name,
                    "title": way.title,
                    "removal_mg_ha": taken[z],
                    "limit_mg_ha": max(limit, 0.0),
                    "moisture_pct": way.moisture_pct,
                    "ash_pct": way.ash_pct,
                    "passes": way.passes,
                    "standing_mg_ha": stands,
                    "flat_mg_ha": stover_zone[z] - taken[z] - stands,
                    "soil_mg_ha": float(soil_in_bales(taken[z], way.ash_pct, way.plant_ash_pct)),
                    "clean_fraction": way.clean_fraction,
                    "one_year_in": years,
                    "compliance_probability": compliance_probability(drawn, z, name) if drawn is not None else np.nan,
                    "allowed": allowed,
                    "message": _verdict(taken[z], max(limit, 0.0), deciding, allowed, years, cautious_pct),
                }
            )
    frame = pd.DataFrame(rows, columns=_METHOD_COLUMNS)
    order = {zone: i for i, zone in enumerate(zones["zone_id"])}
    frame = frame.sort_values("zone_id", key=lambda s: s.map(order), kind="stable").reset_index(drop=True)
    best = frame[frame["allowed"].astype(bool)].groupby("zone_id", sort=False)["removal_mg_ha"].idxmax()
    return frame.assign(recommended=frame.index.isin(best))


def recommended(zone_methods: pd.DataFrame) -> dict[str, str]:
    """Return the recommended method by zone, "leave" where none is allowed."""
    best = zone_methods[zone_methods["recommended"].astype(bool)].set_index("zone_id")["method"].to_dict()
    return {zone: best.get(zone, "leave") for zone in zone_methods["zone_id"].unique()}


def _mean_limit(stack: xr.Dataset, inputs: xr.Dataset, cells: ZoneCells, options: RuleOptions) -> np.ndarray:
    """Return each zone's mean of what may leave by one method of gathering (other rules come from the stack)."""
    names = stack["binding_rule"].attrs["rules"]
    rules = [r for r in rules_for(options, Report()) if r.name in names]
    varying = [r for r in rules if r.trait("reads_method", False)]
    answers = answers_of(varying, inputs, options, Report())
    counted = cells.of(stack["stover_typical_mg_ha"])
    kept = [cells.of(stack[f"retention_{r.name}_mg_ha"]) for r in rules if r not in varying]
    kept += [cells.of(a.broadcast_like(inputs["stover_mg_ha"]).transpose("y", "x")) for a in answers.values()]
    return cells.mean(counted - np.minimum(np.fmax.reduce(np.stack(kept)), counted))


def rule_message(named: NamedRule, retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
    """Return what a rule says it asks for; one of others that says nothing, or wrongly, gets a plain sentence."""
    try:
        said: Message = named.rule.message(retention_mg_ha, stover_mg_ha, options)  # type: ignore[attr-defined]
        check_message(said)
    except Exception:
        if named.package == "stovergeo":
            raise
        return catalog("rule.asks", title=str(named.rule.title), keep=retention_mg_ha)
    return said


def _strictest(share: float) -> Message:
    return catalog("rule.strictest") if share > 0.995 else catalog("rule.strictest_on", share=share)


def _lift(named: NamedRule, gain_mg_ha: float) -> tuple[str | Message, ...]:
    lift = (str(named.trait("lift", "")),) if named.trait("lift", "") else ()
    # what must not be touched is not held out as a gain
    if not gain_mg_ha >= LITTLE_MG_HA or named.trait("forbids", False):
        return lift
    return (*lift, catalog("rule.gain", gain=gain_mg_ha))


def _verdict(
    take: float, limit: float, deciding: str, allowed: bool, years: float, cautious_pct: float
) -> tuple[Message, ...]:
    """Return whether a method's take fits under the limit that decides."""
    if np.isnan(take):
        return (catalog("method.unknown"),)
    sure = {"sure": 100 - cautious_pct} if deciding == "cautious" else {}
    verdict = catalog(("fits." if allowed else "exceeds.") + deciding, take=take, limit=limit, **sure)
    if not allowed and np.isfinite(years) and years > 1:
        return verdict, catalog("method.seldom", years=int(years))
    return (verdict,)
