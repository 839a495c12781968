"""Yield points from ISO 11783-10 task data: tasks, machines and time logs as rows with the columns of any points table.

Values are raw integers in the unit of the data dictionary (ISO 11783-11). Its entries below are those read here, in our
own words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np
import pandas as pd

from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.layers import PointColumns, PointsLayer, PointUnits
from stovergeo.inputs.task_files import MAX_LOG_BYTES, TaskFiles, is_own_name, lacks, task_files
from stovergeo.inputs.text import clean_text
from stovergeo.inputs.time_log import TimeLog, read_header, read_records

#: identifiers of the data dictionary
MASS_PER_TIME: Final = 0x0057  # mg/s
MASS_PER_AREA: Final = 0x0054  # mg/m2
DRY_PER_AREA: Final = 0x00B5  # mg/m2 at the reference moisture
REFERENCE_MOISTURE: Final = 0x00B8  # ppm
VOLUMES: Final = (0x0053, 0x0056)  # ml/m2, ml/s: no mass without a density
MOISTURES: Final = (0x0063, 0x0106)  # ppm: of the moment, else the average
DRY_MATTER: Final = 0x013A  # ppm
WIDTHS: Final = (0x0043, 0x0042)  # mm: actual, else as set
MAX_WIDTH: Final = 0x0046  # mm
SPEED: Final = 0x018D  # mm/s
DISTANCE: Final = 0x0075  # mm in work since the task began
WORK_STATE: Final = 0x008D  # 0 off, 1 on; others: error, not installed
SECTION_STATES: Final = 0x00A1  # two bits a section
_PPM_PCT: Final = 1e-4
_MG_KG: Final = 1e-6
#: mg/m2 -> t/ha
_MG_M2_T_HA: Final = 1e-5
#: share of the records on the move in which a running distance must have moved on to be used (judgment)
MIN_STEPS: Final = 0.75
MAX_LOGS: Final = 5000
#: kind of yield -> identifier, role of its column and unit; the first that a log has counts
KINDS: Final = {
    "flow": (MASS_PER_TIME, "flow", "kg/s", _MG_KG),
    "area": (MASS_PER_AREA, "yield", "t/ha wet", _MG_M2_T_HA),
    "dry": (DRY_PER_AREA, "yield", "t/ha dry", _MG_M2_T_HA),
}
_UNITS: Final = {"moisture": "%", "swath": "m", "distance": "m", "speed": "m/s", "height": "m", "time": "unix s"}


@dataclass(frozen=True, slots=True)
class TaskPoints:
    """Rows of all logs that hold one kind of yield, and the layer that says what their columns are."""

    frame: pd.DataFrame
    layer: PointsLayer
    sources: dict[str, str]  #: role -> where it was logged
    filled: frozenset[str]  #: keys of the layer that stand in for what some log lacks


@dataclass(frozen=True, slots=True)
class _Machine:
    name: str
    properties: dict[int, float]  #: identifier -> the largest constant of the device description


@dataclass(slots=True)
class _Log:
    """One log with yield, and what its task says of it."""

    name: str
    kind: str
    columns: dict[str, np.ndarray]
    sources: dict[str, str]
    machine: str
    load: str
    crop: str


@dataclass(slots=True)
class _Told:
    """What is counted over all logs and told once."""

    other: list[str] = field(default_factory=list)
    volume: list[str] = field(default_factory=list)
    several: set[str] = field(default_factory=set)
    widths: set[str] = field(default_factory=set)


def read_task_points(layer: PointsLayer, plan: Plan, at: Place) -> list[TaskPoints]:
    """Return the yield points of task data, one table for each kind of yield.

    Raises
    ------
    InputError
        As `task_files`, `read_header` and `read_records`, and ``task.files``, ``task.no_yield``, ``file.too_big``.
    """
    told = _Told()
    with task_files(layer.path, plan.folder, at) as files:
        elements = list(_elements(files, at))
        logs = [log for task in elements if task.tag == "TSK" for log in _logs_of(task, elements, files, told, at)]
    if not logs:
        raise at.refuse("task.no_yield", _why_no_yield(told), None)
    _tell(told, len(logs), at)
    _name_crops(logs, layer, at)
    return [_table([g for g in logs if g.kind == kind], layer) for kind in KINDS if any(g.kind == kind for g in logs)]


def _elements(files: TaskFiles, at: Place) -> Iterator[Element]:
    """Return what stands under the root of TASKDATA.XML and of the files it refers to."""
    root = files.xml("TASKDATA.XML")
    if root is None or root.tag != "ISO11783_TaskData":
        said = f"TASKDATA.XML in {files.name} does not begin with ISO11783_TaskData."
        raise at.refuse("file.signature", said, "Copy the whole TASKDATA folder from the machine's terminal once more.")
    for element in root:
        if element.tag != "XFR":
            yield element
            continue
        name = element.get("A", "")
        further = files.xml(f"{name}.XML") if is_own_name(name) else None
        if further is None:
            raise at.refuse("task.files", lacks(files, [f"{name}.XML"]))
        yield from further


def _logs_of(task: Element, elements: list[Element], files: TaskFiles, told: _Told, at: Place) -> Iterator[_Log]:
    """Return the logs of a task that hold yield."""
    names = [line.get("A", "") for line in task.findall("TLG")]
    if len(names) > MAX_LOGS:
        raise at.refuse("file.too_big", f"A task of {files.name} names {len(names):,} time logs.")
    missing: list[str] = []
    machines = _machines(elements)
    load, crop = _load_and_crop(task, elements)
    for name in names:
        header = files.xml(f"{name}.XML") if is_own_name(name) else None
        data = files.read(f"{name}.BIN", MAX_LOG_BYTES) if is_own_name(name) else None
        missing += [f"{name}{end}" for end, found in ((".XML", header), (".BIN", data)) if found is None]
        if header is None or data is None:
            continue
        place = at.part(name)
        described = read_header(header, name, place)
        logged = {v.ddi for v in described.values}
        if not logged & {entry[0] for entry in KINDS.values()}:
            (told.volume if logged & set(VOLUMES) else told.other).append(name)
            continue
        log = _log(name, read_records(described, data, name, place), machines, told)
        if log is None:
            told.other.append(name)
            continue
        log.load, log.crop = load, crop
        yield log
    if missing:
        raise at.refuse("task.files", lacks(files, missing))


def _machines(elements: list[Element]) -> dict[str, _Machine]:
    """Return the machine of each device element; machines of one name are told apart by their serial number."""
    devices = [e for e in elements if e.tag == "DVC"]
    names = [clean_text(d.get("B")) for d in devices]
    found: dict[str, _Machine] = {}
    for device, name in zip(devices, names, strict=True):
        serial = clean_text(device.get("E")) or clean_text(device.get("A"))
        properties: dict[int, float] = {}
        for line in device.findall("DPT"):
            try:
                ddi, value = int(line.get("B", ""), 16), float(line.get("C", ""))
            except ValueError:
                continue
            properties[ddi] = max(value, properties.get(ddi, 0.0))
        unique = name if name and names.count(name) == 1 else f"{name} {serial}".strip()
        machine = _Machine(unique, properties)
        found |= {element.get("A", ""): machine for element in device.findall("DET")}
    return found


def _load_and_crop(task: Element, elements: list[Element]) -> tuple[str, str]:
    """Return the name of a task with that of its field, and its crop; "" where the task data do not say it."""
    by_id = {e.get("A"): e for e in elements if e.tag in ("PFD", "CTP")}
    ground = by_id.get(task.get("E"))
    where = "" if ground is None else clean_text(ground.get("C"))
    crop = None if ground is None else by_id.get(ground.get("G"))
    named = clean_text(task.get("B"))
    same = [t for t in elements if t.tag == "TSK" and (t.get("B"), t.get("E")) == (task.get("B"), task.get("E"))]
    if not named or len(same) > 1:
        named = f"{named} {clean_text(task.get('A'))}".strip()
    return ", ".join(filter(None, (where, named))), "" if crop is None else clean_text(crop.get("B"))


class _Values:
    """The values of one log by identifier, and where each that is used was logged."""

    def __init__(self, log: TimeLog, told: _Told) -> None:
        self.log, self.told = log, told
        self.sources: dict[str, str] = {}
        self.element = ""

    def of(self, ddi: int, role: str, scale: float) -> np.ndarray | None:
        """Return a value, from the device element that logged most of it; None where none did."""
        which = [i for i, v in enumerate(self.log.header.values) if v.ddi == ddi]
        filled = [i for i in which if np.isfinite(self.log.values[:, i]).any()]
        if not filled:
            return None
        if len(filled) > 1:
            own = [i for i in filled if self.log.header.values[i].element == self.element]
            sums = {i: float(np.nansum(np.abs(self.log.values[:, i]))) for i in own or filled}
            best = max(sums, key=lambda i: sums[i])
            self.told.several.add(f"{role} ({', '.join(self.log.header.values[i].element for i in filled)})")
        else:
            best = filled[0]
        line = self.log.header.values[best]
        self.element = self.element or line.element
        self.sources[role] = f"{ddi:04X} {line.element}".strip()
        return self.log.values[:, best] * scale


def _log(name: str, log: TimeLog, machines: dict[str, _Machine], told: _Told) -> _Log | None:
    values = _Values(log, told)
    found = ((kind, role, values.of(ddi, role, scale)) for kind, (ddi, role, _, scale) in KINDS.items())
    kind, role, grain = next((one for one in found if one[2] is not None), ("", "", None))
    machine = machines.get(values.element) or _Machine(values.element, {})
    if kind == "dry" and grain is not None:
        reference = values.of(REFERENCE_MOISTURE, "reference", 1e-6)
        constant = machine.properties.get(REFERENCE_MOISTURE)
        if reference is None and constant is None:
            return None
        grain = grain * (1 - (reference if reference is not None else np.full(len(grain), constant or 0.0) * 1e-6))
    if grain is None:
        return None
    columns = {
        "longitude": log.longitude,
        "latitude": log.latitude,
        role: grain,
        "moisture": _moisture(values),
        "swath": _swath(values, machine, told),
        "speed": values.of(SPEED, "speed", 0.001),
        "distance": _distance(values, log),
        "height": log.height_m if np.isfinite(log.height_m).any() else None,
        "time": log.time_s if np.isfinite(log.time_s).any() else None,
        "header": _header(values),
    }
    own = {key: column for key, column in columns.items() if column is not None}
    return _Log(name, kind, own, values.sources, machine.name, "", "")


def _moisture(values: _Values) -> np.ndarray | None:
    for ddi in MOISTURES:
        if (found := values.of(ddi, "moisture", _PPM_PCT)) is not None:
            return np.where(found > 0, found, np.nan)  # a sensor without grain writes 0
    dry = values.of(DRY_MATTER, "moisture", _PPM_PCT)
    return None if dry is None else np.where(dry > 0, 100 - dry, np.nan)


def _swath(values: _Values, machine: _Machine, told: _Told) -> np.ndarray | None:
    for ddi in WIDTHS:
        if (found := values.of(ddi, "swath", 0.001)) is not None:
            return found
    for ddi in (*WIDTHS, MAX_WIDTH):
        if (width := machine.properties.get(ddi, 0.0)) > 0:
            values.sources["swath"] = f"{ddi:04X} of the device"
            told.widths.add(machine.name)
            return np.full(len(values.log.time_s), width / 1000)
    return None


def _distance(values: _Values, log: TimeLog) -> np.ndarray | None:
    """Return the distance of each record by the difference of the running total; None where it is logged too seldom."""
    total = values.of(DISTANCE, "distance", 0.001)
    if total is None:
        return None
    steps = np.diff(total, prepend=np.nan)
    moved = np.hypot(np.diff(log.latitude, prepend=np.nan), np.diff(log.longitude, prepend=np.nan)) > 0
    if not moved.any() or (steps[moved] > 0).mean() < MIN_STEPS:
        values.sources.pop("distance", None)
        return None
    return np.where(steps >= 0, steps, np.nan)  # a new task begins at 0 again


def _header(values: _Values) -> np.ndarray | None:
    """Return "down" where the machine works, "up" where it does not, "" where it does not say."""
    state = values.of(WORK_STATE, "header", 1)
    if state is not None:
        return np.select([state == 1, state == 0], ["down", "up"], "")
    packed = values.of(SECTION_STATES, "header", 1)
    if packed is None:
        return None
    known = np.isfinite(packed)
    bits = np.where(known, packed, 0).astype(np.int64)
    sections = np.stack([(bits >> shift) & 3 for shift in range(0, 32, 2)])
    on, off = (sections == 1).any(axis=0), (sections == 0).any(axis=0)
    return np.select([known & on, known & off], ["down", "up"], "")


def _table(logs: list[_Log], layer: PointsLayer) -> TaskPoints:
    """Return the rows of logs of one kind, machine by machine in the order of their time."""
    logs = sorted(logs, key=lambda g: (g.machine, float(np.nanmin(g.columns.get("time", np.array([0.0]))))))
    frames, filled = [], set()
    fixed = {"moisture": ("moisture_pct", layer.moisture_pct), "swath": ("swath", layer.swath_m)}
    for log in logs:
        frame = pd.DataFrame(log.columns).assign(machine=log.machine, load=log.load, crop=log.crop)
        lacking = {role: pair for role, pair in fixed.items() if pair[1] is not None and role not in frame}
        filled |= {key for key, _ in lacking.values()}
        frames.append(frame.assign(**{role: value for role, (_, value) in lacking.items()}))
    rows = pd.concat(frames, ignore_index=True)
    if "header" in rows:
        rows["header"] = rows["header"].fillna("")
    if not rows["crop"].any():
        rows = rows.drop(columns="crop")
    named = {"x": "longitude", "y": "latitude"} | {c: c for c in rows.columns if c not in ("longitude", "latitude")}
    role, unit = KINDS[logs[0].kind][1:3]
    units = {role: unit} | {c: u for c, u in _UNITS.items() if c in rows}
    declared = {
        "columns": PointColumns.model_validate(named),
        "units": PointUnits.model_validate(units),
        "header_down": "down" if "header" in rows else None,
        "crs": "EPSG:4326",
        "swap_xy": False,
    }
    sources = {key: source for log in logs for key, source in log.sources.items()}
    return TaskPoints(rows, layer.model_copy(update=declared), sources, frozenset(filled))


def _name_crops(logs: list[_Log], layer: PointsLayer, at: Place) -> None:
    """Take logs of tasks without a crop for corn where other tasks name theirs, and say so."""
    silent = [log for log in logs if not log.crop]
    if silent and len(silent) < len(logs):
        for log in silent:
            log.crop = layer.corn
        at.add("task.crop", f"{_listed([g.name for g in silent])} belong to tasks that name no crop.")


def _why_no_yield(told: _Told) -> str:
    if told.volume:
        return f"{_listed(told.volume)} hold the grain by volume only, and no mass."
    if told.other:
        return f"None of {len(told.other)} time logs ({_listed(told.other)}) holds mass by time or by area."
    return "No task has a time log."


def _tell(told: _Told, used: int, at: Place) -> None:
    if rest := told.other + told.volume:
        at.add("task.other", f"{_listed(rest)} hold no mass of grain; {used} others do.")
    if told.several:
        at.add("task.several", f"Several device elements log {'; '.join(sorted(told.several))}.")
    if told.widths:
        at.add("task.width", f"The logs of {_listed(sorted(told.widths))} hold no width.")


def _listed(names: list[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
