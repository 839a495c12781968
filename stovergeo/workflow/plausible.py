"""The grain map held against itself: fields, machines, times and harvests that should agree where they touch.

None of it says which of two is wrong, and none of it sees an error common to all. What was compared with nothing, and a
farm of which no grain was weighed, is named: its level rests on the monitor alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import xarray as xr

from stovergeo import yieldmap
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog
from stovergeo.workflow.causes import with_cause
from stovergeo.workflow.compared import LEVELS, Compared

message = Catalog("stovergeo.workflow")
#: fields nearer than this have a common border, m; ground so near to it is compared
BORDER_M: Final = 80.0
STRIP_M: Final = 100.0
#: yields of two fields along a common border on the same soil, and of machines side by side, that are told (judgment:
#: hybrids, planting dates and nitrogen make 10 to 15 %), and so many times what blocks of the same field differ by
FIELDS_APART: Final = 0.22
BLOCKS_APART: Final = 2.5
BLOCK_M: Final = 100.0
MACHINES_APART: Final = 0.06
#: change of a machine's readings that is told: where time and place can be told apart, and where they cannot
DRIFT: Final = 0.08
TREND: Final = 0.3
JUMP: Final = 0.14
_ERRORS: Final = 4.0
_JUMP_ERRORS: Final = 5.0
#: harvested ground over a field's area (judgment)
HARVESTED: Final = 0.93
#: correlation of two harvests' maps above which they are one file given twice; years that agree reach 0.8 (judgment)
ALIKE: Final = 0.97
_FEWEST_CELLS: Final = 40


def check_grain(
    stack: xr.Dataset,
    fields: gpd.GeoDataFrame,
    cleaned: yieldmap.Cleaned | None,
    known_level: Iterable[str],
    report: Report,
    soils: Sequence[str | None] = (),
) -> Compared:
    """Report what of a grain map does not fit the rest; return what was held against what.

    Parameters
    ----------
    stack : Dataset
        With ``grain_mg_ha``, ``field_number``, ``soil_number`` and ``cell_area_ha``.
    fields : GeoDataFrame
    cleaned : Cleaned or None
        The records; None for a finished map.
    known_level : iterable of str
        Names of fields whose level is known from a weighed total or a stated yield.
    report : Report
    soils : sequence of str or None
        What soil each row of the soil layer is of, equal where two are the same; None where it is not known.
    """
    names = [str(name) for name in fields["name"]]
    mapped = [k for k in range(len(names)) if _known(stack, k).any()]
    if not mapped:
        return Compared((), frozenset(known_level))
    pairs = []
    for one, other, ratio in border_ratios(stack, fields, mapped):
        pairs.append((names[one], names[other]))
        uneven = float(np.hypot(_unevenness(stack, one), _unevenness(stack, other)))
        if abs(np.log(ratio)) > max(np.log1p(FIELDS_APART), BLOCKS_APART * uneven):
            said = message("compare.fields", one=names[one], other=names[other], ratio=ratio)
            where = f"yield map, fields {names[one]!r} and {names[other]!r}"
            report.add("yield.fields_apart", where, with_cause(said, ratio))
    compared = Compared(tuple(names[k] for k in mapped), frozenset(known_level), tuple(pairs))
    if cleaned is None:
        return compared
    _check_machines(cleaned, report)
    cut = _fields_of_records(cleaned.points, fields)
    for number in mapped:
        _check_times(cleaned.points, cut == number, names[number], report)
        _check_area(stack, fields, number, report)
    return _with_machines(compared, stack, cleaned, cut, names, soils)


def _known(stack: xr.Dataset, number: int) -> np.ndarray:
    return (stack["field_number"].to_numpy() == number) & np.isfinite(stack["grain_mg_ha"].to_numpy())


def _unevenness(stack: xr.Dataset, number: int) -> float:
    """Return the standard deviation of the logarithms of a field's block medians."""
    rows, columns = np.nonzero(_known(stack, number) & (stack["grain_mg_ha"].to_numpy() > 0))
    cell = abs(float(stack["x"][1] - stack["x"][0]))
    block = (rows * cell // BLOCK_M) * 10_000 + columns * cell // BLOCK_M
    table = pd.Series(np.log(stack["grain_mg_ha"].to_numpy()[rows, columns])).groupby(block)
    medians = table.median()[table.size() >= _FEWEST_CELLS]
    return float(medians.std()) if len(medians) > 2 else 0.0


def border_ratios(stack: xr.Dataset, fields: gpd.GeoDataFrame, mapped: list[int]) -> list[tuple[int, int, float]]:
    """Return the yield of one field over that of another along their border, for fields that lie side by side.

    Only ground of soils that lie on both sides is compared, each soil with itself.
    """
    grain = stack["grain_mg_ha"].to_numpy()
    soil = stack["soil_number"].to_numpy() if "soil_number" in stack else np.zeros(grain.shape)
    x, y = np.meshgrid(stack["x"].to_numpy(), stack["y"].to_numpy())
    shapes = fields.geometry.to_numpy()
    found = []
    for one, other in combinations(mapped, 2):
        if shapes[one].distance(shapes[other]) > BORDER_M:
            continue
        strips = []
        for mine, theirs in ((one, other), (other, one)):
            near = shapes[theirs].buffer(STRIP_M + BORDER_M, quad_segs=4)
            shapely.prepare(near)
            known = _known(stack, mine) & (grain > 0)
            known[known] = shapely.contains_xy(near, x[known], y[known])
            strips.append(known)
        weights, ratios = [], []
        for kind in np.intersect1d(soil[strips[0]], soil[strips[1]]):
            cells = [grain[strip & (soil == kind)] for strip in strips]
            fewest = min(len(part) for part in cells)
            if fewest >= _FEWEST_CELLS:
                weights.append(fewest)
                ratios.append(np.log(np.median(cells[0]) / np.median(cells[1])))
        if weights:
            found.append((one, other, float(np.exp(np.average(ratios, weights=weights)))))
    return found


def _check_machines(cleaned: yieldmap.Cleaned, report: Report) -> None:
    met = {n: c for n, c in cleaned.corrections.get("machines", {}).items() if np.isfinite(c["error"])}
    if len(met) < 2:
        return
    low, high = (pick(met, key=lambda n: met[n]["offset"]) for pick in (min, max))
    ratio = (1 + met[low]["offset"]) / (1 + met[high]["offset"])
    if met[low]["applied"] and ratio < 1 - MACHINES_APART:
        said = message("compare.side_by_side", low=low, high=high, ratio=ratio)
        report.add("yield.machines_apart", f"yield points, machines {low!r} and {high!r}", with_cause(said, ratio))


def _fields_of_records(points: gpd.GeoDataFrame, fields: gpd.GeoDataFrame) -> np.ndarray:
    out = np.full(len(points), -1)
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    for number, shape in enumerate(fields.geometry):
        shapely.prepare(shape)
        out[shapely.contains_xy(shape, x, y)] = number
    return out


def _check_times(points: gpd.GeoDataFrame, mine: np.ndarray, name: str, report: Report) -> None:
    """Report a drift, a trend or a jump of each machine's readings on one field."""
    here = points[mine]
    machines = here["machine"].astype(str).to_numpy() if "machine" in here else np.full(len(here), "")
    for machine in np.unique(machines):
        part = here[machines == machine].sort_values("pass_number", kind="stable")
        part = part[part["grain_mg_ha"] > 0]
        if len(part) < _FEWEST_CELLS:
            continue
        values = (part.geometry.x.to_numpy(), part.geometry.y.to_numpy(), part["grain_mg_ha"].to_numpy())
        found = yieldmap.find_drift(*values, part["pass_number"].to_numpy(), float(np.nanmedian(part["swath_m"])))
        if found is None:
            continue
        where = f"yield points, field {name!r}" + (f", machine {machine!r}" if machine else "")
        total = found.total
        if np.isfinite(total) and abs(total) > max(DRIFT, _ERRORS * found.error):
            report.add("yield.drift", where, message("compare.drift", ratio=float(np.exp(total))))
        elif not found.error < DRIFT and abs(found.trend) > TREND:
            report.add("yield.drift", where, message("compare.trend", ratio=float(np.exp(found.trend))))
        if abs(found.jump) > max(JUMP, _JUMP_ERRORS * found.jump_error):
            passes = int(part["pass_number"].nunique())
            before = int(part["pass_number"].iloc[: found.jump_at].nunique())
            ratio = float(np.exp(found.jump))
            said = message("compare.jump", ratio=ratio, before=before, passes=passes)
            report.add("yield.jump", where, with_cause(said, ratio))


def _check_area(stack: xr.Dataset, fields: gpd.GeoDataFrame, number: int, report: Report) -> None:
    """Report a field of whose ground much was not harvested."""
    area = float(stack["cell_area_ha"].to_numpy()[_known(stack, number)].sum())
    whole = float(fields.geometry.iloc[number].area) / 1e4
    name = str(fields["name"].iloc[number])
    if area < HARVESTED * whole:
        said = message("compare.boundary", harvested=area, boundary=whole)
        report.add("fields.not_harvested", f"fields, {name!r}", said)


def _with_machines(
    compared: Compared, stack: xr.Dataset, cleaned: yieldmap.Cleaned, cut: np.ndarray, names: list[str],
    soils: Sequence[str | None],
) -> Compared:  # fmt: skip
    """Return what was compared with the machines, the fields whose level each has, and what it cut of each soil."""
    points = cleaned.points
    if "machine" not in points:
        return replace(compared, stands_for={"": compared.fields})
    machines = points["machine"].astype(str).to_numpy()
    offsets = cleaned.corrections.get("machines", {})
    met = tuple(name for name, found in offsets.items() if np.isfinite(found["error"]))
    stands_for = {}
    for name in np.unique(machines):
        own = [names[k] for k in np.unique(cut[(machines == name) & (cut >= 0)]) if names[k] in compared.fields]
        shared = [f for f in own if len(np.unique(machines[cut == names.index(f)])) > 1]
        alone_on = [f for f in own if f not in shared]
        # on a field of several machines, a field's level stands for a machine only where they were compared
        stands_for[str(name)] = tuple(alone_on or (own if name in met else []))
    moved = tuple(name for name in met if offsets[name]["applied"])
    levels = _levels(stack, points, machines, cut, names, soils)
    return replace(compared, stands_for=stands_for, met=met, moved=moved, levels=levels)


def _levels(
    stack: xr.Dataset, points: gpd.GeoDataFrame, machines: np.ndarray, cut: np.ndarray, names: list[str],
    soils: Sequence[str | None],
) -> pd.DataFrame:  # fmt: skip
    """Return the median of the map where a machine cut a soil of a field, see `LEVELS`; unknown soils are left out."""
    x, y = stack["x"].to_numpy(), stack["y"].to_numpy()
    column = np.rint((points.geometry.x.to_numpy() - x[0]) / (x[1] - x[0])).astype(int)
    row = np.rint((points.geometry.y.to_numpy() - y[0]) / (y[1] - y[0])).astype(int)
    inside = (cut >= 0) & (row >= 0) & (row < len(y)) & (column >= 0) & (column < len(x))
    row, column = np.where(inside, row, 0), np.where(inside, column, 0)
    grain, soil = stack["grain_mg_ha"].to_numpy()[row, column], stack["soil_number"].to_numpy()[row, column]
    kind = np.array([*soils, None], dtype=object)[np.where(np.isfinite(soil), soil, len(soils)).astype(int)]
    use = inside & (grain > 0) & (kind != None)  # noqa: E711  of each element
    table = pd.DataFrame(
        {"machine": machines[use], "field": np.array(names)[cut[use]], "soil": kind[use], "grain_mg_ha": grain[use]}
    )
    found = table.groupby(["machine", "field", "soil"])["grain_mg_ha"].agg(records="size", grain_mg_ha="median")
    return found[found["records"] >= _FEWEST_CELLS].reset_index()[list(LEVELS)]


def check_harvests(grain: dict[str, xr.DataArray], report: Report) -> None:
    """Report two harvests whose maps are so alike that one file was likely given twice."""
    for one, other in combinations(grain, 2):
        a, b = grain[one].to_numpy(), grain[other].to_numpy()
        both = np.isfinite(a) & np.isfinite(b)
        if both.sum() < _FEWEST_CELLS or not (a[both].std() > 0 and b[both].std() > 0):
            continue
        alike = float(np.corrcoef(a[both], b[both])[0, 1])
        if alike > ALIKE:
            said = message("compare.alike", alike=alike)
            report.add("years.alike", f"harvests of {one} and {other}", said)
