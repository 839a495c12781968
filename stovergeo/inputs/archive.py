"""Zip archives: looked through first, then the one layer that is wanted is unpacked, and nothing else.

It goes to a folder of its own under a plain name, is opened there like any other file, and is deleted when nothing
uses it any longer. An archive is read where it holds one layer (a Shapefile is several files), or where the plan
names one of several, or where it is a whole download of the soil survey.
"""

from __future__ import annotations

import re
import shutil
import tempfile
import weakref
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from stovergeo.inputs.place import Place
from stovergeo.inputs.text import shown

# bad-inputs sheet, row 42 (judgment)
ZIP_MEMBERS: Final = 1000
ZIP_TOTAL_BYTES: Final = 2 * 2**30
ZIP_RATIO: Final = 100
#: names of members that would be written outside the folder they are unpacked to
_OUTSIDE: Final = re.compile(r"\A[/\\]|\A[A-Za-z]:|(\A|[/\\])\.\.([/\\]|\Z)")
_NESTED: Final = (".zip", ".kmz", ".gz", ".tgz", ".bz2", ".xz", ".7z", ".rar", ".tar", ".zst")
#: endings of what a layer may be, and, where none of these is there, of what a table may be
_RASTERS: Final = (".tif", ".tiff", ".img", ".asc", ".hgt")
_LAYERS: Final = (".shp", ".gpkg", ".geojson", ".kml", ".fgb", ".gpx", ".osm", ".pbf", ".parquet", *_RASTERS)
_TABLES: Final = (".csv", ".tsv", ".xlsx", ".json", ".sqlite", ".db", ".txt")
#: files that belong to a layer and carry its name
_BESIDE: Final = {
    ".shp": (".shx", ".dbf", ".prj", ".cpg"),
    **dict.fromkeys(_RASTERS, (".tfw", ".prj")),
}
_SURVEY: Final = re.compile(r"soilmu_a.*\.(shp|shx|dbf|prj|cpg)", re.IGNORECASE)


class _Folder:
    """A folder for what is unpacked, deleted when nothing holds it and at the end of the process."""

    def __init__(self) -> None:
        self.path = Path(tempfile.mkdtemp(prefix="stovergeo-"))
        weakref.finalize(self, shutil.rmtree, self.path, ignore_errors=True)


@dataclass(frozen=True, slots=True)
class Unpacked:
    """A layer out of an archive."""

    path: Path  #: file or folder
    held: object  #: what keeps it on the disk: it is deleted with the last reference
    chosen: bool  #: the plan's `layer` has named it among the members


@dataclass(frozen=True, slots=True)
class _Set:
    """Members that are one layer together."""

    name: str  #: of the file that is opened
    members: tuple[zipfile.ZipInfo, ...]
    ending: str

    @property
    def stem(self) -> str:
        return self.name.removesuffix(self.ending)


def check_members(path: Path, members: list[zipfile.ZipInfo], at: Place) -> None:
    """Refuse an archive that would write elsewhere, grow beyond all bounds or hold further archives.

    Raises
    ------
    InputError
        ``zip.limits``.
    """
    total = sum(m.file_size for m in members)
    packed = max(path.stat().st_size, 1)
    strays = [m.filename for m in members if _OUTSIDE.search(m.filename)]
    if strays:
        raise at.refuse("zip.limits", f"A member of {path.name} would be written elsewhere: {shown(strays[0])}.")
    if len(members) > ZIP_MEMBERS or total > ZIP_TOTAL_BYTES or total > ZIP_RATIO * packed:
        size = f"{total / 1e6:,.0f} MB in {len(members):,} files, {total / packed:,.0f} times its size"
        raise at.refuse("zip.limits", f"{path.name} would unpack to {size}.")
    nested = [m.filename for m in members if _posix(m).suffix.lower() in _NESTED and _is_data(m)]
    if nested:
        raise at.refuse("zip.limits", f"{path.name} holds another archive: {shown(nested[0], 60)}.")


def unpack(archive: zipfile.ZipFile, path: Path, at: Place, layer: str | None, *, folders: bool) -> Unpacked:
    """Return the layer of an archive whose members have been checked.

    Parameters
    ----------
    layer : str or None
        Name of one of several layers, as the plan gives it.
    folders : bool
        Whether a soil survey's download may be unpacked as a folder.

    Raises
    ------
    InputError
        ``file.signature``, ``layer.choose``, ``layer.unknown``.
    """
    members = [m for m in archive.infolist() if _is_data(m)]
    if folders and (survey := _survey(members)):
        held = _Folder()
        for name, member in survey.items():
            _write(archive, member, held.path / path.stem / name)
        return Unpacked(held.path / path.stem, held, chosen=False)
    one, chosen = _choose(_sets(members), [m.filename for m in members], path, at, layer)
    held = _Folder()
    target = held.path / _plain(one.name)
    if one.ending == ".gdb":
        for member in one.members:
            _write(archive, member, target / _plain(_posix(member).name))
    else:
        for member in one.members:  # the endings in one case, so that a library finds what belongs together
            _write(archive, member, target.with_suffix(_posix(member).suffix.lower()))
        target = target.with_suffix(one.ending)
    return Unpacked(target, held, chosen)


