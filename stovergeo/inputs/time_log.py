"""One time log of ISO 11783-10 task data: its header says which fields each binary record has.

A header is ``<TIM A="" D="4"><PTN A="" B=""/><DLV A="0057" B="" C="DET-2"/></TIM>``. An attribute that is there and
empty stands in each record of the ``.bin`` file, one with a value counts for all records, one that is not there is not
recorded. Numbers are little-endian (layout read off open readers of the format).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from stovergeo.inputs.place import Place
from stovergeo.inputs.text import shown

#: attribute of a position -> how a record holds it: latitude and longitude in 1e-7 degrees, height in mm, state of the
#: receiver, two dilutions of precision, number of satellites, time and day of the receiver
_POSITION: Final = {"A": "i", "B": "i", "C": "i", "D": "B", "E": "H", "F": "H", "G": "B", "H": "I", "I": "H"}
#: days from 1970-01-01 to 1980-01-01, the first day of the format
_FIRST_DAY: Final = 3652
_DAY_S: Final = 86_400
_DAY_MS: Final = 86_400_000
#: a leap second may follow the last of a day
_LEAP_MS: Final = 1000
#: what stands for no position, and for no value (from memory)
_NO_POSITION: Final = (2**31 - 1, -(2**31))
_NO_VALUE: Final = -(2**31)
#: states of a receiver without a position: none, error (from memory)
_NO_FIX: Final = (0, 14)
#: a log that goes back more than a day, or forward by more than this, is read at the wrong place (judgment)
MAX_PAUSE_DAYS: Final = 60
#: share of a log that may be unreadable before it is refused (judgment, as for records without a place)
MAX_LOST: Final = 0.05
MAX_VALUES: Final = 255


@dataclass(frozen=True, slots=True)
class LogValue:
    """A line of a header: one value that is logged."""

    ddi: int  #: identifier in the data dictionary (ISO 11783-11)
    element: str  #: device element, such as DET-2
    constant: float | None  #: None where each record may bring a new value


@dataclass(frozen=True, slots=True)
class LogHeader:
    """What each record of a log holds."""

    timed: bool
    position: dict[str, float | None]  #: attribute -> its constant, None where it stands in the record
    values: tuple[LogValue, ...]


@dataclass(frozen=True, slots=True)
class TimeLog:
    """The records of one log."""

    header: LogHeader
    time_s: np.ndarray  #: Unix seconds of the terminal's local time
    latitude: np.ndarray
    longitude: np.ndarray
    height_m: np.ndarray
    values: np.ndarray  #: shape (records, values); NaN until a value is sent first, then kept until the next


def read_header(root: Element, name: str, at: Place) -> LogHeader:
    """Return what the header of a log says.

    Raises
    ------
    InputError
        ``task.log`` where it is no header, or asks for something the format does not have.
    """
    tim = root if root.tag == "TIM" else root.find("TIM")
    if tim is None:
        raise at.refuse("task.log", f"{name}.XML is no header of a time log: it holds {shown(root.tag, 20)}, not TIM.")
    points = tim.findall("PTN")
    if len(points) > 1:
        raise at.refuse("task.log", f"{name}.XML describes {len(points)} positions in one record.")
    given = dict(points[0].attrib) if points else {}
    if unknown := sorted(set(given) - set(_POSITION)):
        said = f"{name}.XML gives a position the attribute {shown(unknown[0], 20)}, which the format does not have."
        raise at.refuse("task.log", said)
    if not {"A", "B"} <= set(given):
        raise at.refuse("task.log", f"The records of {name} have no position.")
    lines = tim.findall("DLV")
    if len(lines) > MAX_VALUES:
        raise at.refuse("task.log", f"{name}.XML describes {len(lines):,} values; a record numbers at most 255.")
    position = {k: _constant(given[k], f"{name}.XML, PTN {k}", at) for k in _POSITION if k in given}
    return LogHeader(tim.get("A") == "", position, tuple(_line(line, name, at) for line in lines))


def _line(line: Element, name: str, at: Place) -> LogValue:
    code = line.get("A", "")
    try:
        ddi = int(code, 16)
    except ValueError:
        raise at.refuse("task.log", f"{name}.XML names a value {shown(code, 20)}, which is no identifier.") from None
    return LogValue(ddi, line.get("C", ""), _constant(line.get("B", ""), f"{name}.XML, DLV {shown(code, 20)}", at))


def _constant(text: str, where: str, at: Place) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text)
    except ValueError:
        raise at.refuse("task.log", f"{where} holds {shown(text, 20)}, which is no number.") from None


def read_records(header: LogHeader, data: bytes, name: str, at: Place) -> TimeLog:
    """Return the records of a log.

    A log that ends within a record was cut off, as by a terminal that lost its power: what came before counts. Where a
    record cannot be one, the reader has lost its step, and nothing after it counts.

    Raises
    ------
    InputError
        ``task.log`` where no record, or too little of the file, can be read.
    """
    fixed, values, left, why = _records(header, data)
    if not fixed or (why and left > MAX_LOST * len(data)):
        why = why or "it is shorter than one record"
        said = f"Of {name}.BIN, {len(data):,} bytes, only {len(fixed):,} records could be read: {why}."
        raise at.refuse("task.log", said)
    if left:
        said = f"The last {left:,} of {len(data):,} bytes of {name}.BIN could not be read: {why or 'the file ends'}."
        at.add("task.cut", said)
    return _as_arrays(header, np.array(fixed, dtype=np.float64), np.array(values, dtype=np.float64))


def _records(header: LogHeader, data: bytes) -> tuple[list[tuple[int, ...]], list[tuple[float, ...]], int, str]:
    """Return the fixed fields and the values of each record, how many bytes were left, and why if wrong."""
    in_record = [k for k, constant in header.position.items() if constant is None]
    fields = struct.Struct("<" + ("IH" if header.timed else "") + "".join(_POSITION[k] for k in in_record) + "B")
    start = 2 * header.timed
    places = {k: start + i for i, k in enumerate(in_record)}
    pairs = [struct.Struct("<" + "Bi" * n) for n in range(MAX_VALUES + 1)]
    known = len(header.values)
    current = [np.nan if v.constant is None else v.constant for v in header.values]
    fixed: list[tuple[int, ...]] = []
    values: list[tuple[float, ...]] = []
    at, end, day = 0, len(data), None
    while at < end:
        if at + fields.size > end:
            return fixed, values, end - at, ""
        record = fields.unpack_from(data, at)
        count = record[-1]
        if why := _wrong(record, header.timed, places, day):
            return fixed, values, end - at, why
        if count > known:
            return fixed, values, end - at, f"a record claims {count} values where the header has {known}"
        after = at + fields.size
        if after + pairs[count].size > end:
            return fixed, values, end - at, ""
        sent = pairs[count].unpack_from(data, after)
        if count and max(sent[::2]) >= known:
            return fixed, values, end - at, f"a record holds value {max(sent[::2])} where the header has {known}"
        for which, value in zip(sent[::2], sent[1::2], strict=True):
            current[which] = np.nan if value == _NO_VALUE else value
        fixed.append(record)
        values.append(tuple(current))
        at = after + pairs[count].size
        day = record[1] if header.timed else None
    return fixed, values, 0, ""


def _wrong(record: tuple[int, ...], timed: bool, places: dict[str, int], day: int | None) -> str:
    """Return why bytes cannot be a record; "" where they can."""
    if timed and record[0] >= _DAY_MS + _LEAP_MS:
        return f"a record has the time {record[0] / 1000:,.0f} s of a day"
    if day is not None and not -1 <= record[1] - day <= MAX_PAUSE_DAYS:
        return f"the date jumps by {record[1] - day:,} days"
    for key, most in (("A", 90), ("B", 180)):
        if key in places and abs(record[places[key]]) > most * 10_000_000 and record[places[key]] not in _NO_POSITION:
            return f"a record lies at {record[places[key]] / 1e7:.1f} degrees"
    return ""


def _as_arrays(header: LogHeader, fixed: np.ndarray, values: np.ndarray) -> TimeLog:
    count = len(fixed)
    column = iter(range(2 * header.timed, fixed.shape[1]))
    position = {
        key: fixed[:, next(column)] if constant is None else np.full(count, constant)
        for key, constant in header.position.items()
    }
    nowhere = np.isin(position.get("D", np.ones(count)), _NO_FIX)
    degrees = []
    for key in ("A", "B"):
        place, in_record = position[key], header.position[key] is None
        unknown = nowhere | np.isin(place, _NO_POSITION) if in_record else nowhere
        degrees.append(np.where(unknown, np.nan, place / 1e7 if in_record else place))
    height = position.get("C", np.full(count, np.nan)) / 1000
    height = np.where(nowhere | np.isin(height * 1000, _NO_POSITION), np.nan, height)
    time = np.full(count, np.nan)
    if header.timed:
        time = (fixed[:, 1] + _FIRST_DAY) * _DAY_S + fixed[:, 0] / 1000
    return TimeLog(header, time, degrees[0], degrees[1], height, values.reshape(count, len(header.values)))
