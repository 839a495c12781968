"""The sample farm with something in it changed, taken as far as the grain map or the limits of the stover."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.errors import InputError, Problem, Report
from stovergeo.core.messages import Message
from stovergeo.core.stack import total
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.workflow import sample_plan_path, steps
from stovergeo.workflow.checks import get_ready
from stovergeo.workflow.compared import uncompared

Change = Callable[[Any], Any]


@dataclass(frozen=True)
class Outcome:
    """What a farm came to: the removable stover, and what was said of it."""

    removable_mg: float | None  #: None where the plan was refused
    problems: tuple[Problem, ...]
    said: tuple[Message, ...] = ()

    @property
    def codes(self) -> set[str]:
        """The codes of errors and warnings; what was repaired does not count."""
        return {p.code for p in self.problems if p.severity.value != "fix"}


@cache
def sample_plan() -> dict:
    """Return the sample's plan as data, its paths absolute."""
    data = tomllib.loads(sample_plan_path().read_text("utf-8"))
    for layer in data["layers"].values():
        layer["path"] = str(sample_plan_path().parent / layer["path"])
    return data


@cache
def sample_points() -> pd.DataFrame:
    """Return the sample's yield points with the name of the field each lies on."""
    data = sample_plan()
    points = pd.read_csv(data["layers"]["yield_points"]["path"])
    fields = gpd.read_file(data["layers"]["fields"]["path"])
    places = gpd.GeoDataFrame(geometry=gpd.points_from_xy(points["lon"], points["lat"]), crs=4326)
    on = places.sjoin(fields[["name", "geometry"]], how="left", predicate="within")["name"]
    return points.assign(field=on.to_numpy())


def outcome(folder: Path, points: Change | None = None, plan: Change | None = None, limits: bool = True) -> Outcome:
    """Return what the sample farm comes to with its points, its plan or both changed.

    `points` takes the table (with the column ``field``) and returns another; `plan` changes the plan's data in place.
    """
    data = copy.deepcopy(sample_plan())
    if points is not None:
        changed = points(sample_points().copy())
        changed.drop(columns="field").to_csv(folder / "points.csv", index=False)
        data["layers"]["yield_points"]["path"] = str(folder / "points.csv")
    if plan is not None:
        plan(data)
    return outcome_of(data, folder, limits)


def outcome_of(data: dict, folder: Path, limits: bool = True) -> Outcome:
    """Return what a farm given by its plan's data comes to: its grain map and, unless told not to, its limits."""
    report = Report()
    try:
        ready = get_ready(plan_from(data, folder, report), report, lambda size: None).clusters[0]
        yields = steps.map_yields(ready, report)
        steps.compare_clusters([yields], report)
        if not limits:
            return Outcome(total(yields.stack, "grain_mg_ha"), tuple(report), _said(yields))
        removable = steps.find_removable(ready, steps.map_terrain(ready, yields), report)
    except InputError:
        return Outcome(None, tuple(report))
    stover = removable.stack["removable_mg_ha"] * removable.stack["cell_area_ha"]
    return Outcome(float(np.nansum(stover.to_numpy())), tuple(report), _said(yields))


def _said(yields: steps.Yields) -> tuple[Message, ...]:
    """Return what the first screen says of the grain map."""
    compared = yields.grain.compared
    return (*yields.grain.said, *([] if compared is None else uncompared([compared])))
