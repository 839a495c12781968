"""What carrying and making stover costs, and what a truck carries within the road's rules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.bales import BaleSize
from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message


def haul_cost_per_mg(
    distance_km: ArrayLike,
    speed_km_h: float,
    load_h: float,
    unload_h: float,
    truck_per_h: float,
    load_dry_mg: float,
) -> np.ndarray:
    """Return the cost of trucking one dry Mg, by the hour.

    Parameters
    ----------
    distance_km : float or array
        One way.
    speed_km_h : float
        Loaded and empty.
    load_h, unload_h : float
        Hours at each end.
    truck_per_h : float
        Truck and driver, $/h.
    load_dry_mg : float
        Dry mass on a load, Mg.

    Returns
    -------
    array
        $/Mg.
    """
    # cost sheet 5.6: ((2 d / v) + t_load + t_unload) $/h / load
    hours = 2 * np.asarray(distance_km, float) / speed_km_h + load_h + unload_h
    return hours * truck_per_h / load_dry_mg


def haul_cost_by_distance_per_mg(distance_km: ArrayLike, per_loaded_km: float, load_dry_mg: float) -> np.ndarray:
    """Return the cost of trucking one dry Mg by the loaded kilometer, waiting not counted ($/Mg)."""
    return np.asarray(distance_km, float) * per_loaded_km / load_dry_mg


def bales_on_load(volume_m3: float, as_is_kg: float, max_m3: float, payload_kg: float) -> tuple[int, str]:
    """Return whole bales on one truck, and whether room or weight holds it.

    Parameters
    ----------
    volume_m3 : float
        Of a bale.
    as_is_kg : float
        Of a bale, water in it.
    max_m3 : float
        Bale volume that common loads of this shape carry.
    payload_kg : float
        Mass the truck may carry.

    Returns
    -------
    (int, str)
        Bales, and "room" or "weight".
    """
    by_room, by_weight = math.floor(max_m3 / volume_m3 + 1e-9), math.floor(payload_kg / as_is_kg + 1e-9)
    return (by_room, "room") if by_room <= by_weight else (by_weight, "weight")


def load_width_m(across_m: float, abreast: int) -> float:
    """Return the width of a load of bales set side by side (m)."""
    return across_m * abreast


def is_wide_load(width_m: float, legal_m: float) -> bool:
    """Return whether a load is over the width that needs no permit."""
    return width_m > legal_m + 1e-9


def per_mg_of_area(per_ha: ArrayLike, removed_mg_ha: ArrayLike) -> np.ndarray:
    """Return $/Mg of an operation paid by the hectare."""
    return np.divide(per_ha, removed_mg_ha)


def per_mg_of_bales(per_bale: ArrayLike, bale_dry_kg: ArrayLike) -> np.ndarray:
    """Return $/Mg of an operation paid by the bale."""
    return np.multiply(per_bale, 1000) / bale_dry_kg


def edge_cost_per_mg(
    area_rates_per_ha: Sequence[ArrayLike],
    bale_rates: Sequence[ArrayLike],
    removed_mg_ha: ArrayLike,
    bale_dry_kg: ArrayLike,
) -> np.ndarray:
    """Return the cost of a dry Mg baled and set at the field's edge.

    Parameters
    ----------
    area_rates_per_ha : sequence of float or array
        Chopping, raking, $/ha.
    bale_rates : sequence of float or array
        Baling, staging, $ a bale.
    removed_mg_ha : float or array
        Dry stover baled, Mg/ha.
    bale_dry_kg : float or array

    Returns
    -------
    float or array
        $/Mg; nutrients, land and profit left out.
    """
    by_area = [per_mg_of_area(rate, removed_mg_ha) for rate in area_rates_per_ha]
    return np.sum(by_area, axis=0) + np.sum([per_mg_of_bales(rate, bale_dry_kg) for rate in bale_rates], axis=0)


message = Catalog("stovergeo.supply")


@dataclass(frozen=True, slots=True)
class TruckLoad:
    """One truckload."""

    bales: int
    held_by: str  #: "room" or "weight"
    dry_mg: float
    as_is_mg: float
    width_m: float  #: of two abreast, set the narrower way
    wide: bool  #: over the common legal width
    wide_for_stover: bool  #: over the width one state allows for stover without a permit


def truck_load(bale: BaleSize, coefficients: Handbook) -> TruckLoad:
    """Return what a common truck carries of a bale."""
    count, held = bales_on_load(
        bale.volume_m3, bale.as_is_kg, coefficients.value(bale.kind.load_volume), coefficients.value("haul.payload")
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
        wide=is_wide_load(width, coefficients.value("haul.width_usual")),
        wide_for_stover=is_wide_load(width, coefficients.value("haul.width_stover_iowa")),
    )


def load_messages(load: TruckLoad, far_km: float, by_hour_per_mg: float, by_km_per_mg: float) -> list[Message]:
    """Return what goes on a truck, what it costs by two reckonings, and what to ask the road authority.

    Parameters
    ----------
    load : TruckLoad
    far_km : float
        One way.
    by_hour_per_mg, by_km_per_mg : float
        $/Mg dry by the truck's hour (`haul_cost_per_mg`), which the plan uses, and by the loaded
        kilometer (`haul_cost_by_distance_per_mg`), which forgets the waiting.
    """
    if load.wide:
        width = message("load.too_wide" if load.wide_for_stover else "load.wide", width=load.width_m)
    else:
        width = message("load.fits")
    return [
        message(f"load.full_by_{load.held_by}", bales=load.bales, dry=load.dry_mg, as_is=load.as_is_mg),
        message("load.far", far=far_km),
        message("load.by_hour", by_hour=by_hour_per_mg),
        message("load.by_distance", by_distance=by_km_per_mg),
        width,
        message("load.tie"),
    ]
