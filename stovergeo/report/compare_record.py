"""A plan already made, read back from its record as an untrusted file: what of it is compared."""

from __future__ import annotations

import math
from functools import cached_property
from pathlib import Path
from typing import Annotated, Final, Generic, TypeVar

import numpy as np
import shapely
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from stovergeo.core.errors import Report
from stovergeo.core.printing import UNIT_SYSTEMS
from stovergeo.core.units import Quantity
from stovergeo.inputs.open_file import local_file
from stovergeo.inputs.plan.base import one_of
from stovergeo.inputs.plan.farm import checked_currency
from stovergeo.inputs.text import clean_text
from stovergeo.report.blocks import plain
from stovergeo.report.json_values import read_json

MAX_BYTES: Final = 200_000_000
_MAX_PROBLEMS: Final = 5


def _to_shape(given: object) -> BaseGeometry:
    """Return ground as a shape; ValueError where it is none."""
    if not isinstance(given, dict) or given.get("type") not in ("Polygon", "MultiPolygon"):
        raise ValueError("ground is a Polygon or MultiPolygon")
    try:
        found = shapely.force_2d(shape(given))
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError, shapely.errors.ShapelyError) as error:
        raise ValueError(f"its shape cannot be read: {error}") from None
    corners = shapely.get_coordinates(found)
    if not np.isfinite(corners).all() or (np.abs(corners) > (180, 90)).any():
        raise ValueError("a corner is not on the globe")
    return found


class _Strict(BaseModel):
    """A part of a plan's record; what is not compared is not looked at."""

    model_config = ConfigDict(strict=True, extra="ignore", allow_inf_nan=False, arbitrary_types_allowed=True)


Number = float | None  #: an unknown number is null in the record
Text = Annotated[str, BeforeValidator(lambda v: clean_text(v) if isinstance(v, str) else v)]
Ground = Annotated[BaseGeometry, BeforeValidator(_to_shape)]


class _FieldRow(_Strict):
    field_id: Text
    name: Text


class ZoneRow(_Strict):
    """A zone, as far as it is compared."""

    zone_id: Text
    field_id: Text
    method: Text
    removal_mg: Number


class _YardRow(_Strict):
    yard_id: Text


class _HaulRow(_Strict):
    zone_id: Text
    yard_id: Text
    bales: Number


class _Entry(_Strict):
    """A number of the plan, as printed there."""

    of: Text
    what: Text
    value: Number
    printed: dict[str, Annotated[str, Field(pattern=r"^(-?[\d,]+(\.\d+)?|not known)$")]]


class _MethodRow(_Strict):
    method: Text
    title: Text


Row = TypeVar("Row", bound=BaseModel)


class _Place(_Strict, Generic[Row]):
    properties: Row
    geometry: Ground


class _Places(_Strict, Generic[Row]):
    features: list[_Place[Row]]


class _Haul(_Strict):
    """A haul, whose route is not drawn."""

    properties: _HaulRow


class _Hauls(_Strict):
    features: list[_Haul]


class _Farm(_Strict):
    name: Text
    season: int
    units: Annotated[str, one_of(lambda: UNIT_SYSTEMS)]
    currency: Annotated[str, AfterValidator(checked_currency)] = "$"


class _PlanPart(_Strict):
    farm: _Farm


class PlanRecord(_Strict):
    """What of a ``plan.json`` is compared."""

    made_by: Annotated[str, Field(pattern="^stovergeo ")]
    plan: _PlanPart
    fields: _Places[_FieldRow]
    zones: _Places[ZoneRow]
    yards: _Places[_YardRow]
    hauls: _Hauls
    zone_methods: list[_MethodRow]
    ledger: list[_Entry]
    read_from: str = ""  #: name of the folder or file, to tell two plans of one farm apart; set by `read_record`

    @property
    def farm(self) -> _Farm:
        """Name, season and units."""
        return self.plan.farm

    @property
    def title(self) -> str:
        """Name of the farm, and season."""
        return plain("compare.farms", farm=self.farm.name, season=str(self.farm.season))

    @cached_property
    def numbers(self) -> dict[tuple[str, str], Quantity]:
        """The plan's numbers, which know how they print there, by whose they are and what they are."""
        return {
            (e.of, e.what): Quantity(math.nan if e.value is None else e.value, printed=e.printed) for e in self.ledger
        }

    def yards_in_use(self) -> set[str]:
        """Return the yards that bales are carried to."""
        return {h.properties.yard_id for h in self.hauls.features if (h.properties.bales or 0) > 0}


def read_record(path: Path, report: Report) -> PlanRecord:
    """Read a plan's record: ``plan.json`` itself, or the folder of results that holds it.

    Raises
    ------
    InputError
        ``compare.too_big``, ``compare.unreadable``, or those of opening a local file.
    """
    where = f"plan {path}"
    local = local_file(str(path), Path(), where, report, folders=True)
    if local.is_dir():
        local = local_file(str(local / "plan.json"), Path(), where, report)
    data = read_json(local, MAX_BYTES, ("compare.unreadable", "compare.too_big"), where, report)
    try:
        name = local.resolve().parent.name if local.name == "plan.json" else local.stem
        return PlanRecord.model_validate(data).model_copy(update={"read_from": clean_text(name)})
    except ValidationError as error:
        for detail in error.errors(include_url=False)[:_MAX_PROBLEMS]:
            key = clean_text(".".join(str(part) for part in detail["loc"])) or "the whole"
            report.add("compare.unreadable", f"{where}, {key}", f"{clean_text(detail['msg'])}.")
        report.stop_if_refused()
        raise


def read_two(one: Path, two: Path, report: Report) -> tuple[PlanRecord, PlanRecord]:
    """Return two plans read from their folders; other farms, seasons and the like are reported as a warning."""
    first, second = read_record(Path(one), report), read_record(Path(two), report)
    if first.title != second.title:
        report.add("compare.other_farm", "the two plans", f"They are of {first.title} and of {second.title}.")
    if first.farm.currency != second.farm.currency:
        said = f"They are in {first.farm.currency} and in {second.farm.currency}."
        raise report.refuse("compare.other_currency", "the two plans", said)
    return first, second
