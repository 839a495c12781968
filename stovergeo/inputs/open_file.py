"""The only place where a user's file is opened.

A path is a plain local file. Its format is decided from its own first bytes, never from
its name, and the driver that reads it is named from that; what a driver could be talked
into (another file, the network, a gigabyte out of a kilobyte) is turned away here. GeoJSON may link
its reference system to an address, and a database may carry tables that read other files or views
that never end: both are looked through before a library opens them. A layer in a zip archive is unpacked
and opened in the same way.
"""

from __future__ import annotations

import difflib
import re
import stat
import zipfile
import zlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Literal

from stovergeo.core.errors import Report
from stovergeo.inputs.archive import check_members, unpack
from stovergeo.inputs.database import check_database
from stovergeo.inputs.place import Place
from stovergeo.inputs.text import clean_text, shown
from stovergeo.inputs.untrusted import POINTS_ELSEWHERE, has_entities, linked_crs

Kind = Literal["vector", "raster", "table", "parquet", "database", "folder"]
HEAD_BYTES: Final = 65_536
#: no single input is larger than this; text is parsed whole, so less of it
MAX_BYTES: Final = 16 * 2**30
MAX_TEXT_BYTES: Final = 2 * 2**30
#: extracts of OpenStreetMap are read from end to end for each layer (judgment: a large county has some 30 MB)
MAX_OSM_BYTES: Final = 300 * 10**6
#: ending of the folder that is a file geodatabase
GEODATABASE: Final = ".gdb"
#: how files begin that come in place of data
_NO_DATA: Final = {
    b"<!doctype html": "a web page (a failed download looks so)",
    b"<html": "a web page (a failed download looks so)",
    b"%pdf": "a PDF document",
    b"{\\rtf": "a text document",
    b"version https://git-lfs": "a stand-in for a file that was not fetched",
}
#: first block of a PBF file: its length, and the name of its kind (OpenStreetMap PBF format)
_PBF: Final = re.compile(rb"\x00\x00.{2}\x0a\x09OSMHeader", re.DOTALL)
_SCHEME: Final = re.compile(r"[A-Za-z][A-Za-z0-9+._-]+:")  # two letters or more: C:\ is a drive, not a scheme


