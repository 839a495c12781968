"""Building blocks of the plan file: a section that refuses unknown keys, and quantities with units."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date
from typing import Annotated

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)
from pydantic_core import PydanticKnownError

from stovergeo.core.units import parse_quantity


class Section(BaseModel):
    """A table of the plan file. Unknown keys are errors; values cannot be changed afterwards.

    A key that carries a unit is written ``key = "100 ft"`` in the file and read as
    ``section.key_m`` in the code: the alias is the file's name, the attribute names the unit.
    """

    # TOML has words for infinity and for no number; neither is a measure of anything on a farm
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, allow_inf_nan=False)


def _quantity(dimension: str) -> WrapValidator:
    def parse(value: object, check: ValidatorFunctionWrapHandler, info: ValidationInfo) -> float:
        # defaults are already numbers in SI and never pass through here (pydantic does not validate defaults)
        number = parse_quantity(value, dimension, (info.context or {}).get("currency", "$"))
        if number < 0:
            raise ValueError("cannot be less than nothing")
        check(float(number))  # limits of the key itself
        return number

    return WrapValidator(parse)


LengthM = Annotated[float, _quantity("length")]
AreaHa = Annotated[float, _quantity("area")]
MassMg = Annotated[float, _quantity("mass")]
MassPerAreaMgHa = Annotated[float, _quantity("mass per area")]
WeighedMg = Annotated[float, _quantity("weighed grain")]
GrainMgHa = Annotated[float, _quantity("grain per area")]
DensityKgM3 = Annotated[float, _quantity("density")]
SpeedMS = Annotated[float, _quantity("speed")]
MoneyPerMg = Annotated[float, _quantity("money per mass")]
MoneyPerHa = Annotated[float, _quantity("money per area")]
MoneyPerM = Annotated[float, _quantity("money per length")]
DurationS = Annotated[float, _quantity("time")]


def one_of(words: Callable[[], Iterable[str]]) -> BeforeValidator:
    """Return a check that a value is one of some words, such as the names of a catalog's entries.

    It is reported as pydantic reports a word that is none of a ``Literal``.
    """

    def check(value: object) -> object:
        known = tuple(words())
        if value not in known:
            listed = ", ".join(map(repr, known[:-1]))
            raise PydanticKnownError("literal_error", {"expected": f"{listed} or {known[-1]!r}"})
        return value

    return BeforeValidator(check)


def _day_of_year(given: object) -> str:
    if isinstance(given, date):
        raise ValueError(f'needs month-day in quotes, without the year, such as "{given:%m-%d}"')
    if not (isinstance(given, str) and re.fullmatch(r"[0-9]{2}-[0-9]{2}", given)):
        raise ValueError('needs month-day in quotes, such as "11-05" for the fifth of November')
    month, day = month_day(given)
    try:
        date(2001, month, day)  # a common year: 29 February would fail in three of four
    except ValueError:
        turned = " (month first)" if month > 12 >= day else ""
        raise ValueError(f"{given} is not a day of every year{turned}") from None
    return given


def month_day(text: str) -> tuple[int, int]:
    """Return month and day of a day of the year, written ``MM-DD``."""
    month, day = text.split("-")
    return int(month), int(day)


DayOfYear = Annotated[str, BeforeValidator(_day_of_year)]
