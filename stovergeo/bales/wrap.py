"""Net: turns, length, rolls; and what each wrap and base costs a bale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stovergeo.bales.bale import BaleSize, Numbers
from stovergeo.bales.capacity import netting_s
from stovergeo.bales.climate import months_outside
from stovergeo.bales.storage import StorageMethod
from stovergeo.core.bale_catalog import BASES, WRAPS
from stovergeo.core.coefficients import Handbook
from stovergeo.inputs.plan.gather import Storage, Wrap


def net_length_m(diameter_m: float, turns: Numbers, overlap_m: float = 0.0) -> Numbers:
    """Return the net one round bale takes, m: its turns, and the overlap at the end.

    Examples
    --------
    >>> round(net_length_m(diameter_m=1.8, turns=2.5, overlap_m=0.5), 1)
    14.6
    """
    return math.pi * diameter_m * turns + overlap_m


def net_rolls(net_m: float, roll_length_m: float) -> int:
    """Return whole rolls for a length of net.

    Examples
    --------
    >>> net_rolls(6500.0, roll_length_m=3000.0)
    3
    """
    return math.ceil(net_m / roll_length_m - 1e-9)


def net_turns(wrap: Wrap, storage: Storage, season: int, coefficients: Handbook, road_haul_km: float = 0.0) -> float:
    """Return turns of net: the plan's own, else four, or five for a year outside or a long haul.

    Common practice without a source; the bulletins' lower figures for hay stand in the
    handbook beside ``wrap.turns``.
    """
    if wrap.turns is not None:
        return wrap.turns
    far = wrap.long_haul or road_haul_km >= coefficients.value("wrap.long_haul_km")
    old = storage.place == "outside" and months_outside(storage, season) >= coefficients.value("wrap.long_months")
    return coefficients.value("wrap.turns_long") if far or old else coefficients.value("wrap.turns")


def net_of(wrap: str, turns: float, bale: BaleSize, overlap_m: float, coefficients: Handbook) -> tuple[float, float]:
    """Return the turns and meters of net a bale takes under a wrap.

    A full cover has its own net before and after the sheet; film and tarp go over a netted bale.
    """
    kind = WRAPS[wrap]
    if bale.kind.twine or not (kind.net or kind.own_turns):
        return 0.0, 0.0
    if kind.own_turns:
        turns = sum(coefficients.value(key) for key in kind.own_turns)
    return turns, net_length_m(bale.diameter_m, turns, overlap_m)


def bind_s(wrap: str, turns: float, bale: BaleSize, coefficients: Handbook) -> float:
    """Return how long the baler stands to wrap and drop a bale, s; one that ties as it goes does not stop."""
    if bale.kind.twine:
        return 0.0
    if WRAPS[wrap].bind:
        return coefficients.value(WRAPS[wrap].bind)
    return netting_s(
        coefficients.value("wrap.bind_s.net"),
        turns,
        coefficients.value("wrap.bind_turns"),
        bale.diameter_m,
        coefficients.value("wrap.surface_speed"),
    )


@dataclass(frozen=True, slots=True)
class StorageCost:
    """What a storage option costs, $ a bale."""

    wrap: float  #: twine, net, sheet, film or tarp
    base: float  #: what it stands on, and the roof, for the season
    time: float  #: the baler standing while it wraps


def storage_cost(
    option: StorageMethod, bale: BaleSize, turns: float, overlap_m: float, coefficients: Handbook
) -> StorageCost:
    """Return what a storage option costs a bale, loss not counted."""
    wrap, cover, base = WRAPS[option.wrap], option.cover, BASES[option.base]
    if bale.kind.twine:
        wrapping = coefficients.value(bale.kind.twine)
    else:
        _, net_m = net_of(option.wrap, turns, bale, overlap_m, coefficients)
        wrapping = net_m * coefficients.value("wrap.price.net_m") if wrap.net else 0.0
    if wrap.price and not wrap.over_row and bale.shape in wrap.shapes:
        wrapping += coefficients.value(wrap.price)
    ground = coefficients.value(base.price)
    if cover.roof:
        ground += coefficients.value(cover.price)
    elif cover.over_row:
        wrapping += coefficients.value(cover.price)
    standing = bind_s(option.wrap, turns, bale, coefficients) / 3600 * coefficients.value("machine.baler_hour")
    return StorageCost(wrapping, ground, standing)
