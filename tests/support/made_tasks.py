"""Made-up ISO 11783-10 task data: TASKDATA.XML, headers and records, written byte by byte."""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
import pandas as pd

#: how each attribute of a position stands in a record
POSITION = {"A": "i", "B": "i", "C": "i", "D": "B", "E": "H", "F": "H", "G": "B", "H": "I", "I": "H"}


@dataclass
class MadeLog:
    """One time log: the attributes of its positions, its values by identifier and element, and its records."""

    name: str
    records: list[bytes]
    values: list[tuple[str, str]]
    position: str = "AB"
    extra: str = ""  #: further attributes of the position, as they are written

    @property
    def header(self) -> str:
        place = " ".join(f'{letter}=""' for letter in self.position)
        lines = "".join(f'<DLV A="{code}" B="" C="{element}"/>' for code, element in self.values)
        return f'<?xml version="1.0" encoding="UTF-8"?><TIM A="" D="4"><PTN {place} {self.extra}/>{lines}</TIM>'


@dataclass
class MadeTask:
    """A task with its logs, the field it is on and the name a terminal gives it."""

    logs: list[MadeLog]
    name: str = ""
    ground: str = ""


@dataclass
class MadeData:
    """Task data: tasks, machines as (id, name, serial number, elements, properties), fields and their crops."""

    tasks: list[MadeTask]
    machines: list[tuple[str, str, str, list[str], dict[str, int]]] = field(
        default_factory=lambda: [("DVC-1", "Big red", "123", ["DET-1", "DET-2"], {})]
    )
    fields: dict[str, tuple[str, str]] = field(default_factory=dict)  #: id -> name, crop
    version: str = "4"

    @property
    def xml(self) -> str:
        lines = [f'<ISO11783_TaskData VersionMajor="{self.version}" VersionMinor="0" DataTransferOrigin="2">']
        crops = sorted({crop for _, crop in self.fields.values() if crop})
        lines += [f'<CTP A="CTP{i}" B={quoteattr(crop)}/>' for i, crop in enumerate(crops)]
        for key, (name, crop) in self.fields.items():
            of_crop = f' G="CTP{crops.index(crop)}"' if crop else ""
            lines.append(f'<PFD A="{key}" C={quoteattr(name)} D="100000"{of_crop}/>')
        for key, name, serial, elements, properties in self.machines:
            described = "".join(f'<DET A="{e}" B="{i}" C="1" E="{i}" F="0"/>' for i, e in enumerate(elements))
            described += "".join(f'<DPT A="9" B="{code}" C="{value}"/>' for code, value in properties.items())
            lines.append(f'<DVC A="{key}" B={quoteattr(name)} E="{serial}">{described}</DVC>')
        for number, task in enumerate(self.tasks, start=1):
            ground = f' E="{task.ground}"' if task.ground else ""
            logs = "".join(f'<TLG A="{log.name}"/>' for log in task.logs)
            lines.append(f'<TSK A="TSK-{number}" B={quoteattr(task.name)}{ground} G="4">{logs}</TSK>')
        return "".join([*lines, "</ISO11783_TaskData>"])

    def write(self, folder: Path, case: Callable[[str], str] = str.upper) -> Path:
        """Write the files into a folder, which is made."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / case("taskdata.xml")).write_text(self.xml, "utf-8")
        for log in (log for task in self.tasks for log in task.logs):
            (folder / case(f"{log.name}.xml")).write_text(log.header, "utf-8")
            (folder / case(f"{log.name}.bin")).write_bytes(b"".join(log.records))
        return folder


def record(ms: int, day: int, place: Iterable[int], values: dict[int, int], position: str = "AB") -> bytes:
    """Return one record: time of day, day since 1980, position, and values by their place in the header."""
    start = struct.pack("<IH", ms, day)
    start += struct.pack("<" + "".join(POSITION[letter] for letter in position), *place)
    return start + struct.pack("<B", len(values)) + b"".join(struct.pack("<Bi", *pair) for pair in values.items())


def packed(folder: Path, archive: Path) -> Path:
    """Pack a folder into a zip archive, with the folder's own name."""
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for path in sorted(folder.iterdir()):
            out.write(path, f"{folder.name}/{path.name}")
    return archive


def log_of(table: pd.DataFrame, columns: dict[str, tuple[str, str, float]], name: str = "TLG00001") -> MadeLog:
    """Return a log of a table with Longitude, Latitude and Time (Unix s).

    `columns` maps a column to identifier, device element, and raw counts in one of its unit.
    """
    counts = [np.round(table[c].to_numpy() * per).astype(int) for c, (_, _, per) in columns.items()]
    places = np.round(table[["Latitude", "Longitude"]].to_numpy() * 1e7).astype(int)
    time_ms = np.round(table["Time"].to_numpy() * 1000).astype(int) - 3652 * 86_400_000
    records = [
        record(int(t % 86_400_000), int(t // 86_400_000), map(int, place), {i: int(c[k]) for i, c in enumerate(counts)})
        for k, (t, place) in enumerate(zip(time_ms, places, strict=True))
    ]
    return MadeLog(name, records, [(code, element) for code, element, _ in columns.values()])
