"""Weighed totals of the plan: the names they use, the ground they belong to, and the map set to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from scipy.spatial import cKDTree

from stovergeo import yieldmap
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.nearest import unknown_value
from stovergeo.core.stack import put
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.yields import Weighed
from stovergeo.workflow.causes import likely_cause

message = Catalog("stovergeo.workflow")
#: weighed over mapped grain beyond which a monitor is not merely out of calibration (judgment)
USUAL_FACTORS: Final = (0.8, 1.25)


@dataclass(frozen=True, slots=True)
class WeighedMap:
    """A grain map set to weighed totals."""

    stack: xr.Dataset
    said: list[Message] = field(default_factory=list)  #: for the first screen
    factors: dict[str, float] = field(default_factory=dict)  #: for the record
    fields: frozenset[str] = frozenset()  #: names of fields a total says something of


def place_of(number: int) -> str:
    """Return how problems name a weighed total; the first is number 0."""
    return f"plan file, yields.weighed {number + 1}"


def check_weighed(plan: Plan, fields: gpd.GeoDataFrame, points: list[gpd.GeoDataFrame], report: Report) -> None:
    """Report weighed totals, and losses accepted, whose field, machine or load is not there."""
    known = {"field": [str(name) for name in fields["name"]]}
    for kind in ("machine", "load"):
        known[kind] = sorted({str(name) for part in points if kind in part for name in part[kind].unique()})
    for number, total in enumerate(plan.yields.weighed):
        for kind, name in total.parts.items():
            if name not in known[kind]:
                report.add("yield.no_such_part", f"{place_of(number)}.{kind}", unknown_value(name, known[kind]))
        if total.field is None and sum(_has_all(part, total) for part in points) > 1:
            report.add("yield.weighed_apart", place_of(number), message("weighed.apart", of=_named(total)))
    every = [name for names in known.values() for name in names]
    for name in plan.yields.accept_losses:
        if name not in every:
            report.add("yield.no_such_part", "plan file, yields.accept_losses", unknown_value(name, every))


def _has_all(points: gpd.GeoDataFrame, total: Weighed) -> bool:
    """Tell whether the machine and the load of a total are among a cluster's records."""
    return all(kind in points and bool((points[kind].astype(str) == name).any()) for kind, name in total.parts.items())


