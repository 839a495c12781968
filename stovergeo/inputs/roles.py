"""What the columns of a points table may mean: proposals with reasons, never taken without the user's word."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from typing import Final, get_args

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.core.errors import InputError, Report
from stovergeo.core.units import CORN_MARKET_MOISTURE, MG_HA_DRY_PER_BU_ACRE
from stovergeo.inputs.harvest import YIELD_MG_HA
from stovergeo.inputs.open_file import open_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import PointUnits
from stovergeo.inputs.point_columns import FLOW_KG_S, GPS_EPOCH_S, SECONDS
from stovergeo.inputs.points import files_of, raw_rows
from stovergeo.inputs.tables import LENGTH_M, to_numbers, unit_in_name
from stovergeo.inputs.task_files import is_task_data
from stovergeo.inputs.taskdata import TaskPoints, read_task_points


@dataclass(frozen=True, slots=True)
class Proposal:
    """What one column may be."""

    column: str
    role: str  #: key under ``[layers.yield_points.columns]``; "" where nothing fits
    unit: str | None  #: key under ``[layers.yield_points.units]``; None where none is needed or none can be found
    reason: str  #: in words
    declared: bool  #: whether the plan already says so


# names as trade exports and spreadsheets carry them (common practice, no source); the first that fits counts
#: role -> (pattern, what the name then says)
_HINTS: Final = {
    "x": (r"^(x|lon|long|longitude|easting|x_?coord\w*)$", "east-west position"),
    "y": (r"^(y|lat|latitude|northing|y_?coord\w*)$", "north-south position"),
    "moisture": (r"moist|^h2o|^mst", "moisture"),
    "flow": (r"flow", "flow"),
    "height": (r"alt|elev|height|^z$", "height"),
    "swath": (r"swath|width", "width cut"),
    "distance": (r"dist", "distance"),
    "speed": (r"speed|veloc", "speed"),
    "seconds": (r"cycle|interval|duration|^sec(ond)?s?$|logging", "how long a record lasts"),
    "time": (r"time|date|stamp|utc|clock", "time"),
    "yield": (r"yield|yld|bu_?ac|t_?ha", "yield"),
    "mass": (r"mass|weight|^wt", "mass"),
    "header": (r"header|head_?(state|pos|status)|lift", "header state"),
    "crop": (r"crop|product|commodity|grain", "crop"),
    "load": (r"load", "load"),
    "machine": (r"machine|combine|serial|vehicle", "machine"),
}
# ranges in which half of a corn field's records lie, by unit; where one unit alone fits, it is proposed (judgment)
_RANGES: Final[dict[str, tuple[tuple[str, float, float], ...]]] = {
    "moisture": (("fraction", 0.08, 0.4), ("%", 8, 40)),
    "flow": (("kg/s", 1, 12), ("lb/s", 12.0001, 90), ("t/h", 90.001, 140), ("bu/h", 400, 9000)),
    "swath": (("m", 2, 20), ("ft", 20.001, 70), ("in", 90, 800), ("cm", 801, 2000)),
    "distance": (("m", 0.5, 3.2), ("ft", 3.2001, 16), ("in", 16.001, 140), ("cm", 140.001, 900)),
    "speed": (("m/s", 0.8, 2.6), ("mph", 2.6001, 6), ("km/h", 6.0001, 12)),
    "seconds": (("s", 0.2, 10), ("ms", 200, 10_000)),
    "yield": (("t/ha at 15.5 %", 3, 22), ("bu/ac at 15.5 %", 40, 350), ("kg/ha dry", 3000, 20_000)),
    "mass": (("kg", 0.5, 15), ("lb", 15.001, 150)),
}
SAMPLE_ROWS: Final = 200_000
#: how far a column's unit may be off from what the positions say, as a ratio
_CLOSE: Final = (0.8, 1.25)
_DEGREE_M: Final = 111_195.0  # a degree of a sphere of 6,371 km
_YIELD_IN_NAME: Final = re.compile(r"(bu|t|kg)\W?_?(ac|ha)", re.IGNORECASE)


def propose_roles(plan: Plan, report: Report) -> list[Proposal]:
    """Return a proposal for each column of the yield points whose name or values say something.

    Nothing of it is used in a plan until the user writes it down. Problems of reading go to the
    report; the list is then empty.
    """
    layer = plan.layers.yield_points
    if layer is None:
        return []
    try:
        at = Place("yield_points", report)
        if is_task_data(layer.path, plan.folder):
            return [one for told in read_task_points(layer, plan, at) for one in _of_task_data(told)]
        first = files_of(open_file(layer.path, plan.folder, at, folders=True, layer=layer.layer), at)[0]
        frame = raw_rows(first, layer, at).head(SAMPLE_ROWS)
    except InputError:
        return []
    found = propose(frame, {name: role for role, name in layer.columns.model_dump(by_alias=True).items() if name})
    units = layer.units.model_dump(by_alias=True)
    return [replace(one, unit=units.get(one.role) or one.unit) if one.declared else one for one in found]


def _of_task_data(told: TaskPoints) -> list[Proposal]:
    """Return what the columns of task data are: the format says it, so nothing is proposed."""
    units = told.layer.units.model_dump(by_alias=True)
    return [
        Proposal(column, role, units.get(role), f"task data, {told.sources.get(role, 'of each record or task')}", True)
        for role, column in told.layer.columns.model_dump(by_alias=True).items()
        if column
    ]


def to_paste(proposals: list[Proposal]) -> str:
    """Return the sections of the plan file that declare the columns as proposed, in TOML.

    A role whose unit cannot be told from the file is a line switched off, with the units it may have.
    """
    columns, units = ["[layers.yield_points.columns]"], ["[layers.yield_points.units]"]
    for one in proposals:
        if not one.role:
            continue
        columns.append(f"{one.role} = {_quoted(one.column)}")
        choices = _units_of(one.role)
        if one.unit is not None:
            units.append(f"{one.role} = {_quoted(one.unit)}")
        elif choices:
            units.append(f"# {one.role} = one of {', '.join(map(_quoted, choices))}: the file does not say")
    return "\n".join([*columns, "", *units])


def _quoted(text: str) -> str:
    """Return text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _units_of(role: str) -> tuple[str, ...]:
    """Return the units that the plan knows for a role; none where it needs none."""
    for name, key in PointUnits.model_fields.items():
        if role in (name, key.alias):
            return next((get_args(part) for part in get_args(key.annotation) if get_args(part)), ())
    return ()


