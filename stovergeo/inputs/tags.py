"""Rows of a mixed layer by their tags: what the plan asks for, or what a layer takes of an OpenStreetMap extract.

An extract holds houses, roads, ditches and wires together, so that each layer must say which of them it means. A
tag is a column of its own, or stands among others in the column ``other_tags`` as ``"key"=>"value"``. A row is
taken if any of the tags fits. Keys and values: the tagging pages of the OpenStreetMap wiki (from memory); which of
them a layer takes is judgment.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import Layer, TaggedLayer, Tags
from stovergeo.inputs.text import clean_text, shown

OTHER: Final = "other_tags"
#: columns that tell that a layer comes from OpenStreetMap
_SIGNS: Final = frozenset({"osm_id", "osm_way_id", OTHER})
#: layers that may well be the same rows
_ALIKE: Final = ({"fields", "property"}, {"buildings", "dwellings"})
_ROADS: Final = [
    "motorway", "trunk", "primary", "secondary", "tertiary", "unclassified", "residential", "living_street", "service",
    "track", "road", "motorway_link", "trunk_link", "primary_link", "secondary_link", "tertiary_link",
]  # fmt: skip
_HOMES: Final = ["house", "farm", "residential", "detached", "semidetached_house", "terrace", "apartments", "bungalow"]
#: what each layer of the plan takes of an OpenStreetMap extract where the plan gives no `tags`
DEFAULT_TAGS: Final[dict[str, Tags]] = {
    "fields": {"landuse": "farmland"},
    "trees": {"natural": ["wood", "tree_row", "tree"], "landuse": "forest"},
    "buildings": {"building": True},
    "dwellings": {"building": _HOMES},
    "roads": {"highway": _ROADS},
    "gates": {"barrier": ["gate", "lift_gate", "swing_gate"]},
    "wells": {"man_made": "water_well"},
    "water": {"natural": ["water", "spring"], "waterway": True, "landuse": ["reservoir", "basin"]},
    "culverts": {"tunnel": "culvert"},
    "overhead_lines": {"power": ["line", "minor_line"]},
}
#: one tag among others; quotes and backslashes inside are escaped
_PAIR: Final = re.compile(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"')
#: tags that become columns of their own, the most frequent first
_MAX_COLUMNS: Final = 100


def rows_asked_for(frame: pd.DataFrame, asked: Tags | None, key: str, at: Place, *, extract: bool) -> pd.DataFrame:
    """Return the rows that a layer means, with the tags of ``other_tags`` as columns.

    Parameters
    ----------
    asked : dict or None
        The plan's `tags`.
    key : str
        Layer of the plan.
    extract : bool
        Whether the file is an OpenStreetMap extract by its format.

    Raises
    ------
    InputError
        ``tags.needed`` where an extract is named for a layer that takes nothing by itself, ``column.missing``,
        ``layer.empty`` where no row has such a tag.
    """
    if asked is not None:
        return _matching(frame, asked, at.key("tags"), extract)
    tags = tags_of(None, key, at, extract=extract)
    if tags is None or not (_SIGNS & set(frame.columns)) or not _has_any(frame, tags):
        return frame
    taken = _matching(frame, tags, at, extract)
    at.add("tags.default", f"Objects taken from OpenStreetMap data: {len(taken):,}, with {written(tags)}.")
    return taken


def report_shared(layers: Mapping[str, Layer], report: Report) -> None:
    """Report layers that take the same rows of one file, where they are not two names of the same thing."""
    chosen = {p.where for p in report if p.code == "tags.default"}
    taken: dict[tuple[str, str | None, str], str] = {}
    for key, layer in layers.items():
        tags = layer.tags if isinstance(layer, TaggedLayer) else None
        if key in chosen:
            continue
        rows = (layer.path, layer.layer, written(tags or {}))
        other = taken.setdefault(rows, key)
        if other != key and {other, key} not in _ALIKE:
            report.add("tags.shared", key, f"{shown(layer.path, 60)} is named for {other} too, and for the same rows.")


def tags_of(asked: Tags | None, key: str, at: Place, *, extract: bool) -> Tags | None:
    """Return the tags that count for a layer; None where it has none.

    Raises
    ------
    InputError
        ``tags.needed``.
    """
    tags = DEFAULT_TAGS.get(key) if asked is None else asked
    if tags is None and extract:
        raise at.refuse("tags.needed", f"An OpenStreetMap extract is named for {key}, and the plan gives no `tags`.")
    return tags


def where_clause(tags: Tags, columns: list[str]) -> str:
    """Return a filter that leaves out, while an extract is read, most of what has none of the tags."""
    parts = []
    for key in tags:
        if key in columns:
            parts.append(f'"{_doubled(key, chr(34))}" IS NOT NULL')
        if OTHER in columns:
            escaped = _doubled(key.replace("\\", "\\\\").replace('"', '\\"'), "'")
            parts.append(f"{OTHER} LIKE '%\"{escaped}\"=>%'")
    return " OR ".join(parts) or "0 = 1"


def written(tags: Tags) -> str:
    """Return tags as text: ``highway=track or service, building=*``."""
    return ", ".join(f"{key}={'*' if want is True else ' or '.join(_words(want))}" for key, want in tags.items())


def _doubled(text: str, quote: str) -> str:
    return text.replace(quote, 2 * quote)


def _words(want: object) -> list[str]:
    return [_word(w) for w in (want if isinstance(want, list | tuple) else [want])]


def _word(value: object) -> str:
    """Return a value as it is compared: in lower case, whole numbers without decimals, truth as a tag writes it."""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip().casefold()


def _has_any(frame: pd.DataFrame, tags: Tags) -> bool:
    return OTHER in frame or any(key in frame for key in tags)


def _matching(frame: pd.DataFrame, tags: Tags, at: Place, extract: bool) -> pd.DataFrame:
    frame = _spread(frame, tags)
    fits = np.zeros(len(frame), dtype=bool)
    lacking = []
    for key, want in tags.items():
        column = key if key in frame and key != "geometry" else _folded(frame).get(key.casefold())
        if column is None:
            lacking.append(key)
        else:
            fits |= _fits(frame[column], want)
    if lacking and not extract and not (_SIGNS & set(frame.columns)):
        listed = ", ".join(shown(str(c), 30) for c in list(frame.columns)[:20] if c != "geometry")
        raise at.refuse("column.missing", f"There is no column {shown(lacking[0])}. The file has {listed}.")
    if not fits.any():
        cure = "Correct `tags`, or take the layer out of the plan file: it is then named as not checked."
        raise at.refuse("layer.empty", f"No row has {clean_text(written(tags))}.", cure)
    return frame[fits].reset_index(drop=True)


def _folded(frame: pd.DataFrame) -> Mapping[str, str]:
    return {str(c).casefold(): str(c) for c in reversed(frame.columns) if c != "geometry"}


def _fits(column: pd.Series, want: object) -> np.ndarray:
    """Return which values are wanted; where any will do, all but blanks and a plain no."""
    places, values = pd.factorize(column.astype(object), use_na_sentinel=True)
    words = [_word(v) for v in values]
    good = [w not in ("", "no", "0") for w in words] if want is True else [w in set(_words(want)) for w in words]
    return np.array([*good, False], dtype=bool)[places]


def _spread(frame: pd.DataFrame, wanted: Iterable[str]) -> pd.DataFrame:
    """Return the frame with the tags of ``other_tags`` as columns: those wanted, then the most frequent.

    A key may be a column of some rows, and stand among the other tags of rows of another kind.
    """
    if OTHER not in frame:
        return frame
    parsed = [dict(_tags_in(text)) if isinstance(text, str) else {} for text in frame[OTHER].astype(object)]
    counts = Counter(key for row in parsed for key in row)
    keys = list(dict.fromkeys([*(k for k in wanted if k in counts), *(k for k, _ in counts.most_common(_MAX_COLUMNS))]))
    more = pd.DataFrame({k: [row.get(k) for row in parsed] for k in keys}, index=frame.index, dtype=object)
    plain = frame.drop(columns=OTHER)
    for key in [k for k in keys if k in plain and k != "geometry"]:
        own = plain[key].astype(object)
        plain[key] = own.where(own.notna(), more[key])
    return plain.join(more[[k for k in keys if k not in plain]])


def _tags_in(text: str) -> list[tuple[str, str]]:
    return [(_plain(key), _plain(value)) for key, value in _PAIR.findall(text)]


def _plain(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text)
