"""What a truck carries: bales by room and weight, width against the road's rules, in words."""

from __future__ import annotations

from dataclasses import dataclass

from stovergeo.bales import BaleSize
from stovergeo.core.coefficients import Handbook
from stovergeo.supply.cost import bales_on_load, is_wide_load, load_width_m


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
        bale.volume_m3, bale.as_is_kg, book.value(f"haul.load_volume.{bale.shape}"), book.value("haul.payload")
    )
    if bale.shape == "round":  # two abreast, axes across the truck or along it, whichever is narrower
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


def load_words(load: TruckLoad, far_km: float, by_hour_per_mg: float, by_km_per_mg: float) -> list[str]:
    """Say what goes on a truck, what it costs by two ways of reckoning, and what the road authority must be asked.

    Parameters
    ----------
    load : TruckLoad
    far_km : float
        One way.
    by_hour_per_mg, by_km_per_mg : float
        $/Mg dry by the truck's hour (`haul_cost_per_mg`), which the plan uses, and by the loaded
        kilometre (`haul_cost_by_distance_per_mg`), which forgets the waiting.
    """
    said = [
        f"A truck takes {load.bales} bales, {load.dry_mg:.1f} Mg dry and {load.as_is_mg:.1f} Mg as it stands; "
        f"{'room' if load.held_by == 'room' else 'weight'} ends it first. The haul is {far_km:.0f} km one way.",
        f"Trucking is reckoned by the hour, waiting and loading in it: {by_hour_per_mg:.2f} $/Mg. "
        f"By the loaded mile alone it would seem {by_km_per_mg:.2f} $/Mg.",
    ]
    if load.wide:
        said.append(
            f"Two abreast the load is {load.width_m:.1f} m wide, wider than roads usually allow. Some states let "
            f"stover go wider without a permit{', but not so wide' if load.wide_for_stover else ''}: ask the road "
            "authority about width, posted bridges, flags and hours before the first load."
        )
    else:
        said.append(
            "Its width is within the usual limit; posted bridges and axle weights still hold: ask the road authority."
        )
    said.append("Tie every load down; the driver answers for it.")
    return said