def propose(frame: pd.DataFrame, declared: dict[str, str]) -> list[Proposal]:
    """Return proposals from names and values of a table; `declared` maps columns to the role the plan gives them.

    Parameters
    ----------
    frame : DataFrame
        Rows in the order of the file; positions come from its geometry or from its columns of degrees.
    declared : dict of str to str
        Column -> role.
    """
    unheard = Place("", Report())  # what is no number is told where the layer is read
    columns = frame.drop(columns="geometry", errors="ignore")
    numbers = {str(name): to_numbers(column, unheard) for name, column in columns.items()}
    roles = {c: (r, "the plan says so") for c, r in declared.items() if c in numbers}
    refused: dict[str, str] = {}
    for column, values in numbers.items():
        if column in roles:
            continue
        role, why = _by_name_or_values(column, values, frame[column])
        if role is None:
            continue
        if role in {r for r, _ in roles.values()}:
            refused[column] = f"{why}, but another column has that role"
        elif role in ("yield", "moisture", "height", "time") and len(set(values[np.isfinite(values)])) == 1:
            refused[column] = f"{why}, but it holds {values[np.isfinite(values)][0]:g} everywhere"
        else:
            roles[column] = (role, why)
    column_of = {role: column for column, (role, _) in roles.items()}
    # what happens from one record to the next, by the role that should say the same
    steps = {"distance": _way_m(frame, numbers, column_of)}
    if "time" in column_of:
        steps["seconds"] = _usual(np.diff(numbers[column_of["time"]]))
    found: list[Proposal] = []
    for column, values in numbers.items():
        if column in roles:
            role, why = roles[column]
            unit, seen = _unit(role, column, values[np.isfinite(values)], steps)
            found.append(Proposal(column, role, unit, f"{why}; {seen}", column in declared))
        elif column in refused:
            found.append(Proposal(column, "", None, refused[column], False))
    return found


def _by_name_or_values(column: str, values: np.ndarray, given: pd.Series) -> tuple[str | None, str]:
    known = values[np.isfinite(values)]
    if unit_in_name(column) in FLOW_KG_S:
        return "flow", "its unit is one of flow"
    for role, (pattern, meaning) in _HINTS.items():
        if role == "crop" and known.size:
            continue  # numbers, such as of grain, name no crop
        if re.search(pattern, column, re.IGNORECASE):
            return role, f"its name says {meaning}"
    if known.size == 0:
        words = {str(w).strip().casefold() for w in given.dropna().unique()[:50]}
        if words & {"corn", "maize"}:
            return "crop", "it holds the word corn"
        if words and words <= {"up", "down", "on", "off", "raised", "lowered"}:
            return "header", "it holds nothing but up and down"
        return None, ""
    whole = bool((known == np.round(known)).all())
    if not whole and 0 < np.ptp(known) < 1:
        # the corn lands of North America; elsewhere the names must say it
        if (known > -130).all() and (known < -60).all():
            return "x", "its values are longitudes"
        if (known > 24).all() and (known < 56).all() and np.ptp(known) < 0.5 and np.std(known) > 1e-4:
            return "y", "its values may be latitudes"
    return None, ""


