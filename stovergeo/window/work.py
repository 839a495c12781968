"""The work as the user describes it: fields to bale, and the crew."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf, nan

import numpy as np

from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import KG_PER_MG
from stovergeo.window.autumns import Autumns
from stovergeo.window.drying import METHODS
from stovergeo.window.pace import pace_mg_h
from stovergeo.window.progress import NEVER, Task

SUNDAY = 6


@dataclass(frozen=True, slots=True)
class FieldToBale:
    """The stover of one field. Days count from the first day of the autumn, 0."""

    name: str
    area_ha: float  #: that is gathered
    bales: float
    bale_dry_kg: float
    method: str = "shredded"  #: how stover lies while it dries, one of `METHODS`
    grain_moisture_pct: float = nan
    combined: int | None = None  #: day on which the combine leaves; left out, by the combine's pace
    deadline: int | None = None  #: last day to bale, before tillage or fertilizer
    drainage_class: float = nan  #: of the soil survey, 1 to 8
    clay_pct: float = nan
    tiled: bool = False
    probe: tuple[int, float] | None = None  #: day on whose morning its moisture was measured, and the moisture, %

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise ValueError(f"{self.name}: the method must be one of {', '.join(METHODS)}, not {self.method!r}")
        if not (0 < self.area_ha < inf and 0 < self.bales < inf and 0 < self.bale_dry_kg < inf):
            raise ValueError(f"{self.name}: area, bales and the mass of a bale must be above 0")


@dataclass(frozen=True, slots=True)
class Crew:
    """Machines and hours of the crew; hours of the day and moves are those of the handbook."""

    shape: str  #: of the bales: ``round`` or ``square``
    balers: int
    limit_pct: float  #: wettest stover that is baled
    windrow_m: float  #: width raked into one windrow
    combine_ha_h: float = nan  #: needed where a field gives no day of combining
    combine_from: int = 0  #: first day of grain harvest
    shred_ha_h: float | None = None  #: left out: the handbook's
    rake_ha_h: float = inf
    begin: int = 0  #: first day of baling
    wait_d: int = 0  #: days it waits in each year from the first day on which it could bale
    today: int = 0  #: fields combined before this day are so for sure: draws do not move them
    days_off: frozenset[int] = field(default_factory=frozenset)  #: weekdays, 0 for Monday; `SUNDAY`
    holidays: frozenset[tuple[int, int]] = field(default_factory=frozenset)  #: months and days on which nobody works
    daily: bool = True  #: the field is chosen each morning, not by a fixed order
    road_km: np.ndarray | None = None  #: by road between fields, (fields, fields)

    def __post_init__(self) -> None:
        if self.shape not in ("round", "square"):
            raise ValueError(f"the shape of the bales must be round or square, not {self.shape!r}")
        if self.balers < 1 or not 0 < self.limit_pct < 100 or not self.windrow_m > 0:
            raise ValueError("a crew needs a baler, a limit between 0 and 100 % and a width of windrows above 0")


def limit_pct(storage: str, coefficients: Handbook, probed: bool = False) -> float:
    """Return the wettest stover that is safe to bale, % of the whole.

    Parameters
    ----------
    storage : str
        ``round_net`` and ``round_shed`` outdoors, ``square_covered``, ``square_by_spring``.
    coefficients : Handbook
    probed : bool
        Whether the crew goes by a probe, which reads too low in stalks.
    """
    limit = coefficients.value(f"window.limit.{storage}")
    return limit - coefficients.value("window.limit.probe") if probed else limit


def areas_ha(fields: list[FieldToBale]) -> np.ndarray:
    """Return the area of each field, ha."""
    return np.array([f.area_ha for f in fields], dtype=float)


def task_of(
    fields: list[FieldToBale], crew: Crew, past: Autumns, order: list[int], balers: int, coefficients: Handbook
) -> Task:
    """Return what there is to bale, with the pace of all balers together, held to that of the rake."""
    rates = []
    for one in fields:
        removal_mg_ha = one.bales * one.bale_dry_kg / KG_PER_MG / one.area_ha
        raked = crew.rake_ha_h * one.bales / one.area_ha
        for moisture_pct in (0.0, 100.0):
            flow = pace_mg_h(crew.shape, moisture_pct, removal_mg_ha, crew.windrow_m, coefficients)
            rates.append(min(balers * flow * KG_PER_MG / one.bale_dry_kg, raked))
    road_km = np.zeros((len(fields), len(fields))) if crew.road_km is None else crew.road_km
    return Task(
        bales=np.array([f.bales for f in fields], dtype=float),
        rate_dry=np.array(rates[::2]),
        rate_wet=np.array(rates[1::2]),
        wet_pct=coefficients.value("window.pace.wet"),
        deadline=np.array([past.days - 1 if f.deadline is None else f.deadline for f in fields], dtype=np.int64),
        order=np.array(order, dtype=np.int64),
        daily=crew.daily,
        block_h=coefficients.value("window.crew.block"),
        move_h=coefficients.value("window.crew.move") + road_km / coefficients.value("window.crew.road_speed"),
    )


def start_order(fields: list[FieldToBale], crew: Crew) -> list[int]:
    """Return a first order of the fields: earliest ready, then deadline, worse drainage, nearest to the first.

    Judgment. Fields without a day of combining come in the order they are given, after those with one.
    """
    road_km = np.zeros((len(fields), len(fields))) if crew.road_km is None else crew.road_km

    def rank(k: int) -> tuple[float, ...]:
        one = fields[k]
        ready = NEVER if one.combined is None else one.combined
        deadline = NEVER if one.deadline is None else one.deadline
        drainage = 0.0 if np.isnan(one.drainage_class) else one.drainage_class
        return ready, deadline, -drainage, float(road_km[0, k]), k

    return sorted(range(len(fields)), key=rank)
