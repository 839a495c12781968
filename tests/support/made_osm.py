"""OpenStreetMap extracts, made up: the same nodes and ways written as XML and as PBF.

Layout of the PBF: the format's published description (fileformat.proto, osmformat.proto), from memory; what GDAL
reads of it is held against what it reads of the XML.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

Tags = dict[str, str]


@dataclass
class Extract:
    """Nodes and ways with their tags; ids are given in order."""

    nodes: list[tuple[float, float, Tags]] = field(default_factory=list)
    ways: list[tuple[list[int], Tags]] = field(default_factory=list)

    def node(self, lon: float, lat: float, **tags: str) -> int:
        self.nodes.append((lon, lat, tags))
        return len(self.nodes)

    def way(self, places: list[tuple[float, float]], **tags: str) -> None:
        """Add a way; one that ends where it began is closed by the same node."""
        closed = places[0] == places[-1]
        refs = [self.node(*place) for place in (places[:-1] if closed else places)]
        self.ways.append((refs + refs[:1] if closed else refs, tags))

    def write(self, path: Path) -> Path:
        path.write_bytes(self._pbf()) if path.suffix == ".pbf" else path.write_text(self._xml(), "utf-8")
        return path

    def _xml(self) -> str:
        def tags_of(tags: Tags) -> str:
            return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())

        rows = [
            f'<node id="{i}" lat="{lat:.7f}" lon="{lon:.7f}">{tags_of(tags)}</node>'
            for i, (lon, lat, tags) in enumerate(self.nodes, start=1)
        ]
        for i, (refs, tags) in enumerate(self.ways, start=1):
            rows.append(f'<way id="{i}">{"".join(f"<nd ref={quoteattr(str(r))}/>" for r in refs)}{tags_of(tags)}</way>')
        return f'<?xml version="1.0" encoding="UTF-8"?>\n<osm version="0.6">{"".join(rows)}</osm>'

    def _pbf(self) -> bytes:
        words = [""]

        def index(word: str) -> int:
            if word not in words:
                words.append(word)
            return words.index(word)

        def keys_and_values(tags: Tags) -> bytes:
            keys, values = ([index(w) for w in side] for side in (tags.keys(), tags.values()))
            return _bytes(2, b"".join(map(_varint, keys))) + _bytes(3, b"".join(map(_varint, values))) if tags else b""

        nodes = b""
        for i, (lon, lat, tags) in enumerate(self.nodes, start=1):
            place = _number(8, _zigzag(round(lat * 1e7))) + _number(9, _zigzag(round(lon * 1e7)))
            nodes += _bytes(1, _number(1, _zigzag(i)) + keys_and_values(tags) + place)
        ways = b""
        for i, (refs, tags) in enumerate(self.ways, start=1):
            steps = b"".join(_varint(_zigzag(b - a)) for a, b in zip([0, *refs[:-1]], refs, strict=True))
            ways += _bytes(3, _number(1, i) + keys_and_values(tags) + _bytes(8, steps))
        table = b"".join(_bytes(1, w.encode()) for w in words)
        block = _bytes(1, table) + _bytes(2, nodes) + _bytes(2, ways)
        return _block("OSMHeader", _bytes(4, b"OsmSchema-V0.6")) + _block("OSMData", block)


def _block(kind: str, content: bytes) -> bytes:
    blob = _number(2, len(content)) + _bytes(3, zlib.compress(content))
    header = _bytes(1, kind.encode()) + _number(3, len(blob))
    return struct.pack(">I", len(header)) + header + blob


def _varint(number: int) -> bytes:
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def _zigzag(number: int) -> int:
    return number * 2 if number >= 0 else -number * 2 - 1


def _number(key: int, value: int) -> bytes:
    return _varint(key << 3) + _varint(value)


def _bytes(key: int, value: bytes) -> bytes:
    return _varint(key << 3 | 2) + _varint(len(value)) + value
