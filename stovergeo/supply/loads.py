"""What a truck carries: bales by room and weight, width against the road's rules."""

from __future__ import annotations

from dataclasses import dataclass

from stovergeo.bales import BaleSize
from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message
from stovergeo.supply.cost import bales_on_load, is_wide_load, load_width_m

message = Catalog("stovergeo.supply")


@dataclass(frozen=True, slots=True)
class TruckLoad:
    """One truckload."""

    bales: int
    held_by: str  #: "room" or "weight"
    dry_mg: float
    as_is_mg: float
    width_m: float  #: the narrower way to set two abreast
    wide: bool  #: over the usual legal width
    wide_for_stover: bool  #: over the width one state allows for stover without a permit


def truck_load(bale: BaleSize, book: Handbook) -> TruckLoad:
    """Return what a usual truck carries of a bale."""
    count, held = bales_on_load(
        bale.volume_m3, bale.as_is_kg, book.value(bale.kind.load_volume), book.value("haul.payload")
    )
    if bale.kind.is_cylinder:  # two abreast, axes across the truck or along it, whichever is narrower
        width = load_width_m(min(bale.width_m, bale.diameter_m), 2)
    else:  # one lengthwise across the truck, or two side by side
        width = min(bale.length_m, load_width_m(bale.width_m, 2))
    return TruckLoad(
        bales=count,
        held_by=held,
        dry_mg=count * bale.dry_kg / 1000,
        as_is_mg=count * bale.as_is_kg / 1000,
        width_m=width,
        wide=is_wide_load(width, book.value("haul.width_usual")),
        wide_for_stover=is_wide_load(width, book.value("haul.width_stover_iowa")),
    )


def load_messages(load: TruckLoad, far_km: float, by_hour_per_mg: float, by_km_per_mg: float) -> list[Message]:
    """Return what goes on a truck, what it costs by two ways of reckoning, and what to ask the road authority.

    Parameters
    ----------
    load : TruckLoad
    far_km : float
        One way.
    by_hour_per_mg, by_km_per_mg : float
        $/Mg dry by the truck's hour (`haul_cost_per_mg`), which the plan uses, and by the loaded
        kilometre (`haul_cost_by_distance_per_mg`), which forgets the waiting.
    """
    if load.wide:
        width = message("load.too_wide" if load.wide_for_stover else "load.wide", width=load.width_m)
    else:
        width = message("load.fits")
    full = {"bales": load.bales, "dry": load.dry_mg, "as_is": load.as_is_mg}
    return [
        message("load.full_by_room" if load.held_by == "room" else "load.full_by_weight", **full),
        message("load.far", far=far_km),
        message("load.by_hour", by_hour=by_hour_per_mg),
        message("load.by_distance", by_distance=by_km_per_mg),
        width,
        message("load.tie"),
    ]
