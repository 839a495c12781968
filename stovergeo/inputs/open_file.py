"""The only place where a user's file is opened.

A path is a plain local file. Its format is decided from its own first bytes, never from
its name, and the driver that reads it is named from that; what a driver could be talked
into (another file, the network, a gigabyte out of a kilobyte) is turned away here. GeoJSON may link
its reference system to an address, and a database may carry tables that read other files or views
that never end: both are looked through before a library opens them.
"""

from __future__ import annotations

import difflib
import json
import re
import stat
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from stovergeo.core.errors import Report
from stovergeo.inputs.database import check_database
from stovergeo.inputs.place import Place
from stovergeo.inputs.text import shown

Kind = Literal["vector", "raster", "table", "parquet", "database", "folder"]
HEAD_BYTES: Final = 65_536
#: no single input is larger than this; text is parsed whole, so less of it
MAX_BYTES: Final = 16 * 2**30
MAX_TEXT_BYTES: Final = 2 * 2**30
# bad-inputs sheet, row 42 (our judgement)
ZIP_MEMBERS: Final = 1000
ZIP_TOTAL_BYTES: Final = 2 * 2**30
ZIP_RATIO: Final = 100
#: what would make a driver open something else than the file named
_POINTS_ELSEWHERE: Final = re.compile(
    rb"<\s*(OGRVRT\w*|VRTDataset|GDAL_WMS|GDAL_WCS|WMS_Capabilities|OGRWFS\w*|WCS_GDAL|VRTTileIndex\w*|GDALTileIndex\w*)"
    rb"|(gdal_streamed_alg)",
    re.IGNORECASE,
)
#: names of archive members that would be written outside the folder they are unpacked to
_OUTSIDE: Final = re.compile(r"\A[/\\]|(\A|[/\\])\.\.([/\\]|\Z)")
#: how files begin that come in place of data
_NO_DATA: Final = {
    b"<!doctype html": "a web page (a failed download looks so)",
    b"<html": "a web page (a failed download looks so)",
    b"%pdf": "a PDF document",
    b"{\\rtf": "a text document",
    b"version https://git-lfs": "a stand-in for a file that was not fetched",
}
_SCHEME: Final = re.compile(r"[A-Za-z][A-Za-z0-9+._-]+:")  # two letters or more: C:\ is a drive, not a scheme


@dataclass(frozen=True, slots=True)
class OpenFile:
    """A file that may be read, and how."""

    path: Path
    kind: Kind
    driver: str  #: name of the one driver (GDAL's short name, or ours) that may read it


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


def open_file(text: str, folder: Path, at: Place, *, folders: bool = False) -> OpenFile:
    """Check a path and decide from the file's own bytes what it is and what may read it.

    Raises
    ------
    InputError
        As `local_file`, and ``file.signature``, ``file.unreadable``, ``xml.entities``, ``zip.limits``.
    """
    path = local_file(text, folder, at.where, at.report, folders=folders)
    if path.is_dir():
        return OpenFile(path, "folder", "folder")
    try:
        head = first_bytes(path, HEAD_BYTES)
    except OSError as error:
        raise at.refuse("file.unreadable", f"{path.name}: {error.strerror}.") from None
    found = _binary(path, head, at) or _text(path, head, at)
    if found is None:
        if path.suffix.lower() in (".dbf", ".shx", ".prj", ".cpg"):
            said = f"{path.name} is one part of a Shapefile."
            raise at.refuse("file.signature", said, "Name the file that ends in .shp.")
        known = "GeoPackage, Shapefile, GeoJSON, KML, FlatGeobuf, GeoParquet, GeoTIFF, CSV or Excel"
        raise at.refuse("file.signature", f"The content of {path.name} is none of {known}.")
    if found.kind == "vector" and ("!" in str(path) or path.suffix.lower() == ".zip"):
        # the vector library takes such a path for a member of an archive, and would open another file
        raise at.refuse("path.unsafe", f"The path of {path.name} has a '!' in it or ends in .zip.")
    return found


def _binary(path: Path, head: bytes, at: Place) -> OpenFile | None:
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
    if head[:4] == b"PK\x03\x04":
        return _zip(path, at)
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
    if match := _POINTS_ELSEWHERE.search(head):
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
    cure = "Save the layer as GeoPackage (.gpkg) and name that file."
    raise at.refuse("file.signature", f"{path.name} is XML, but neither KML nor GPX.", cure)


