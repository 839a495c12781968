"""What each rule asks of each zone, and every way of gathering side by side, in numbers and words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from stovergeo.core.errors import Report
from stovergeo.residue.carbon import one_year_in, share_of_years
from stovergeo.residue.collection import Method, soil_in_bales, take
from stovergeo.residue.monte_carlo import DrawnLimits
from stovergeo.residue.odds import odds_kept
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.removable import NamedRule, answers_of, rules_for, with_cautious_soil
from stovergeo.residue.retention import soil_carbon
from stovergeo.residue.why import gain_without
from stovergeo.residue.words import Units, per_area, percent
from stovergeo.residue.zone_cells import ZoneCells, zone_cells

_METHOD_COLUMNS: Final = (
    "zone_id",
    "method",
    "title",
    "take_mg_ha",
    "limit_mg_ha",
    "moisture_pct",
    "ash_pct",
    "passes",
    "standing_mg_ha",
    "flat_mg_ha",
    "soil_mg_ha",
    "clean_share",
    "one_year_in",
    "odds_kept",
    "allowed",
    "words",
)


def zone_limits(
    stack: xr.Dataset, zones: pd.DataFrame, labels: ArrayLike, options: RuleOptions, *, units: Units = "us"
) -> pd.DataFrame:
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
    units : {"us", "metric"}
        Of the words.

    Returns
    -------
    DataFrame
        zone_id, rule, title, keep_mg_ha (mean asked for), binds_share (of the zone's area), gain_mg_ha (how much more
        could leave if this rule alone were lifted), lift, source, words; the binding rule first in each zone.
    """
    names = list(stack["binding_rule"].attrs["rules"])
    rules = {r.name: r for r in rules_for(options, Report())}
    cells = zone_cells(labels, stack, len(zones))
    standing = cells.mean(cells.of(stack["stover_mg_ha"]))
    binding = cells.of(stack["binding_rule"])
    asks = {n: cells.mean(cells.of(stack[f"keep_{n}_mg_ha"])) for n in names}
    gains = {n: cells.mean(gain.ravel()[cells.cells]) for n, gain in gain_without(stack).items()}
    binds = {n: cells.mean((binding == i).astype(float)) for i, n in enumerate(names)}
    rows = []
    for z, zone in enumerate(zones["zone_id"]):
        known = [n for n in names if np.isfinite(asks[n][z])]
        ranked = sorted(known, key=lambda n: (-binds[n][z], -asks[n][z]))
        for place, n in enumerate(ranked):
            words = _words(rules[n], asks[n][z], standing[z], options, units)
            if place == 0 and binds[n][z] > 0:
                words += _binding_words(binds[n][z])
            rows.append(
                {
                    "zone_id": zone,
                    "rule": n,
                    "title": rules[n].rule.title,
                    "keep_mg_ha": asks[n][z],
                    "binds_share": binds[n][z],
                    "gain_mg_ha": gains[n][z],
                    "lift": _lift_words(rules[n], gains[n][z], units),
                    "source": rules[n].rule.source,
                    "words": words,
                }
            )
    columns = ["zone_id", "rule", "title", "keep_mg_ha", "binds_share", "gain_mg_ha", "lift", "source", "words"]
    return pd.DataFrame(rows, columns=columns)


