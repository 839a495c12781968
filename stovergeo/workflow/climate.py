"""The climate of a farm: from the plan, from a station, from the handbook's own region, or borrowed and said so."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from pyproj import Geod

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.core.regions import lies_in
from stovergeo.inputs.normals import Normals, read_normals
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan

message = Catalog("stovergeo.workflow")
#: a station farther off is reported: its rain may be another (judgment)
FAR_M: Final = 100_000.0


@dataclass(frozen=True, slots=True)
class PlacedClimate:
    """A plan with its climate, and what is to be said of it."""

    plan: Plan
    unknown: tuple[Message, ...] = ()  #: what was borrowed
    source: tuple[Message, ...] = ()  #: the station, and how far off it lies
    day_range_c: tuple[float, ...] | None = None  #: how far the air warms and cools in a day; None where not known


def place_climate(
    plan: Plan, places: Sequence[tuple[float, float]], coefficients: Handbook, report: Report
) -> PlacedClimate:
    """Return the plan with the seasons and the climate of its ground.

    Parameters
    ----------
    plan : Plan
    places : sequence of (longitude, latitude)
        Middles of the clusters of fields, degrees; the first tells the seasons.
    coefficients : Handbook
    report : Report
        Gains ``climate.borrowed``, ``climate.erosivity``, ``climate.far`` and what is wrong with a file of normals.
    """
    latitude = places[0][1]
    storage = plan.storage.at_latitude(latitude)
    source: tuple[Message, ...] = ()
    day_range: tuple[float, ...] | None = None
    if storage.normals is not None:
        with suppress(InputError):  # it stands in the report
            at = Place("plan file, storage.normals", report)
            normals = read_normals(storage.normals, plan.folder, storage.normals_units, at)
            storage = storage.with_climate(normals.rain_mm, normals.air_c)
            day_range = normals.day_range_c
            source = (_station(normals, places[0], at),)
    at_home = all(lies_in("handbook_climate", *place) for place in places)
    unknown = () if at_home else _erosivity(plan, report)
    lacking = [n for n in ("rain", "air") if getattr(storage, {"rain": "rain_mm", "air": "air_c"}[n]) is None]
    unread = storage.normals is not None and not source
    if unread or not lacking or at_home:
        return PlacedClimate(plan.model_copy(update={"storage": storage}), unknown, source, day_range)
    rain = coefficients["storage.rain_borrowed"]
    said = message(
        "climate.borrowed",
        what=message(f"climate.what.{'_'.join(lacking)}"),
        whose=message(f"climate.whose.{'south' if latitude < 0 else 'north'}"),
    )
    told = [said, *([message("climate.rain", low=rain.low, high=rain.high)] if "rain" in lacking else []), *unknown]
    report.add("climate.borrowed", "plan file, storage", said)
    storage = storage.with_climate(borrowed=tuple(lacking))
    return PlacedClimate(plan.model_copy(update={"storage": storage}), tuple(told), source, day_range)


def _erosivity(plan: Plan, report: Report) -> tuple[Message, ...]:
    """Return that the plan's erosivity is that of another place, where it gives none; and report it."""
    if "erosivity" in plan.crop.model_fields_set:
        return ()
    said = message("climate.erosivity", erosivity=plan.crop.erosivity)
    report.add("climate.erosivity", "plan file, crop.erosivity", said)
    return (said,)


def _station(normals: Normals, place: tuple[float, float], at: Place) -> Message:
    """Return where the climate is from; report a station far off."""
    if not (math.isfinite(normals.latitude) and math.isfinite(normals.longitude)):
        return message("climate.station_nowhere", station=normals.station)
    away = abs(Geod(ellps="WGS84").inv(*place, normals.longitude, normals.latitude)[2])
    said = message("climate.station", station=normals.station, distance=away / 1000)
    if away > FAR_M:
        at.add("climate.far", said)
    return said