@dataclass(frozen=True, slots=True)
class OpenFile:
    """A file that may be read, and how."""

    path: Path
    kind: Kind
    driver: str  #: name of the one driver (GDAL's short name, or ours) that may read it
    held: object = field(default=None, repr=False, compare=False)  #: keeps what was unpacked until nothing needs it
    chosen: bool = False  #: the plan's `layer` has named this file in an archive, and no layer inside it

    @property
    def heeded(self) -> tuple[str, ...]:
        """Keys of the layer that have counted already."""
        return ("layer",) if self.chosen else ()


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a plan asks for of a path."""

    layer: str | None
    folders: bool
    packed: bool = False  #: it came out of an archive


def local_file(text: str, folder: Path, where: str, report: Report, *, folders: bool = False) -> Path:
    """Return the local path a plan names, checked.

    Parameters
    ----------
    text : str
        As written in the plan; relative paths start at `folder`.
    folder : Path
    where : str
        Place to name in problems.
    report : Report
    folders : bool
        Whether a folder will do.

    Raises
    ------
    InputError
        ``path.remote``, ``path.unsafe``, ``file.missing``, ``file.not_regular``, ``file.empty``, ``file.too_big``.
    """
    at = Place(where, report)
    if any(ord(c) < 32 or ord(c) == 127 for c in text) or not text.strip():
        raise at.refuse("path.unsafe", f"The path {shown(text)} is blank or holds control characters.")
    if _SCHEME.match(text) or text.replace("\\", "/").lstrip().lower().startswith("/vsi") or text.lstrip()[:1] in "{[<":
        raise at.refuse("path.remote", f"{shown(text)} is not the path of a local file.")
    path = (folder / text).absolute()
    try:
        mode = path.stat().st_mode
        if path.is_symlink():
            at.add("path.symlink", f"{path.name} is a link; what is read is {path.resolve()}.")
    except OSError:
        raise at.refuse("file.missing", f"There is no file {shown(text)}.{_nearest(path)}") from None
    if stat.S_ISDIR(mode):
        if folders:
            return path
        raise at.refuse("file.not_regular", f"{shown(text)} is a folder; a file is needed here.")
    if not stat.S_ISREG(mode):
        raise at.refuse("file.not_regular", f"{shown(text)} is a device or pipe, not a regular file.")
    size = path.stat().st_size
    if size == 0:
        raise at.refuse("file.empty", f"{path.name} has no bytes in it.")
    if size > MAX_BYTES:
        raise at.refuse("file.too_big", f"{path.name} has {size / 2**30:,.1f} GB.")
    return path


def open_file(text: str, folder: Path, at: Place, *, folders: bool = False, layer: str | None = None) -> OpenFile:
    """Check a path and decide from the file's own bytes what it is and what may read it.

    Parameters
    ----------
    text : str
        As written in the plan; relative paths start at `folder`.
    folder : Path
    at : Place
    folders : bool
        Whether a folder will do; that of a file geodatabase always does.
    layer : str, optional
        The layer wanted, where an archive holds several.

    Raises
    ------
    InputError
        As `local_file`, `check_members` and `unpack`, and ``file.signature``, ``file.unreadable``, ``xml.entities``.
    """
    base = text.strip().rstrip("/\\").lower().endswith(GEODATABASE)
    path = local_file(text, folder, at.where, at.report, folders=folders or base)
    return _opened(path, at, _Asked(layer, folders))


def _opened(path: Path, at: Place, asked: _Asked) -> OpenFile:
    if path.is_dir():
        return _geodatabase(path, at) if path.suffix.lower() == GEODATABASE else OpenFile(path, "folder", "folder")
    try:
        head = first_bytes(path, HEAD_BYTES)
    except OSError as error:
        raise at.refuse("file.unreadable", f"{path.name}: {error.strerror}.") from None
    found = _binary(path, head, at, asked) or _text(path, head, at)
    if (found is None or found.kind == "table") and path.suffix.lower() in (".dbf", ".shx", ".prj", ".cpg"):
        said = f"{path.name} is one part of a Shapefile."
        raise at.refuse("file.signature", said, "Name the file that ends in .shp.")
    if found is None:
        known = "GeoPackage, Shapefile, GeoJSON, KML, GPX, OpenStreetMap, FlatGeobuf, GeoParquet, GeoTIFF, CSV or Excel"
        raise at.refuse("file.signature", f"The content of {path.name} is none of {known}.")
    if found.kind == "vector" and found.held is None and ("!" in str(path) or path.suffix.lower() == ".zip"):
        # the vector library takes such a path for a member of an archive, and would open another file
        raise at.refuse("path.unsafe", f"The path of {path.name} has a '!' in it or ends in .zip.")
    return found


def _binary(path: Path, head: bytes, at: Place, asked: _Asked) -> OpenFile | None:
    if head.startswith(b"SQLite format 3\0"):
        # application id at byte 68: "GPKG" (1.2 and later), "GP10", "GP11" (OGC 12-128, clause 1.1.1.1.1)
        geopackage = head[68:72] in (b"GPKG", b"GP10", b"GP11")
        check_database(path, at)
        return OpenFile(path, "vector", "GPKG") if geopackage else OpenFile(path, "database", "SQLite")
    if head[:4] == b"fgb\x03":
        return OpenFile(path, "vector", "FlatGeobuf")
    if head[:4] == b"PAR1":
        return OpenFile(path, "parquet", "Parquet")
    if head[:4] == b"\x00\x00\x27\x0a":  # file code 9994, Shapefile Technical Description 1998, table 1
        return _shapefile(path, at)
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        _check_sidecars(path, at)
        return OpenFile(path, "raster", "GTiff")
    if head.startswith(b"EHFA_HEADER_TAG"):
        _check_sidecars(path, at)
        return OpenFile(path, "raster", "HFA")
    if path.suffix.lower() == ".hgt" and path.stat().st_size in (1201**2 * 2, 3601**2 * 2):
        return OpenFile(path, "raster", "SRTMHGT")
    if head[:4] in (b"PK\x03\x04", b"PK\x05\x06"):  # the second is the end of an archive without members
        return _zip(path, at, asked)
    if _PBF.match(head):
        return _osm(path, at)
    if head[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        cure = "Open it in a spreadsheet program and save it as .xlsx or .csv."
        raise at.refuse("file.signature", f"{path.name} is an old binary spreadsheet or document.", cure)
    return None


def _text(path: Path, head: bytes, at: Place) -> OpenFile | None:
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        head = head[: len(head) // 2 * 2].decode("utf-16", "replace").encode()
    if b"\0" in head:
        return None
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if match := POINTS_ELSEWHERE.search(head):
        found = (match[1] or match[2]).decode()
        said = f"{path.name} is not data but a description that points to other files ({found})."
        raise at.refuse("file.signature", said)
    if path.stat().st_size > MAX_TEXT_BYTES:
        raise at.refuse("file.too_big", f"{path.name} is text of {path.stat().st_size / 2**30:,.1f} GB.")
    for mark, what in _NO_DATA.items():
        if start[: len(mark)].lower() == mark:
            raise at.refuse("file.signature", f"{path.name} is {what}, not data.")
    if start[:1] == b"<":
        return _xml(path, start, at)
    if start[:1] in (b"{", b"[", b"\x1e"):
        if wrong := linked_crs(path.read_bytes()):
            raise at.refuse("file.signature", f"{path.name} is JSON with {wrong}, which would be fetched.")
        return OpenFile(path, "vector", "GeoJSON")
    if re.match(rb"ncols\s+\d+\s+nrows\s+\d+", start, re.IGNORECASE):
        return OpenFile(path, "raster", "AAIGrid")
    printable = sum(b >= 32 or b in b"\t\r\n" for b in head)
    return OpenFile(path, "table", "text") if printable >= 0.99 * len(head) else None


def _xml(path: Path, start: bytes, at: Place) -> OpenFile:
    if has_entities(path.read_bytes()):
        raise at.refuse("xml.entities", f"{path.name} declares a document type or entities.")
    if re.search(rb"<(\w+:)?kml\b", start):
        return OpenFile(path, "vector", "LIBKML")
    if re.search(rb"<(\w+:)?gpx\b", start):
        return OpenFile(path, "vector", "GPX")
    if re.search(rb"<osm\b", start):
        return _osm(path, at)
    cure = "Save the layer as GeoPackage (.gpkg) and name that file."
    raise at.refuse("file.signature", f"{path.name} is XML, but neither KML, GPX nor OpenStreetMap data.", cure)


def _osm(path: Path, at: Place) -> OpenFile:
    if (size := path.stat().st_size) > MAX_OSM_BYTES:
        cure = "Take an extract of your county, or cut this one to the farm."
        raise at.refuse("file.too_big", f"{path.name} is an OpenStreetMap extract of {size / 1e6:,.0f} MB.", cure)
    return OpenFile(path, "vector", "OSM")


def _shapefile(path: Path, at: Place) -> OpenFile:
    lacking = [end for end in (".shx", ".dbf") if sibling(path, end) is None]
    if lacking:
        parts = " and ".join(path.stem + end for end in lacking)
        raise at.refuse("file.incomplete", f"{path.name} came without its {parts}.")
    if path.suffix.lower() != ".shp":
        raise at.refuse("file.signature", f"{path.name} is a Shapefile, but its name does not end in .shp.")
    return OpenFile(path, "vector", "ESRI Shapefile")


def sibling(path: Path, ending: str) -> Path | None:
    """Return the file beside `path` with the same stem and another ending, whatever its case."""
    return next((p for e in (ending, ending.upper()) if (p := path.with_suffix(e)).is_file()), None)


def _check_sidecars(path: Path, at: Place) -> None:
    """Check a raster's overview and mask files: they are opened with it, by whatever driver fits them."""
    for ending in (".ovr", ".msk"):
        beside = path.with_name(path.name + ending)
        if beside.exists() and (not beside.is_file() or first_bytes(beside, 2) not in (b"II", b"MM")):
            raise at.refuse("file.signature", f"{beside.name} beside the raster is not a TIFF.")
    notes = path.with_name(path.name + ".aux.xml")
    if notes.is_file() and (notes.stat().st_size > 50e6 or has_entities(notes.read_bytes())):
        raise at.refuse("xml.entities", f"{notes.name} beside the raster declares entities or is over 50 MB.")


