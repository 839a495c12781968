"""Past autumns of the farm's weather station, and the days of this plan's autumn among them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Catalog
from stovergeo.core.nearest import unknown_value
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan import Plan
from stovergeo.inputs.plan.base import month_day
from stovergeo.inputs.plan.layers import WeatherLayer

if TYPE_CHECKING:  # a plan without weather does not load the replay
    from stovergeo.window import Autumns

message = Catalog("stovergeo.workflow")
#: first day of the autumns that are replayed: half a year later south of the equator
_START: Final = {False: (9, 1), True: (3, 1)}
#: a year without 29 February, to count days in
_YEAR: Final = 2001


@dataclass(frozen=True, slots=True)
class PastAutumns:
    """Past autumns, and the plan's days in them, counted from their first day, 0."""

    past: Autumns
    done_by: int
    combined: Mapping[str, int]  #: id of the field -> day on which the combine leaves it
    last_day: Mapping[str, int]  #: id of the field -> last day to bale, where the plan gives one


def past_autumns(
    plan: Plan, fields: gpd.GeoDataFrame, place: tuple[float, float, float], coefficients: Handbook, report: Report
) -> PastAutumns | None:
    """Read the station's file and place the plan's days; None without a weather layer or where it is refused.

    Parameters
    ----------
    plan : Plan
        With the seasons of its ground.
    fields : GeoDataFrame
    place : longitude, latitude and height of the farm
        Degrees and m; the height is NaN where it is not known.
    coefficients : Handbook
    report : Report
        Gains what is wrong with the file and with ``[window]``.
    """
    names = [str(name) for name in fields["name"]]
    for one in plan.window.fields:
        if one.field not in names:
            report.add("window.no_such_field", f"plan file, window.fields {one.field}", unknown_value(one.field, names))
    layer = plan.layers.weather
    if layer is None:
        if plan.window.model_fields_set:
            said = message("window.no_weather", keys=tuple(sorted(plan.window.model_fields_set)))
            report.add("window.no_weather", "plan file, window", said)
        return None
    past = None
    with suppress(InputError):  # it stands in the report
        past = _read(layer, plan, place, coefficients, report)
    return None if past is None else _placed(plan, fields, past, coefficients, report)


def _read(
    layer: WeatherLayer, plan: Plan, place: tuple[float, float, float], coefficients: Handbook, report: Report
) -> Autumns:
    from stovergeo.inputs.weather import WeatherSource, read_weather
    from stovergeo.window import autumns, check_station

    at = Place("weather", report)
    source = WeatherSource(
        layer.form, _given(layer.columns.model_dump()), _given(layer.units.model_dump()), layer.reading_hour
    )
    weather = read_weather(layer.path, plan.folder, source, at)
    longitude, latitude, height_m = place
    check_station(weather, latitude, longitude, height_m, coefficients, at)
    past = autumns(weather, coefficients, at, _START[plan.storage.is_south])
    # without the station's own latitude, that of the farm tells how strong the sun is
    return past if math.isfinite(past.latitude) else past.at_latitude(latitude)


def _given(columns: dict[str, str | None]) -> dict[str, str]:
    return {name: value for name, value in columns.items() if value is not None}


def _placed(
    plan: Plan, fields: gpd.GeoDataFrame, past: Autumns, coefficients: Handbook, report: Report
) -> PastAutumns | None:
    """Return the days of the plan; None where one lies outside the autumn or they contradict each other."""
    window, half = plan.window, timedelta(days=round(coefficients.value("machine.window_days") / 2))
    baled = date(_YEAR, *month_day(plan.storage.baled))
    given = {
        "done_by": window.done_by or _written(baled + half),
        "harvest_to": window.harvest_to or _written(baled - half),
    }
    given["harvest_from"] = window.harvest_from or given["harvest_to"]
    for one in window.fields:
        own = {f"fields {one.field}.combined": one.combined, f"fields {one.field}.last_day": one.last_day}
        given |= _given(own)
    days = {key: past.day_of(*month_day(day)) for key, day in given.items()}
    outside = [key for key, day in days.items() if not 0 <= day < past.days]
    first = date(_YEAR, *past.start)
    for key in outside:
        said = message(
            "window.outside", day=given[key], first=_written(first), last=_written(first + timedelta(past.days - 1))
        )
        report.add("window.day", f"plan file, window.{key}", said)
    for sooner, later in (("harvest_from", "harvest_to"), ("harvest_to", "done_by")):
        if not outside and days[sooner] > days[later]:
            said = message("window.turned", one=sooner, day=given[sooner], other=later, later=given[later])
            report.add("window.day", f"plan file, window.{later}", said)
    if report.refused:
        return None
    combined = _combined(fields, days["harvest_from"], days["harvest_to"])
    own_days = {end: _own(days, end, fields) for end in ("combined", "last_day")}
    return PastAutumns(past, days["done_by"], combined | own_days["combined"], own_days["last_day"])


def _own(days: Mapping[str, int], end: str, fields: gpd.GeoDataFrame) -> dict[str, int]:
    """Return the days that single fields have of their own, by id; a name may stand for several."""
    ids = zip(fields["field_id"], fields["name"], strict=True)
    return {field_id: days[key] for field_id, name in ids if (key := f"fields {name}.{end}") in days}


def _written(day: date) -> str:
    return f"{day:%m-%d}"


def _combined(fields: gpd.GeoDataFrame, first: int, last: int) -> dict[str, int]:
    """Return the day on which the combine leaves each field: they are combined in their order, by area."""
    area = fields["area_ha"].to_numpy(dtype=float)
    done = np.cumsum(area) / area.sum()
    days = first + np.ceil(done * (last - first + 1) - 1e-9).astype(int) - 1
    return dict(zip(fields["field_id"], days.tolist(), strict=True))
