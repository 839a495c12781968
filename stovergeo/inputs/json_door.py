"""What a GeoJSON file may say of its reference system: a name, never an address.

The oldest GeoJSON (2008) let a file link its reference system, and the reading library follows
such a link, over the network or to another file, while it opens the file. So the text is looked
through before any library sees it. Names may be written with escapes; then the whole is parsed.
"""

from __future__ import annotations

import json
import re
from typing import Final

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
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return "escapes in a text that is not valid JSON"
    queue = [whole]
    while queue:
        item = queue.pop()
        if isinstance(item, dict):
            for key, value in item.items():
                if key.lower() in ("crs", "coordrefsys") and (wrong := _wrong(value, key.lower().encode())):
                    return wrong
                queue.append(value)
        elif isinstance(item, list):
            queue.extend(i for i in item if isinstance(i, dict | list))
    return None