def set_to_weighed(
    stack: xr.Dataset,
    fields: gpd.GeoDataFrame,
    cleaned: yieldmap.Cleaned | None,
    plan: Plan,
    report: Report,
) -> WeighedMap:
    """Return the stack with its grain map multiplied so that it holds what was weighed.

    Parameters
    ----------
    stack : Dataset
        With ``grain_mg_ha``, ``cell_area_ha`` and ``field_number``; ``grain_error_mg_ha`` is scaled too.
    fields : GeoDataFrame
    cleaned : Cleaned or None
        The records, which tell which machine and load cut a cell; None for a finished map.
    plan : Plan
    report : Report

    Raises
    ------
    InputError
        ``yield.weighed_contradict`` when two totals cannot both be right, ``yield.weighed_nowhere`` when a total's
        ground is not on the map.
    """
    own = {"field": set(fields["name"].astype(str))}
    if cleaned is not None:
        own |= {k: set(cleaned.points[k].astype(str)) for k in ("machine", "load") if k in cleaned.points}
    # of fields far apart, worked in clusters, a total of another cluster is none of this one
    numbers = [
        number
        for number, total in enumerate(plan.yields.weighed)
        if all(name in own.get(kind, set()) for kind, name in total.parts.items())
    ]
    totals = tuple(plan.yields.weighed[number] for number in numbers)
    if not totals:
        return WeighedMap(stack)
    grain = stack["grain_mg_ha"].to_numpy()
    at = np.flatnonzero(np.isfinite(grain) & np.isfinite(stack["field_number"].to_numpy()))
    mass = grain.ravel()[at] * stack["cell_area_ha"].to_numpy().ravel()[at]
    belongs = _ground(totals, stack, at, fields, cleaned)
    for number, mapped in enumerate((belongs @ mass).tolist()):
        if mapped <= 0:
            nowhere = message("weighed.nowhere", of=_named(totals[number]))
            report.add("yield.weighed_nowhere", place_of(numbers[number]), nowhere)
    report.stop_if_refused()
    weighed = np.array([total.dry_mg(plan.farm.market_moisture_pct) for total in totals])
    found = yieldmap.weighed_factors(mass, belongs, weighed)
    if found.contradiction is not None:
        one, other = found.contradiction
        values = {
            "one": _named(totals[one]),
            "one_ratio": float(found.totals[one]),
            "other": _named(totals[other]),
            "other_ratio": float(found.totals[other]),
        }
        where = f"{place_of(numbers[one])} and {place_of(numbers[other])}"
        raise report.refuse("yield.weighed_contradict", where, message("weighed.contradict", **values))
    said: list[Message] = []
    for number, (total, factor) in enumerate(zip(totals, found.totals.tolist(), strict=True)):
        values = {"of": _named(total), "weighed": float(weighed[number]), "ratio": factor}
        said.append(message("weighed.factor", **values))
        cause = likely_cause(1 / factor)
        if not USUAL_FACTORS[0] <= factor <= USUAL_FACTORS[1] or cause is not None:
            what = (message("weighed.far", **values), cause or message("cause.any"))
            report.add("yield.weighed_far", place_of(numbers[number]), message("pair.two", one=what[0], other=what[1]))
    scale = np.ones(grain.size)
    scale[at] = found.cells
    scaled = {
        name: stack[name] * scale.reshape(grain.shape) for name in ("grain_mg_ha", "grain_error_mg_ha") if name in stack
    }
    number_of = stack["field_number"].to_numpy().ravel()[at].astype(int)
    told = {str(fields["name"].iloc[n]) for n in np.unique(number_of[belongs.any(axis=0)])}
    rest = tuple(name for name in fields["name"] if name not in told)
    if rest:
        said.append(message("weighed.rest", fields=rest))
    factors = {f"weighed_{numbers[n] + 1}_ratio": float(f) for n, f in enumerate(found.totals)}
    return WeighedMap(put(stack, **scaled), said, factors, frozenset(told))


def _named(total: Weighed) -> tuple[Message, ...]:
    return tuple(message(f"part.{kind}", name=name) for kind, name in total.parts.items())


def _ground(
    totals: tuple[Weighed, ...],
    stack: xr.Dataset,
    at: np.ndarray,
    fields: gpd.GeoDataFrame,
    cleaned: yieldmap.Cleaned | None,
) -> np.ndarray:
    """Return which of the cells at these flat indices each total was harvested from, (totals, cells)."""
    names = fields["name"].astype(str).to_numpy()
    of = {"field": names[stack["field_number"].to_numpy().ravel()[at].astype(int)]}
    if cleaned is not None and any(total.machine or total.load for total in totals):
        nearest = _nearest_record(stack, at, cleaned)
        of |= {kind: nearest[kind].astype(str).to_numpy() for kind in ("machine", "load") if kind in nearest}
    nothing = np.full(len(at), "", dtype=object)
    return np.array(
        [np.all([of.get(kind, nothing) == name for kind, name in total.parts.items()], axis=0) for total in totals]
    ).reshape(len(totals), len(at))


def _nearest_record(stack: xr.Dataset, at: np.ndarray, cleaned: yieldmap.Cleaned) -> pd.DataFrame:
    """Return, for each cell, the nearest record that harvested."""
    cut = cleaned.removed[[yieldmap.REASONS[name].harvested for name in cleaned.removed["removed_because"]]]
    kinds = [kind for kind in ("machine", "load") if kind in cleaned.points]
    records = pd.concat([cleaned.points[[*kinds, "geometry"]], cut[[*kinds, "geometry"]]], ignore_index=True)
    row, column = np.divmod(at, stack.sizes["x"])
    places = np.column_stack([stack["x"].to_numpy()[column], stack["y"].to_numpy()[row]])
    tree = cKDTree(np.column_stack([records.geometry.x, records.geometry.y]))
    return records.iloc[tree.query(places)[1]]
