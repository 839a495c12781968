"""What text in a file could make a library do: open another file, ask the network, grow without end."""

from __future__ import annotations

import json
import re
from typing import Final

#: what would make a driver open something else than the file named
POINTS_ELSEWHERE: Final = re.compile(
    rb"<\s*(OGRVRT\w*|VRTDataset|GDAL_WMS|GDAL_WCS|WMS_Capabilities|OGRWFS\w*|WCS_GDAL|VRTTileIndex\w*|GDALTileIndex\w*)"
    rb"|(gdal_streamed_alg)",
    re.IGNORECASE,
)


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
