"""Reading, overriding, drawing and accounting for coefficients."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Final

from stovergeo.core.errors import StovergeoError
from stovergeo.core.nearest import nearest
from stovergeo.core.units import SI_UNIT, parse_quantity

#: of a standard normal distribution, below which nine in ten lie
NINE_IN_TEN: Final = 1.2815515655446004


class Standing(StrEnum):
    """How far a coefficient can be trusted."""

    PUBLISHED = "published"  #: the figure was seen in the named source
    DERIVED = "derived"  #: our arithmetic from published figures
    MEMORY = "from memory"  #: the document is named but was not read again
    PRACTICE = "common practice"  #: a fact of the trade, no source
    JUDGMENT = "judgment"  #: ours; change it where you know better
    PLAN = "set in the plan"  #: the user's own number


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One number of the handbook."""

    key: str  #: ``topic.name`` or ``topic.group.name``
    value: float  #: the default
    low: float  #: low end of its spread (equal to value where none is known)
    high: float  #: high end of its spread
    unit: str  #: "1" for a pure number
    meaning: str  #: what it is, in one line
    source: str  #: document with page, table or equation; empty only for practice and judgment
    standing: Standing
    note: str = ""
    positive: bool = False  #: 0 is impossible: something is divided by it, or its logarithm is taken
    #: standard deviation of the logarithm of a lognormal spread, `value` its median, low and high the eight in ten
    #: between; 0: triangular, from low over value to high
    sd_ln: float = 0.0

    @property
    def has_spread(self) -> bool:
        """Whether more than one number is in doubt."""
        return self.sd_ln > 0 or self.low < self.high

    def alone(self) -> Coefficient:
        """Return the value without its spread."""
        return replace(self, low=self.value, high=self.value, sd_ln=0.0)

    def is_possible(self, number: float) -> bool:
        """Return whether an own number can stand here: finite, of the spread's sign, and not 0 where `positive`."""
        wrong_sign = self.low >= 0 > number or self.high <= 0 < number
        return math.isfinite(number) and not wrong_sign and not (self.positive and number == 0)


class Handbook(Mapping[str, Coefficient]):
    """Coefficients by key; remembers which were used.

    Parameters
    ----------
    coefficients : dict[str, Coefficient]
    asked : set of str, optional
        Keys looked up in the handbook that this one is a copy of; grows with those looked up here.
    """

    def __init__(self, coefficients: Mapping[str, Coefficient], asked: set[str] | None = None) -> None:
        self._coefficients = dict(coefficients)
        self._used: set[str] = set()
        self._asked = set() if asked is None else asked

    def __getitem__(self, key: str) -> Coefficient:
        found = self._known(key)
        self._used.add(key)
        self._asked.add(key)
        return found

    def _known(self, key: str) -> Coefficient:
        if key not in self._coefficients:
            near = nearest(key, self._coefficients)
            hint = f"; did you mean {near!r}?" if near else ""
            raise UnknownCoefficientError(f"the handbook has no {key!r}{hint}")
        return self._coefficients[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._coefficients)

    def __len__(self) -> int:
        return len(self._coefficients)

    def __contains__(self, key: object) -> bool:
        return key in self._coefficients

    def value(self, key: str) -> float:
        """Return the default (or overridden, or drawn) number for a key."""
        return self[key].value

    def group(self, prefix: str) -> dict[str, Coefficient]:
        """Return all coefficients below a prefix: ``group("tillage")`` -> name -> coefficient.

        Listing a group does not count as using its members; looking one up does.
        """
        start = prefix + "."
        return {key[len(start) :]: c for key, c in self._coefficients.items() if key.startswith(start)}

    def used(self) -> list[Coefficient]:
        """Return the coefficients looked up so far, in the order of the handbook."""
        return [c for key, c in self._coefficients.items() if key in self._used]

    def was_asked(self, key: str) -> bool:
        """Return whether a key was looked up here, in a copy or in the handbook this one is a copy of."""
        return key in self._asked

    def with_plan(self, overrides: Mapping[str, float]) -> Handbook:
        """Return a copy in which the user's numbers replace the defaults; `used` of the copy begins anew.

        An overridden number has no spread: the user is taken at their word.

        Raises
        ------
        ValueError
            For a number that cannot stand under its key (`Coefficient.is_possible`).
        """
        changed = dict(self._coefficients)
        for key, number in overrides.items():
            old = self._known(key)
            if not old.is_possible(number):
                raise ValueError(f"{key} cannot be {number:g} {old.unit}; the handbook has {old.value:g}")
            changed[key] = replace(
                old,
                value=float(number),
                low=float(number),
                high=float(number),
                sd_ln=0.0,
                standing=Standing.PLAN,
                note=f"handbook default {old.value:g} ({old.low:g} to {old.high:g}) {old.unit}",
            )
        return Handbook(changed, self._asked)


