"""What the columns of a points table may mean: proposals with reasons, never taken without the user's word."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.errors import InputError, Report
from stovergeo.layers.harvest import LENGTH_M
from stovergeo.layers.open_file import open_file
from stovergeo.layers.point_files import files_of, raw_rows
from stovergeo.plan_file import Plan
from stovergeo.units import MG_HA_DRY_PER_BU_ACRE


@dataclass(frozen=True, slots=True)
class Proposal:
    """What one column may be."""

    column: str
    role: str  #: key under ``[layers.yield_points.columns]``; "" where nothing fits
    unit: str | None  #: key under ``[layers.yield_points.units]``; None where none is needed or none can be told
    reason: str  #: in words
    declared: bool  #: whether the plan already says so

    def as_toml(self) -> str:
        """Return the lines to put into the plan file, once the user agrees."""
        column = self.column.replace("\\", "\\\\").replace('"', '\\"')
        text = f'columns.{self.role} = "{column}"'
        return text if self.unit is None else f'{text}\nunits.{self.role} = "{self.unit}"'


@dataclass(frozen=True, slots=True)
class _Hint:
    role: str
    pattern: re.Pattern[str]
    words: str


def _hint(role: str, pattern: str, words: str) -> _Hint:
    return _Hint(role, re.compile(pattern, re.IGNORECASE), words)


# names as trade exports and spreadsheets carry them (common practice, no source); the first that fits counts
_HINTS: Final = (
    _hint("x", r"^(x|lon|long|longitude|easting|x_?coord\w*)$", "its name says east-west position"),
    _hint("y", r"^(y|lat|latitude|northing|y_?coord\w*)$", "its name says north-south position"),
    _hint("moisture", r"moist|^h2o|^mst", "its name says moisture"),
    _hint("flow", r"flow", "its name says flow"),
    _hint("height", r"alt|elev|height|^z$", "its name says height"),
    _hint("swath", r"swath|width", "its name says width cut"),
    _hint("distance", r"dist", "its name says distance"),
    _hint("speed", r"speed|veloc", "its name says speed"),
    _hint("seconds", r"cycle|interval|duration|^sec(ond)?s?$|logging", "its name says how long a record lasts"),
    _hint("time", r"time|date|stamp|utc", "its name says time"),
    _hint("yield", r"yield|yld|bu_?ac|t_?ha", "its name says yield"),
    _hint("mass", r"mass|weight|^wt", "its name says mass"),
    _hint("header", r"header|head_?(state|pos|status)|lift", "its name says header state"),
    _hint("crop", r"crop|product|commodity|grain", "its name says crop"),
    _hint("load", r"load", "its name says load"),
    _hint("machine", r"machine|combine|serial|vehicle", "its name says machine"),
)
# ranges in which half of a corn field's records lie, by unit; where one unit alone fits, it is proposed (judgement)
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
_UNIT_IN_NAME: Final = re.compile(
    r"[(\[_ ](lb/?s|kg/?s|t/?h|bu/?h|%|pct|in|ft|m|cm|mph|km/?h|m/?s|s|ms|lb|kg)[)\]]?$", re.IGNORECASE
)
_AS_WRITTEN: Final = {"lbs": "lb/s", "kgs": "kg/s", "th": "t/h", "buh": "bu/h", "pct": "%", "kmh": "km/h"}
SAMPLE_ROWS: Final = 200_000


def propose_roles(plan: Plan, report: Report) -> list[Proposal]:
    """Return a proposal for each column of the yield points whose name or values say something.

    Problems of reading go to the report; the list is then empty.
    """
    layer = plan.layers.yield_points
    if layer is None:
        return []
    try:
        opened = open_file(layer.path, plan.folder, "yield_points", report, folders=True)
        first = files_of(opened, "yield_points", report)[0]
        frame = raw_rows(first, layer, "yield_points", report).head(SAMPLE_ROWS)
    except InputError:
        return []
    said = {name: role for role, name in layer.columns.model_dump(by_alias=True).items() if name}
    return propose(frame.drop(columns="geometry", errors="ignore"), said)


def propose(frame: pd.DataFrame, declared: dict[str, str]) -> list[Proposal]:
    """Return proposals from names and values of a table; `declared` maps columns to the role the plan gives them."""
    found: list[Proposal] = []
    taken: set[str] = set(declared.values())
    for column in map(str, frame.columns):
        values = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64)
        known = values[np.isfinite(values)]
        if column in declared:
            role = declared[column]
            unit, why = _unit(role, column, known)
            found.append(Proposal(column, role, unit, f"the plan says so; {why}", True))
            continue
        hint = next((h for h in _HINTS if h.pattern.search(column)), None)
        if hint is None:
            continue
        if hint.role in taken:
            found.append(Proposal(column, "", None, f"{hint.words}, but another column has that role", False))
            continue
        if len(known) and np.ptp(known) == 0 and hint.role in ("yield", "moisture", "height", "time"):
            found.append(Proposal(column, "", None, f"{hint.words}, but it holds {known[0]:g} everywhere", False))
            continue
        taken.add(hint.role)
        unit, why = _unit(hint.role, column, known)
        found.append(Proposal(column, hint.role, unit, f"{hint.words}; {why}", False))
    return found


def _unit(role: str, column: str, known: np.ndarray) -> tuple[str | None, str]:
    """Return the unit that name and values allow, and why; None where they allow several or none."""
    if len(known) == 0:
        return None, "its values are words"
    typical = float(np.median(known))
    seen = f"half of its values lie under {typical:,.4g}"
    if role == "height":
        return None, f"{seen}; metres and feet look alike, so the unit must come from you"
    if role == "time":
        return _epoch(typical, seen)
    if role not in _RANGES:
        return None, seen
    units = [unit for unit, low, high in _RANGES[role] if low <= typical <= high]
    match = _UNIT_IN_NAME.search(column)
    if match:
        named = match[1].lower()
        named = _AS_WRITTEN.get(named, named)
        if named in units:
            return named, f"{seen}, and the name ends in {match[1]!r}"
    if role == "yield" and units:
        bushels = typical if units[0].startswith("bu") else typical / MG_HA_DRY_PER_BU_ACRE
        return units[
            0
        ], f"{seen}, like {units[0].split()[0]} ({bushels:,.0f} bu/ac); whether wet or dry must come from you"
    if len(units) == 1:
        example = (
            f", which is {typical * LENGTH_M[units[0]]:.3g} m"
            if units[0] in LENGTH_M and role in ("swath", "distance")
            else ""
        )
        return units[0], f"{seen}: usual in {units[0]}{example}"
    if units:
        return None, f"{seen}, which fits {' and '.join(units)}; the unit must come from you"
    return None, f"{seen}, which is usual in no unit known here"


def _epoch(typical: float, seen: str) -> tuple[str | None, str]:
    if 3e8 < typical < 2.5e9:
        unix = pd.Timestamp(typical, unit="s").date()
        gps = pd.Timestamp(typical + 315_964_800, unit="s").date()
        return None, f"{seen}: as Unix time {unix}, as GPS time {gps}; the epoch must come from you"
    return None, f'{seen}; write time = "s" if these are seconds of any start'