def limits_at(stack: xr.Dataset, x: float, y: float, options: RuleOptions, *, units: Units = "us") -> pd.DataFrame:
    """Return what each rule asks at one place: the table of `zone_limits` for the cell that holds it.

    Parameters
    ----------
    stack, options, units
        As for `zone_limits`.
    x, y : float
        In the stack's CRS. A place off the grid, or where no crop is known, has no rows.
    """
    here = np.full((stack.sizes["y"], stack.sizes["x"]), np.nan)
    column, row = (int(n // 1) for n in ~stack.rio.transform() * (x, y))
    if 0 <= row < here.shape[0] and 0 <= column < here.shape[1]:
        here[row, column] = 0
    return zone_limits(stack, pd.DataFrame({"zone_id": ["here"]}), here, options, units=units).drop(columns="zone_id")


def zone_methods(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    ways: Mapping[str, Method],
    *,
    drawn: DrawnLimits | None = None,
    cautious_pct: float = 10.0,
    units: Units = "us",
) -> pd.DataFrame:
    """Return for each zone every way of gathering, allowed or refused with the reason.

    A way is allowed when its take, at the zone's expected stover, fits under the mean limit for that way, under the
    zone's own even-take limit (column removable_mg_ha of `zones`, where it has one) and, where draws are given, under
    the cautious percentile of the limit.

    Parameters
    ----------
    stack, zones, labels, options, units
        As for `zone_limits`.
    ways : mapping
        Methods by name.
    drawn : DrawnLimits, optional
        From `draw_limits` with the same zones and ways.
    cautious_pct : float
        Percentile of the drawn limit that decides.

    Returns
    -------
    DataFrame
        zone_id, method, title, take_mg_ha, limit_mg_ha (that decides), moisture_pct, ash_pct, passes, standing_mg_ha
        and flat_mg_ha (left), soil_mg_ha (earth carried off), clean_share (of the bale that a buyer pays for),
        one_year_in (corn years in which the carbon budget bears this take), odds_kept, allowed, recommended, words.
    """
    cells = zone_cells(labels, stack, len(zones))
    inputs = with_cautious_soil(stack, options, Report())
    stover_zone = cells.mean(cells.of(stack["stover_mg_ha"]))
    counted_zone = cells.mean(cells.of(stack["stover_usual_mg_ha"]))
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
                    "take_mg_ha": taken[z],
                    "limit_mg_ha": max(limit, 0.0),
                    "moisture_pct": way.moisture_pct,
                    "ash_pct": way.ash_pct,
                    "passes": way.passes,
                    "standing_mg_ha": stands,
                    "flat_mg_ha": stover_zone[z] - taken[z] - stands,
                    "soil_mg_ha": float(soil_in_bales(taken[z], way.ash_pct, way.plant_ash_pct)),
                    "clean_share": way.clean_share,
                    "one_year_in": years,
                    "odds_kept": odds_kept(drawn, z, name) if drawn is not None else np.nan,
                    "allowed": allowed,
                    "words": _method_words(taken[z], limit, deciding, allowed, known, years, cautious_pct, units),
                }
            )
    frame = pd.DataFrame(rows, columns=_METHOD_COLUMNS)
    order = {zone: i for i, zone in enumerate(zones["zone_id"])}
    frame = frame.sort_values("zone_id", key=lambda s: s.map(order), kind="stable").reset_index(drop=True)
    best = frame[frame["allowed"].astype(bool)].groupby("zone_id", sort=False)["take_mg_ha"].idxmax()
    return frame.assign(recommended=frame.index.isin(best))


def recommended(zone_methods: pd.DataFrame) -> dict[str, str]:
    """Return the recommended method by zone, "leave" where none is allowed."""
    best = zone_methods[zone_methods["recommended"].astype(bool)].set_index("zone_id")["method"].to_dict()
    return {zone: best.get(zone, "leave") for zone in zone_methods["zone_id"].unique()}


def _mean_limit(stack: xr.Dataset, inputs: xr.Dataset, cells: ZoneCells, options: RuleOptions) -> np.ndarray:
    """Return each zone's mean of what may leave by one way of gathering (other rules come from the stack)."""
    names = stack["binding_rule"].attrs["rules"]
    rules = [r for r in rules_for(options, Report()) if r.name in names]
    varying = [r for r in rules if r.trait("reads_method", False)]
    answers = answers_of(varying, inputs, options, Report())
    counted = cells.of(stack["stover_usual_mg_ha"])
    kept = [cells.of(stack[f"keep_{r.name}_mg_ha"]) for r in rules if r not in varying]
    kept += [cells.of(a.broadcast_like(inputs["stover_mg_ha"]).transpose("y", "x")) for a in answers.values()]
    return cells.mean(counted - np.minimum(np.fmax.reduce(np.stack(kept)), counted))


def _words(named: NamedRule, keep: float, standing: float, options: RuleOptions, units: Units) -> str:
    try:
        return str(named.rule.words(keep, standing, options, units))  # type: ignore[attr-defined]
    except Exception:  # a stranger's rule need not speak, or may speak wrongly
        if named.package == "stovergeo":
            raise
        return f"{named.rule.title} asks for {per_area(keep, units)} to stay."


def _lift_words(named: NamedRule, gain: float, units: Units) -> str:
    lift = str(named.trait("lift", ""))
    if not gain > 0 or named.trait("forbids", False):  # what must not be touched is not held out as a gain
        return lift
    return f"{lift} Without this rule {per_area(gain, units)} more could leave before the next one holds.".strip()


def _binding_words(share: float) -> str:
    where = "" if share > 0.995 else f" on {percent(share)} of this ground"
    return f" That is the most that any rule asks for{where}."


def _method_words(
    taken: float,
    limit: float,
    deciding: str,
    allowed: bool,
    known: bool,
    years: float,
    cautious_pct: float,
    units: Units,
) -> str:
    if not known:
        return "Nothing is known of the crop here."
    if allowed:
        return f"Takes {per_area(taken, units)}; {per_area(limit, units)} may leave."
    why = {
        "mean": "and only",
        "even": "but taken evenly, so that poorer spots keep enough, only",
        "cautious": f"but to be safe in all but {cautious_pct:g} of 100 cases only",
    }[deciding]
    said = f"Refused: it takes {per_area(taken, units)}, {why} {per_area(max(limit, 0), units)} may leave."
    if np.isfinite(years) and years > 1:
        said += f" For soil carbon alone it could be done in one corn year of {years:.0f}."
    return said