def _way_m(frame: pd.DataFrame, numbers: dict[str, np.ndarray], column_of: dict[str, str]) -> float | None:
    """Return the typical distance between records where their positions are in degrees, else None."""
    if isinstance(frame, gpd.GeoDataFrame) and frame.geom_type.eq("Point").all():
        x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    elif "x" in column_of and "y" in column_of:
        x, y = numbers[column_of["x"]], numbers[column_of["y"]]
    else:
        return None
    if not (np.isfinite(x).any() and np.isfinite(y).any()) or np.nanmax(np.abs(x)) > 180 or np.nanmax(np.abs(y)) > 90:
        return None
    east = np.diff(x) * _DEGREE_M * np.cos(np.radians(np.nanmedian(y)))
    return _usual(np.hypot(east, np.diff(y) * _DEGREE_M))


def _usual(steps: np.ndarray) -> float | None:
    onward = steps[steps > 0]
    return float(np.median(onward)) if onward.size else None


def _unit(role: str, column: str, known: np.ndarray, steps: dict[str, float | None]) -> tuple[str | None, str]:
    """Return the unit that name, values and positions allow, and why; None where they allow several or none."""
    if len(known) == 0:
        return None, "its values are words"
    typical = float(np.median(known))
    seen = f"half of its values are below {typical:,.4g}"
    if role == "height":
        if (unit := unit_in_name(column)) in ("ft", "m"):
            return unit, f"{seen}, and the name ends in {unit!r}"
        return None, f"{seen}; meters and feet look alike, so the unit must come from you"
    if role == "time":
        return _epoch(typical, seen)
    if role not in _RANGES or typical <= 0:
        return None, seen
    if step := steps.get(role):
        factors = LENGTH_M if role == "distance" else SECONDS
        fits = [unit for unit, factor in factors.items() if _CLOSE[0] <= typical * factor / step <= _CLOSE[1]]
        apart = f"records lie {step:.3g} m apart" if role == "distance" else f"the time stamps step by {step:.3g}"
        unit = fits[0] if len(fits) == 1 else None
        return unit, f"{seen}, and {apart}{f': {unit}' if unit else ', which fits no one unit'}"
    return _by_range(role, column, typical, seen)


def _by_range(role: str, column: str, typical: float, seen: str) -> tuple[str | None, str]:
    units = [unit for unit, low, high in _RANGES[role] if low <= typical <= high]
    if (named := unit_in_name(column)) in units:
        return named, f"{seen}, and the name ends in {named!r}"
    if role == "yield" and units:
        spelled = " and the name says so" if _YIELD_IN_NAME.search(column) else ""
        like = f"{seen}, like {units[0]}{_in_bushels(typical, units[0])}{spelled}"
        return units[0], f"{like}; whether wet, dry or at 15.5 % must come from you"
    if len(units) == 1:
        length = f", which is {typical * LENGTH_M[units[0]]:.3g} m" if role == "swath" else ""
        return units[0], f"{seen}: typical in {units[0]}{length}"
    if units:
        return None, f"{seen}, which fits {' and '.join(units)}; the unit must come from you"
    return None, f"{seen}, which is typical in no unit known here"


def _in_bushels(typical: float, unit: str) -> str:
    """Return in brackets what a yield in another unit is in the trade's bushels."""
    if unit.startswith("bu"):
        return ""
    factor, basis = YIELD_MG_HA[unit]
    dry = typical * factor * (1 - CORN_MARKET_MOISTURE if basis == "market" else 1)
    return f" ({dry / MG_HA_DRY_PER_BU_ACRE:,.0f} bu/ac at 15.5 %)"


def _epoch(typical: float, seen: str) -> tuple[str | None, str]:
    if 3e8 < typical < 2.5e9:
        unix = pd.Timestamp(typical, unit="s").date()
        gps = pd.Timestamp(typical + GPS_EPOCH_S, unit="s").date()
        return None, f"{seen}: as Unix time {unix}, as GPS time {gps}; the epoch must come from you"
    return None, f'{seen}; write time = "s" if these are seconds of any start'