def _write(archive: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(member) as packed, target.open("wb") as file:
        shutil.copyfileobj(packed, file)  # never more than the member's stated size, which was checked


def _choose(sets: list[_Set], names: list[str], path: Path, at: Place, layer: str | None) -> tuple[_Set, bool]:
    if not sets:
        listed = ", ".join(shown(n, 40) for n in names[:4]) if names else "nothing"
        cure = "Pack one layer into it (a Shapefile with all its files), or name a file that is not packed."
        if path.suffix.lower() == ".kmz" or any(n.lower().endswith((".png", ".jpg")) for n in names):
            cure = "Export the KMZ again with its outlines or places, not only pictures, or as KML."
        raise at.refuse("file.signature", f"{path.name} is a zip archive that holds no layer; it holds {listed}.", cure)
    if len(sets) == 1 and (layer is None or sets[0].ending != ".shp"):
        return sets[0], False
    found = [s for s in sets if layer is not None and layer.casefold() in (s.stem.casefold(), s.name.casefold())]
    if len(found) == 1:
        return found[0], True
    if layer is None and all(s.ending == ".kml" for s in sets):
        main = [s for s in sets if s.name.casefold() == "doc.kml"]  # as the format names the one that counts
        if len(main) == 1:
            return main[0], False
    listed = ", ".join(shown(s.stem, 40) for s in sets[:8]) + (f" and {len(sets) - 8} more" if len(sets) > 8 else "")
    if layer is not None and not found:
        raise at.refuse("layer.unknown", f"{path.name} has no layer {shown(layer)}; it has {listed}.")
    packed = "Unpack it and name the folder or the files." if all(s.ending in _RASTERS for s in sets) else None
    raise at.refuse("layer.choose", f"{path.name} holds {len(sets)} layers: {listed}.", packed)


def _sets(members: list[zipfile.ZipInfo]) -> list[_Set]:
    """Return what may be opened of an archive: file geodatabases and layers, or else tables."""
    inside: dict[PurePosixPath, list[zipfile.ZipInfo]] = {}
    rest: list[zipfile.ZipInfo] = []
    for member in members:
        base = next((p for p in _posix(member).parents if p.suffix.lower() == ".gdb"), None)
        (rest if base is None else inside.setdefault(base, [])).append(member)
    found = [_Set(base.stem + ".gdb", tuple(parts), ".gdb") for base, parts in inside.items()]
    found += [_set(m, rest) for m in rest if _posix(m).suffix.lower() in _LAYERS]
    return found or [_set(m, rest) for m in rest if _posix(m).suffix.lower() in _TABLES]


def _set(main: zipfile.ZipInfo, members: Iterable[zipfile.ZipInfo]) -> _Set:
    place = _posix(main)
    ending = place.suffix.lower()
    beside = tuple(
        m
        for m in members
        if (p := _posix(m)).parent == place.parent
        and p.stem.casefold() == place.stem.casefold()
        and p.suffix.lower() in _BESIDE.get(ending, ())
    )
    return _Set(place.stem + ending, (main, *beside), ending)


def _survey(members: list[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    """Return the members of one soil survey download by their place in it; none where it is not one."""
    found: dict[str, zipfile.ZipInfo] = {}
    areas: set[PurePosixPath] = set()
    for member in members:
        place = _posix(member)
        part = place.parent.name.lower()
        if part == "tabular" and place.suffix.lower() == ".txt":
            areas.add(place.parent.parent)
            found[f"tabular/{_plain(place.name.lower())}"] = member
        elif part == "spatial" and _SURVEY.fullmatch(place.name):
            found[f"spatial/{_plain(place.name.lower())}"] = member
    whole = len(areas) == 1 and any(name.startswith("spatial/") for name in found)
    return found if whole else {}


def _posix(member: zipfile.ZipInfo) -> PurePosixPath:
    return PurePosixPath(member.filename.replace("\\", "/"))


def _is_data(member: zipfile.ZipInfo) -> bool:
    """Whether a member is a file that somebody packed, and not a folder or a system's notes about one."""
    place = _posix(member)
    return not member.is_dir() and not place.name.startswith(".") and "__MACOSX" not in place.parts


def _plain(name: str) -> str:
    """Return a name in which no library sees more than a name."""
    return re.sub(r"[^\w. -]", "_", name)[-120:]
