"""``[window]``: when the crew can bale in autumn; used where ``[layers.weather]`` gives past autumns."""

from __future__ import annotations

import typing
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, field_validator, model_validator

from stovergeo.inputs.plan.base import DayOfYear, Section

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
WEEKDAYS: Final[tuple[str, ...]] = typing.get_args(Weekday)


def _once(given: tuple[str, ...]) -> tuple[str, ...]:
    twice = sorted({one for one in given if given.count(one) > 1})
    if twice:
        raise ValueError(f"{twice[0]} stands there more than once")
    return given


class WindowField(Section):
    """What is known of one field's autumn."""

    field: str = Field(description="Name of the field.")
    combined: DayOfYear | None = Field(None, description="Day on which the combine leaves it, month-day.")
    last_day: DayOfYear | None = Field(
        None, description="Last day on which it can be baled, before tillage or fertilizer, month-day."
    )
    tiled: bool = Field(False, description="It has drain tile: its ground carries sooner after rain.")


class Window(Section):
    """The autumn baling window. Balers are the plan's crews, ``money.crews``, one baler each."""

    done_by: DayOfYear | None = Field(
        None,
        description="Day by which all should be baled, month-day; left out: half of machine.window_days after `baled`.",
    )
    harvest_from: DayOfYear | None = Field(
        None, description="First day of grain harvest, month-day; left out: all fields are combined on its last day."
    )
    harvest_to: DayOfYear | None = Field(
        None,
        description="Last day of grain harvest, month-day; left out: half of machine.window_days before `baled`.",
    )
    fields: Annotated[tuple[WindowField, ...], Field(description="What is known of single fields.")] = ()
    work_hours: tuple[int, int] | None = Field(
        None, description="Hours of the day between which the crew bales, [9, 18]; left out: the handbook's."
    )
    days_off: Annotated[tuple[Weekday, ...], AfterValidator(_once)] = Field(
        (), description="Days of the week on which nobody bales."
    )
    holidays: Annotated[tuple[DayOfYear, ...], AfterValidator(_once)] = Field(
        (), description="Other days on which nobody bales, month-day."
    )
    wanted_pct: float | None = Field(
        None, ge=50, le=99, description="Chance to be done by that day that is wanted; left out: the handbook's."
    )

    @field_validator("work_hours")
    @classmethod
    def _a_working_day(cls, given: tuple[int, int] | None) -> tuple[int, int] | None:
        if given is not None and not 3 <= given[0] <= given[1] - 2 <= 22:
            raise ValueError("needs two hours of one day, at least two hours apart, such as [9, 18]")
        return given

    @model_validator(mode="after")
    def _makes_sense(self) -> Window:
        if len(self.days_off) == len(WEEKDAYS):
            raise ValueError("days_off names every day of the week; no day is left to bale")
        names = [one.field for one in self.fields]
        if len(set(names)) < len(names):
            raise ValueError("each field may have one entry under [[window.fields]]")
        return self

    @property
    def own_numbers(self) -> dict[str, float]:
        """Keys of the handbook that this section replaces, with its numbers."""
        found: dict[str, float] = {}
        if self.work_hours is not None:
            found |= {"window.crew.first_hour": self.work_hours[0], "window.crew.last_hour": self.work_hours[1]}
        if self.wanted_pct is not None:
            found["window.chance.wanted"] = self.wanted_pct / 100
        return found
