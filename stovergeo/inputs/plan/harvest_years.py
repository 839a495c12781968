"""In how many of the corn years stover leaves: read as "3 of 4", held as a fraction."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Annotated, Final

from pydantic import BeforeValidator, InstanceOf, PlainSerializer

EVERY_YEAR: Final = "every year"
#: years in one round of harvests
MAX_YEARS: Final = 10
_CURE: Final = f'write it as "3 of 4", "1 of 2" or "{EVERY_YEAR}"'


def harvest_years_text(fraction: Fraction) -> str:
    """Return a fraction of years as the plan file writes it.

    >>> harvest_years_text(Fraction(2, 4))
    '1 of 2'
    """
    return EVERY_YEAR if fraction == 1 else f"{fraction.numerator} of {fraction.denominator}"


def read_harvest_years(given: object) -> Fraction:
    """Return the fraction of corn years in which stover leaves.

    Raises
    ------
    ValueError
        When it is not text such as "3 of 4", or no share of years.
    """
    if isinstance(given, Fraction):
        return given
    if not isinstance(given, str):
        raise ValueError(f"needs text in quotes that says in how many of how many corn years; {_CURE}")
    if given.strip().lower() == EVERY_YEAR:
        return Fraction(1)
    found = re.fullmatch(r"\s*([0-9]{1,3})\s+of\s+([0-9]{1,3})\s*", given, re.IGNORECASE)
    if found is None:
        raise ValueError(f"does not say in how many of how many corn years; {_CURE}")
    taken, years = int(found[1]), int(found[2])
    if taken < 1:
        raise ValueError("lets stover leave in no year; the first number is 1 or more")
    if taken > years:
        raise ValueError("asks for more harvests than there are years; the first number is at most the second")
    if years > MAX_YEARS:
        raise ValueError(f"looks too far ahead; the second number is at most {MAX_YEARS}")
    return Fraction(taken, years)


HarvestYears = Annotated[
    Fraction, InstanceOf(), BeforeValidator(read_harvest_years), PlainSerializer(harvest_years_text, return_type=str)
]