def has_entities(data: bytes) -> bool:
    """Whether XML bytes declare a document type, the only place of entities, in any encoding a parser accepts.

    A declaration stands before the first element; the same letters further on are text of a description.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data[: len(data) // 2 * 2].decode("utf-16", "replace").encode("utf-8", "replace")
    # UTF-16 without its mark shows as a zero after each letter
    rest = data.replace(b"\0", b"").removeprefix(b"\xef\xbb\xbf").lstrip()
    while rest[:2] in (b"<?", b"<!"):
        if rest.startswith(b"<?"):
            end = b"?>"
        elif rest.startswith(b"<!--"):
            end = b"-->"
        else:
            return True
        _, found, rest = rest.partition(end)
        if not found:
            return True
        rest = rest.lstrip()
    return False


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


def _zip(path: Path, at: Place) -> OpenFile:
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            _check_members(path, members, at)
            names = {m.filename for m in members}
            if "xl/workbook.xml" in names:
                if any(has_entities(archive.read(m)) for m in members if m.filename.endswith((".xml", ".rels"))):
                    raise at.refuse("xml.entities", f"{path.name} declares a document type or entities.")
                return OpenFile(path, "table", "Excel")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        raise at.refuse("file.unreadable", f"{path.name} is a damaged or locked archive: {error}.") from None
    if any(name.lower().endswith(".kml") for name in names):
        cure = "A KMZ is a packed KML: unpack it as any archive (name it .zip first) and name the .kml inside it."
    else:
        cure = "Unpack the archive and name the file inside it (for a Shapefile, the .shp)."
    raise at.refuse("file.signature", f"{path.name} is a zip archive.", cure)


def _check_members(path: Path, members: list[zipfile.ZipInfo], at: Place) -> None:
    total = sum(m.file_size for m in members)
    packed = max(path.stat().st_size, 1)
    strays = [m.filename for m in members if _OUTSIDE.search(m.filename)]
    if strays:
        raise at.refuse("zip.limits", f"A member of {path.name} would be written elsewhere: {shown(strays[0])}.")
    if len(members) > ZIP_MEMBERS or total > ZIP_TOTAL_BYTES or total > ZIP_RATIO * packed:
        size = f"{total / 1e6:,.0f} MB in {len(members):,} files, {total / packed:,.0f} times its size"
        raise at.refuse("zip.limits", f"{path.name} would unpack to {size}.")


def _nearest(path: Path) -> str:
    try:
        names = [p.name for p in path.parent.iterdir()]
    except OSError:
        return f" The folder {shown(str(path.parent))} is not there either."
    near = difflib.get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f" Did you mean {shown(near[0])}?" if near else ""


_NAMED: Final = re.compile(
    r"(urn:(x-)?ogc:def:crs:[\w:.]+|(epsg|ogc|esri):\w+|https?://www\.opengis\.net/def/crs/[\w/.]+)", re.IGNORECASE
)
_KEY: Final = re.compile(rb'"(?:crs|coordRefSys)"\s*:', re.IGNORECASE)
#: letters of the alphabet written as escapes: no program does that without a reason
_ESCAPED: Final = re.compile(rb"\\u00[2-7][0-9a-fA-F]")
#: a reference system is described in far less than this
_MAX_LETTERS: Final = 20_000


def linked_crs(data: bytes) -> str | None:
    """Return what a JSON text says of its reference system that is no plain name; None where all is well."""
    if _ESCAPED.search(data):
        return _by_parsing(data)
    for match in _KEY.finditer(data):
        rest = data[match.end() : match.end() + _MAX_LETTERS].decode("utf-8", "replace").lstrip()
        if rest[:1] not in ("{", "["):
            wrong = _wrong(rest.split('"')[1] if rest[:1] == '"' and rest.count('"') > 1 else None, match[0])
        else:
            try:
                wrong = _wrong(json.JSONDecoder().raw_decode(rest)[0], match[0])
            except (ValueError, RecursionError):
                return "a reference system that cannot be understood"
        if wrong:
            return wrong
    return None


def _wrong(value: object, key: bytes) -> str | None:
    if isinstance(value, dict):
        kind = str(value.get("type", "")).lower()
        name = value.get("properties", {}).get("name") if isinstance(value.get("properties"), dict) else None
        if kind == "name" and isinstance(name, str) and _NAMED.fullmatch(name):
            return None
        return f"a reference system of type {kind[:20]!r}"
    if isinstance(value, list) or (b"coordrefsys" in key.lower() and value is not None):
        return "a reference system by address"
    return None  # a column that happens to be called so


def _by_parsing(data: bytes) -> str | None:
    wrong: list[str] = []

    def judged(pairs: list[tuple[str, object]]) -> dict[str, object]:
        named = [(key, value) for key, value in pairs if key.lower() in ("crs", "coordrefsys")]
        wrong.extend(found for key, value in named if (found := _wrong(value, key.encode())))
        return dict(pairs)

    try:
        json.loads(data, object_pairs_hook=judged)
    except (ValueError, RecursionError):
        return "escapes in a text that is not valid JSON"
    return wrong[0] if wrong else None
