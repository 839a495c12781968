"""Keys of a layer that change nothing: for the kind of its file, or beside its other keys. Each is reported by name."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase
from typing import Final, Literal, NamedTuple, get_args

import geopandas as gpd
import pandas as pd
from pydantic import BaseModel

from stovergeo.core.messages import Catalog
from stovergeo.inputs.open_file import OpenFile
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import PointColumns, PointUnits

message = Catalog("stovergeo.inputs")
#: what a layer's file is, as far as its keys go
FileKind = Literal["task data", "text", "spreadsheet", "table", "parquet", "vector", "raster", "folder"]
_ALL: Final[frozenset[str]] = frozenset(get_args(FileKind))
_NOT_TASK: Final = _ALL - {"task data"}


class Rule(NamedTuple):
    """Keys, with patterns, that change nothing where all that is named here holds."""

    keys: tuple[str, ...]
    why: str  #: of `messages.toml`, group `idle`
    files: frozenset[str] = _ALL  #: for these kinds of file
    unless: tuple[str, ...] = ()  #: none of these keys is given
    beside: tuple[str, ...] = ()  #: one of these keys is given
    layers: tuple[str, ...] = ("*",)  #: layers of the plan


#: unit of a column that is not declared
_UNITS: Final = tuple(
    Rule((f"units.{role}",), "unit", _NOT_TASK, unless=(f"columns.{role}",), layers=("yield_points", "earlier_points"))
    for role in (field.alias or name for name, field in PointUnits.model_fields.items())
)
RULES: Final[tuple[Rule, ...]] = (
    Rule(("columns.*", "units.*", "crs", "swap_xy", "layer", "sheet", "header_down"), "task", frozenset({"task data"})),
    *_UNITS,
    Rule(("columns.x", "columns.y"), "places", frozenset({"vector", "parquet"})),
    Rule(("sheet",), "sheet", _NOT_TASK - {"spreadsheet"}),
    Rule(("layer",), "layer", frozenset({"text", "spreadsheet", "table", "parquet", "raster"})),
    Rule(("swap_xy",), "raster", frozenset({"raster"})),
    Rule(("band",), "band", _ALL - {"raster"}, layers=("soils",)),
    Rule(("header_down",), "header", _NOT_TASK, unless=("columns.header",)),
    Rule(("corn",), "crop", unless=("columns.crop",)),
    Rule(("swath",), "column_first", beside=("columns.swath",)),
    Rule(("seconds",), "column_first", beside=("columns.seconds",)),
    Rule(("moisture_pct",), "column_first", beside=("columns.moisture",)),
    Rule(("columns.speed", "units.speed"), "distance_first", _NOT_TASK, beside=("columns.distance",)),
    Rule(("columns.flow", "units.flow"), "mass_first", _NOT_TASK, beside=("columns.mass",)),
    Rule(("height_unit",), "height_unit", unless=("height_column",), layers=("trees", "buildings")),
    Rule(("bare_light_pct",), "trees_only", layers=("buildings",)),
    # of [layers] itself
    Rule(("yield_raster",), "points_first", beside=("yield_points",), layers=("layers",)),
    Rule(("culverts",), "no_heights", unless=("elevation",), layers=("layers",)),
    Rule(("surface",), "no_heights", unless=("elevation", "yield_points"), layers=("layers",)),
)


def kind_of(opened: OpenFile, rows: pd.DataFrame | None = None) -> FileKind:
    """Return what a file is, as far as the keys of its layer go; `rows` tell whether Parquet holds places."""
    if opened.kind == "table":
        return "spreadsheet" if opened.driver == "Excel" else "text"
    if opened.kind == "parquet":
        return "parquet" if isinstance(rows, gpd.GeoDataFrame) else "table"
    return "vector" if opened.kind == "database" else opened.kind


def given_keys(section: BaseModel) -> list[str]:
    """Return the keys of a section that are given and not as they are anyhow, with dots, as a plan file has them."""
    found: list[str] = []
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        if name not in section.model_fields_set or value == field.get_default(call_default_factory=True):
            continue
        key = field.alias or name
        nested = isinstance(value, PointColumns | PointUnits)
        found += [f"{key}.{below}" for below in given_keys(value)] if nested else [key]
    return found


def idle_keys(layer: str, own: Collection[str], given: Collection[str], kind: FileKind | None) -> dict[str, str]:
    """Return the keys that change nothing, each with the key of the message that says why.

    Parameters
    ----------
    layer : str
        Key of the layer in the plan, "layers" for the section itself.
    own : collection of str
        Keys to judge.
    given : collection of str
        Keys that are given, those taken over from another layer or told by the file among them.
    kind : str or None
        Kind of the layer's file; None for the section.
    """
    found: dict[str, str] = {}
    for rule in RULES:
        if not any(fnmatchcase(layer, pattern) for pattern in rule.layers) or not (kind is None or kind in rule.files):
            continue
        if any(key in given for key in rule.unless) or (rule.beside and not any(key in given for key in rule.beside)):
            continue
        for key in own:
            if any(fnmatchcase(key, pattern) for pattern in rule.keys):
                found.setdefault(key, rule.why)
    return found


def report_idle_keys(
    section: BaseModel, read: Sequence[tuple[FileKind | None, BaseModel]], at: Place, used: Collection[str] = ()
) -> None:
    """Warn of the keys of a layer that change nothing.

    Parameters
    ----------
    section : Layer
        As the plan gives it.
    read : sequence of (kind, Layer)
        Each of its files: its kind, and the layer with what was taken over from another layer or told by the file. A
        key that counts for one of them counts.
    at : Place
        The layer, by its key in the plan and, of several, its number.
    used : collection of str
        Keys that are known to count.
    """
    own = [key for key in given_keys(section) if key not in used]
    found = [idle_keys(at.where.split(" ")[0], own, given_keys(layer), kind) for kind, layer in read]
    reasons: dict[str, list[str]] = {}
    for key in own:
        if found and all(key in idle for idle in found):
            reasons.setdefault(found[0][key], []).append(key)
    for why, keys in reasons.items():
        at.add("layer.idle_key", message(f"idle.{why}", keys=tuple(keys)))
