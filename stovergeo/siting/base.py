"""What has to lie under the bales, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Message
from stovergeo.core.units import KG_PER_MG
from stovergeo.siting.site import message


@dataclass(frozen=True, slots=True)
class BaseKind:
    """One base."""

    base: str  #: as the table of yards and the loss formulas name it: none, tires, gravel
    name: str  #: of its message, base.kind.<name>
    depth_key: str = ""  #: handbook key of the depth of stone


#: by number, the drier first; 0 is unknown
KINDS: Final = {
    0: BaseKind("none", "unknown"),
    1: BaseKind("none", "none"),
    2: BaseKind("tires", "tires"),
    3: BaseKind("gravel", "gravel", "yards.base.gravel"),
    4: BaseKind("gravel", "deep_gravel", "yards.base.deep_gravel"),
}


def base_kind(drainage_class: np.ndarray, clay_pct: np.ndarray, good: float, fair: float, most: float) -> np.ndarray:
    """Return the number in `KINDS` of the base each cell needs.

    The wetter of two answers wins: by drainage class (3 well: none, 4: stone, 5 and
    wetter: deep stone) and by surface clay (below `good`: none, below `fair`: off the
    ground on tires, below `most`: stone, else deep stone). Judgement, ours.

    Returns
    -------
    uint8 array
        0 where neither is known.
    """
    drainage = np.nan_to_num(drainage_class)
    by_drainage = np.select([drainage == 0, drainage <= 3, drainage <= 4], [0, 1, 3], 4)
    clay = np.nan_to_num(clay_pct, nan=-1)
    by_clay = np.select([clay < 0, clay < good, clay < fair, clay < most], [0, 1, 2, 3], 4)
    return np.maximum(by_drainage, by_clay).astype(np.uint8)


def kind_message(kind: int) -> Message:
    """Name a base by its number in `KINDS`, as part of a sentence."""
    return message(f"base.kind.{KINDS[kind].name}")


def stone_volume_m3(area_m2: float, depth_m: float) -> float:
    """Return the volume of a layer of stone: area times depth."""
    return area_m2 * depth_m


@dataclass(frozen=True, slots=True)
class BaseCost:
    """A base for one yard."""

    base: str
    depth_m: float
    stone_mg: float
    cost: float  #: to lay it once, $
    life_yr: float  #: seasons it serves
    message: Message  #: the base with its depth, as part of a sentence

    @property
    def cost_a_year(self) -> float:
        """Cost spread over the seasons it serves, $ a year, without interest."""
        return self.cost / self.life_yr if self.life_yr else 0.0


def base_cost(kind: int, pad_m2: float, bales: int, book: Handbook) -> BaseCost:
    """Return what a base costs for a pad and the bales that stand on it.

    Parameters
    ----------
    kind : int
        Number in `KINDS`.
    pad_m2 : float
        Ground under the rows with the base's margin, m2.
    bales : int
        Bales touching the ground, for tires.
    book : Handbook
    """
    chosen = KINDS[kind]
    title = kind_message(kind)
    if chosen.base == "none":
        return BaseCost("none", 0.0, 0.0, 0.0, 0.0, title)
    if chosen.base == "tires":
        price, life = book.value("yards.base.tire_price"), book.value("yards.base.tire_life")
        return BaseCost("tires", 0.0, 0.0, bales * price, life, title)
    deep = book.value(chosen.depth_key)
    stone = stone_volume_m3(pad_m2, deep) * book.value("yards.base.stone_density") / KG_PER_MG
    ground = book.value("yards.base.spread_price") + book.value("yards.base.fabric_price")
    cost = stone * book.value("yards.base.stone_price") + pad_m2 * ground
    told = message("base.deep", base=title, depth=deep)
    return BaseCost("gravel", deep, stone, cost, book.value("yards.base.gravel_life"), told)
