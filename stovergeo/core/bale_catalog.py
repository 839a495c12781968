"""Shapes, wraps, roofs and bases of bales: one entry each in ``bale_catalog.toml``, which says what the keys mean.

The plan file takes its allowed words from here, and the code asks the entry ("has it net?", "is it a roof?")
instead of comparing names.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any, Final, Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class BaleShape:
    """A shape of bale. Prices, flows and the like are handbook keys."""

    name: str
    title: str
    form: Literal["cylinder", "block"]
    measures: tuple[str, ...]
    sizes: tuple[str, ...]
    density: str
    flow: str
    rate: str
    load_volume: str
    flow_at: Mapping[str, float] = field(default_factory=dict)
    defaults: Mapping[str, str] = field(default_factory=dict)
    turning: str = ""
    twine: str = ""
    tied: str = ""

    @property
    def is_cylinder(self) -> bool:
        """Whether it lies on its curved side."""
        return self.form == "cylinder"

    def measures_of(self, size: str) -> dict[str, str]:
        """Return the measures of one of its sizes, as a plan file gives them."""
        return dict(zip(self.measures, (f"{feet} ft" for feet in size.split("x")), strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """What meets the rain: a wrap, or a roof. Prices and the like are handbook keys."""

    name: str
    title: str
    shapes: tuple[str, ...]
    roof: bool = False
    loss: str = ""
    flat_loss: Mapping[str, str] = field(default_factory=dict)
    offered: tuple[str, ...] = ()
    offered_sheltered: tuple[str, ...] = ()
    net: bool = False
    own_turns: tuple[str, ...] = ()
    bind: str = ""
    price: str = ""
    over_row: bool = False
    place: str = ""
    below: str = ""
    rain_cover: bool = False
    crew: str = ""

    def loss_key(self, part: Literal["rain_entry", "ground_wicking", "rim"]) -> str:
        """Return the handbook key of a part of its loss."""
        return f"storage.{part}.{self.loss or self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """What bales stand on; its price is a handbook key."""

    name: str
    title: str
    price: str
    bare: bool = False


def _entries(table: Mapping[str, Mapping[str, Any]], kind: type, **alike: Any) -> dict[str, Any]:
    """Return the entries of a table by name; lists become tuples."""
    return {
        name: kind(name=name, **alike, **{k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()})
        for name, entry in table.items()
    }


_TABLE: Final = tomllib.loads(files("stovergeo.core").joinpath("bale_catalog.toml").read_text("utf-8"))
SHAPES: Final[dict[str, BaleShape]] = _entries(_TABLE["shape"], BaleShape)
WRAPS: Final[dict[str, Cover]] = _entries(_TABLE["wrap"], Cover)
ROOFS: Final[dict[str, Cover]] = _entries(_TABLE["roof"], Cover, roof=True)
BASES: Final[dict[str, Base]] = _entries(_TABLE["base"], Base)
STANDARD_WRAP: Final[str] = _TABLE["standard_wrap"]


def cover_named(name: str) -> Cover:
    """Return a wrap or a roof by its name."""
    return WRAPS[name] if name in WRAPS else ROOFS[name]


def covers_of_places() -> dict[str, Cover]:
    """Return what meets the rain in each place the plan knows beside "outside"."""
    return {cover.place: cover for cover in (*WRAPS.values(), *ROOFS.values()) if cover.place}


def prepared_bases() -> tuple[str, ...]:
    """Return the bases that have to be made: all but bare ground."""
    return tuple(base.name for base in BASES.values() if not base.bare)