def first_bytes(path: Path, count: int) -> bytes:
    """Return at most so many bytes from the start of a file."""
    with path.open("rb") as file:
        return file.read(count)


def _zip(path: Path, at: Place, asked: _Asked) -> OpenFile:
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            check_members(path, members, at)
            if not members:
                raise at.refuse("layer.empty", f"The archive {path.name} is empty.")
            if "xl/workbook.xml" in archive.namelist():
                if any(has_entities(archive.read(m)) for m in members if m.filename.endswith((".xml", ".rels"))):
                    raise at.refuse("xml.entities", f"{path.name} declares a document type or entities.")
                return OpenFile(path, "table", "Excel")
            if asked.packed:
                raise at.refuse("zip.limits", f"{path.name} is an archive inside an archive.")
            part = unpack(archive, path, at, asked.layer, folders=asked.folders)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        said = f"{path.name} is a damaged or locked archive: {clean_text(error)}."
        raise at.refuse("file.unreadable", said) from None
    at = at.part(f"{path.name}, {part.path.name}")
    opened = _opened(part.path, at, replace(asked, packed=True))
    if part.path.suffix == ".shp" and opened.driver != "ESRI Shapefile":
        raise at.refuse("file.signature", f"{part.path.name} in the archive is no Shapefile.")
    return replace(opened, held=part.held, chosen=part.chosen)


def _geodatabase(path: Path, at: Place) -> OpenFile:
    """Check the folder of a file geodatabase: nothing but its own files, and not too many bytes."""
    parts = list(path.iterdir())
    if not any(p.suffix.lower() == ".gdbtable" for p in parts):
        raise at.refuse("file.signature", f"The folder {path.name} is no file geodatabase: it has no .gdbtable in it.")
    if strays := [p.name for p in parts if p.is_symlink() or not p.is_file()]:
        said = f"{path.name} holds {shown(strays[0], 60)}, a link or folder that is no part of a file geodatabase."
        raise at.refuse("file.signature", said)
    if (size := sum(p.stat().st_size for p in parts)) > MAX_BYTES:
        raise at.refuse("file.too_big", f"{path.name} has {size / 2**30:,.1f} GB.")
    return OpenFile(path, "vector", "OpenFileGDB")


def _nearest(path: Path) -> str:
    try:
        names = [p.name for p in path.parent.iterdir()]
    except OSError:
        return f" The folder {shown(str(path.parent))} is not there either."
    near = difflib.get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f" Did you mean {shown(near[0])}?" if near else ""