class UnknownCoefficientError(StovergeoError, KeyError):
    """The handbook has no such key."""

    def __str__(self) -> str:  # KeyError would print the message in quotes
        return str(self.args[0])


@cache
def _shipped() -> dict[str, Coefficient]:
    found: dict[str, Coefficient] = {}
    for path in sorted(files("stovergeo.core.coefficients").joinpath("data").iterdir(), key=lambda p: p.name):
        if path.name.endswith(".toml"):
            for c in read_coefficients(path.read_text("utf-8")):
                if c.key in found:
                    raise ValueError(f"{path.name}: {c.key} stands twice in the handbook")
                found[c.key] = c
    return found


def read_coefficients(text: str) -> list[Coefficient]:
    """Read coefficients from TOML text: nested tables, a leaf is a table with ``value``.

    A number may be written as its source gives it, ``value = "250 ft"`` beside ``unit = "m"``: it is kept in the
    unit named and printed as given.

    Raises
    ------
    ValueError
        When an entry lacks a unit, a meaning or a standing, has its spread the wrong way
        round, or claims to be published without naming a source.
    """
    return list(_leaves(tomllib.loads(text), ()))


def _leaves(table: dict, path: tuple[str, ...]) -> Iterator[Coefficient]:
    if "value" not in table:
        for name, below in table.items():
            yield from _leaves(below, (*path, name))
        return
    key = ".".join(path)
    try:
        unit = table["unit"]
        value = _in_unit(table["value"], unit)
        c = Coefficient(
            key=key,
            value=value,
            low=_in_unit(table["low"], unit) if "low" in table else value,
            high=_in_unit(table["high"], unit) if "high" in table else value,
            unit=unit,
            meaning=table["meaning"],
            source=table.get("source", ""),
            standing=Standing(table["standing"]),
            note=table.get("note", ""),
            positive=table.get("positive", False),
            sd_ln=float(table.get("sd_ln", 0.0)),
        )
    except KeyError as lacking:
        raise ValueError(f"{key}: lacks {lacking}") from None
    if not (math.isfinite(value) and c.low <= c.value <= c.high):
        raise ValueError(f"{key}: needs low <= value <= high")
    if not c.is_possible(value):
        raise ValueError(f"{key}: needs a value above 0")
    _check_lognormal(c)
    if not c.source and c.standing not in (Standing.PRACTICE, Standing.JUDGMENT):
        raise ValueError(f"{key}: standing {c.standing!r} needs a source")
    yield c


def _check_lognormal(c: Coefficient) -> None:
    """Raise where a lognormal spread and the low and high beside it do not belong together."""
    if not c.sd_ln:
        return
    if not (c.sd_ln > 0 and c.value > 0):
        raise ValueError(f"{c.key}: a lognormal spread needs sd_ln and value above 0")
    ends = c.value * math.exp(-NINE_IN_TEN * c.sd_ln), c.value * math.exp(NINE_IN_TEN * c.sd_ln)
    if any(abs(stated - end) > 0.05 * end for stated, end in zip((c.low, c.high), ends, strict=True)):
        raise ValueError(f"{c.key}: low and high are {ends[0]:.3g} and {ends[1]:.3g}, eight in ten of its lognormal")


def _in_unit(number: float | str, unit: str) -> float:
    """Return a number of the handbook in its unit; text is a quantity as the source gives it."""
    if not isinstance(number, str):
        return float(number)
    dimension = next((d for d, si in SI_UNIT.items() if si == unit), None)
    if dimension is None:
        raise ValueError(f"a quantity with its own unit must be kept in an SI unit, not in {unit!r}: {number!r}")
    return parse_quantity(number, dimension)


def load_handbook(overrides: Mapping[str, float] | None = None) -> Handbook:
    """Return the shipped handbook, with the plan's own numbers in place of defaults.

    Parameters
    ----------
    overrides : mapping of str to float, optional
        Own numbers by key, each in the unit the handbook gives; they have no spread.

    Returns
    -------
    Handbook
        Coefficients by key; each knows its value, low, high, unit, source and standing.

    Raises
    ------
    UnknownCoefficientError
        For an override of a key the handbook does not have (the message suggests the nearest).
    ValueError
        For a number that cannot stand under its key, such as a density of 0.

    Examples
    --------
    >>> from stovergeo import load_handbook
    >>> coefficients = load_handbook({"bale.moisture": 16})
    >>> own = coefficients["bale.moisture"]
    >>> own.value, own.unit, own.standing.value
    (16.0, '%', 'set in the plan')
    """
    coefficients = Handbook(_shipped())
    return coefficients.with_plan(overrides) if overrides else coefficients
