"""Quantities of the soil-loss equation in the plan: rainfall erosivity R, soil erodibility K, soil loss and tolerance.

Each is a number with its unit, US or SI; a number that can only be one of the other unit is refused.
"""

from __future__ import annotations

from typing import Annotated, Final, NamedTuple

from pydantic import ValidatorFunctionWrapHandler, WrapValidator

from stovergeo.core.units import parse_quantity


class Most(NamedTuple):
    """The most of a quantity that occurs on corn ground, and what to check where more is given."""

    dimension: str
    value: str
    cure: str


EROSIVITY: Final = Most(
    "rainfall erosivity",
    "800 US",  # judgment: the wettest corn land of the US has some 600
    "R is 20 to 500 US, or 340 to 8500 MJ mm/(ha h yr), where corn grows",
)
ERODIBILITY: Final = Most(
    "soil erodibility",
    "0.8 US",  # judgment: the soil survey's steps end at 0.64
    "K of soils is 0.02 to 0.64 US, or 0.003 to 0.085 t ha h/(ha MJ mm)",
)
TOLERANCE: Final = Most(
    "soil loss", "5 ton/ac/yr", "T of soils is 1 to 5 ton/ac/yr, or 2.2 to 11.2 t/ha/yr"
)  # steps of the soil survey
WIND_LOSS: Final = Most("soil loss", "400 ton/ac/yr", "the index of the loosest sand is 310 ton/ac/yr, or 695 t/ha/yr")
WIND_INDEX: Final = Most("soil loss", "310 ton/ac/yr", "the loosest sand has 310 ton/ac/yr, or 695 t/ha/yr")


def _within(most: Most, zero: bool = False) -> WrapValidator:
    """Return a check of a quantity in quotes: more than nothing, or nothing where `zero`, and no more than occurs."""
    highest = parse_quantity(most.value, most.dimension)

    def parse(value: object, check: ValidatorFunctionWrapHandler) -> float:
        number: float = parse_quantity(value, most.dimension)
        if number < 0 or (number == 0 and not zero):
            raise ValueError("must be more than nothing" if not zero else "cannot be less than nothing")
        if number > highest:
            raise ValueError(f"is more than any {most.dimension}; {most.cure}: check the number and its unit")
        check(float(number))
        return number

    return WrapValidator(parse)


Erosivity = Annotated[float, _within(EROSIVITY)]  #: MJ mm/(ha h yr)
Erodibility = Annotated[float, _within(ERODIBILITY)]  #: Mg ha h/(ha MJ mm)
Tolerance = Annotated[float, _within(TOLERANCE)]  #: Mg/ha a year
WindLoss = Annotated[float, _within(WIND_LOSS, zero=True)]  #: Mg/ha a year
WindIndex = Annotated[float, _within(WIND_INDEX, zero=True)]  #: Mg/ha a year
