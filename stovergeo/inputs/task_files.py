"""The files of ISO 11783-10 task data: a folder or a zip archive with TASKDATA.XML, names in any letter case.

Members of an archive are read into memory, never unpacked, and never beyond a limit. XML with a document type, the
only place of entities, is refused before it is parsed.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Final
from xml.etree import ElementTree

from stovergeo.inputs.open_file import local_file
from stovergeo.inputs.place import Place
from stovergeo.inputs.text import clean_text, shown
from stovergeo.inputs.untrusted import has_entities

NAME: Final = "taskdata.xml"
# limits of one file and of all that is read (judgment): a day of a combine at five records a second is some 10 MB
MAX_XML_BYTES: Final = 32 * 2**20
MAX_LOG_BYTES: Final = 64 * 2**20
MAX_TOTAL_BYTES: Final = 512 * 2**20
MAX_MEMBERS: Final = 20_000
#: names of files that task data may name: three letters and five digits (ISO 11783-10; from memory)
_OWN_NAME: Final = re.compile(r"[A-Z]{3}[0-9]{5}", re.IGNORECASE)


@dataclass
class TaskFiles:
    """The files beside a TASKDATA.XML, by name in lower case."""

    name: str  #: of the folder or archive
    at: Place
    files: dict[str, Path]
    members: dict[str, zipfile.ZipInfo] = field(default_factory=dict)
    archive: zipfile.ZipFile | None = None
    total: int = 0

    def read(self, name: str, most: int) -> bytes | None:
        """Return the bytes of a file; None where there is none of that name.

        Raises
        ------
        InputError
            ``file.too_big``, ``file.unreadable``.
        """
        data = self._bytes(name.lower(), most)
        if data is None:
            return None
        self.total += len(data)
        if len(data) > most or self.total > MAX_TOTAL_BYTES:
            size = f"over {most / 2**20:,.0f} MB" if len(data) > most else "the last of over 512 MB of task data"
            cure = "Copy the task data from the machine's terminal once more, or split them by field."
            raise self.at.refuse("file.too_big", f"{name} in {self.name} is {size}.", cure)
        return data

    def _bytes(self, name: str, most: int) -> bytes | None:
        try:
            if self.archive is not None:
                member = self.members.get(name)
                if member is None:
                    return None
                with self.archive.open(member) as packed:
                    return packed.read(most + 1)
            path = self.files.get(name)
            if path is None:
                return None
            with path.open("rb") as file:
                return file.read(most + 1)
        except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError) as error:
            raise self.at.refuse("file.unreadable", f"{name} in {self.name}: {clean_text(error)}.") from None

    def xml(self, name: str) -> ElementTree.Element | None:
        """Return the root of an XML file; None where there is no such file.

        Raises
        ------
        InputError
            ``xml.entities``, ``file.unreadable``, ``file.too_big``.
        """
        data = self.read(name, MAX_XML_BYTES)
        if data is None:
            return None
        if has_entities(data):
            raise self.at.refuse("xml.entities", f"{name} in {self.name} declares a document type or entities.")
        try:
            return ElementTree.fromstring(data)
        except (ElementTree.ParseError, ValueError, LookupError) as error:
            cure = "Copy the whole TASKDATA folder from the machine's terminal once more."
            said = f"{name} in {self.name} is not well-formed XML: {clean_text(error)}."
            raise self.at.refuse("file.unreadable", said, cure) from None


def is_own_name(name: str) -> bool:
    """Return whether a name is one that a file of task data may have; no path passes."""
    return _OWN_NAME.fullmatch(name) is not None


def is_task_data(text: str, folder: Path) -> bool:
    """Return whether a path of the plan is task data: their folder or archive, or the TASKDATA.XML in it."""
    try:
        path = folder / text
        if path.is_dir():
            return _folder(path) is not None
        if not path.is_file():
            return False
        return path.name.lower() == NAME or _inside(path) is not None
    except (OSError, ValueError):
        return False


@contextmanager
def task_files(text: str, folder: Path, at: Place) -> Iterator[TaskFiles]:
    """Open the files of task data; `is_task_data` must have said yes.

    Raises
    ------
    InputError
        As `local_file`, and ``file.unreadable``, ``zip.limits``.
    """
    path = local_file(text, folder, at.where, at.report, folders=True)
    own = _folder(path) if path.is_dir() else path.parent if path.name.lower() == NAME else None
    if own is not None:
        yield TaskFiles(own.name, at, {p.name.lower(): p for p in sorted(own.iterdir()) if p.is_file()})
        return
    inside = _inside(path)
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as error:
        raise at.refuse("file.unreadable", f"{path.name}: {clean_text(error)}.") from None
    with archive:
        members = archive.infolist()
        if len(members) > MAX_MEMBERS:
            raise at.refuse("zip.limits", f"{path.name} holds {len(members):,} files.")
        beside = {PurePosixPath(m.filename).name.lower(): m for m in members if _parent(m.filename) == inside}
        yield TaskFiles(path.name, at, {}, beside, archive)


def lacks(files: TaskFiles, names: list[str]) -> str:
    """Return a sentence that names files that are not there."""
    listed = ", ".join(shown(n, 20) for n in names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    return f"{files.name} came without {listed}."


def _folder(path: Path) -> Path | None:
    """Return the folder that holds TASKDATA.XML: this one, or the one named TASKDATA in it."""
    entries = list(path.iterdir())
    if any(p.name.lower() == NAME and p.is_file() for p in entries):
        return path
    below = [p for p in entries if p.name.lower() == "taskdata" and p.is_dir() and not p.is_symlink()]
    return next((p for p in below if any(q.name.lower() == NAME for q in p.iterdir())), None)


def _inside(path: Path) -> str | None:
    """Return the folder of an archive that holds TASKDATA.XML, "." for the top; None where none does."""
    with path.open("rb") as file:
        if file.read(4) != b"PK\x03\x04":
            return None
    try:
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if PurePosixPath(n).name.lower() == NAME]
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError):
        return None
    return min((_parent(n) for n in names), key=len, default=None)


def _parent(name: str) -> str:
    return str(PurePosixPath(name).parent)
