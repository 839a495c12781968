"""What can be wrong with what a user brings, and how it is reported.

Every problem has a stable code, a place, what was found, why it matters and the cure.
Why and cure for each code stand once, in ``problems.toml`` beside this file; the caller
says the place and what was found. Readers add problems to a `Report` and go on, so that
one run of ``stovergeo check`` lists everything; the first function that needs sound data
calls `Report.stop_if_refused`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

from stovergeo.core.messages import Message
from stovergeo.core.printing import BOTH, render


class Severity(StrEnum):
    """What the tool does about a problem, most serious first."""

    REFUSE = "refuse"  #: nothing is written, exit code 2
    WARN = "warn"  #: the result is kept and carries the warning
    FIX = "fix"  #: repaired, counted and reported


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem, ready to show."""

    code: str  #: stable, e.g. ``crs.missing``
    severity: Severity
    where: str  #: layer, row, key: ``fields, row 3`` or ``plan file, farm.crs``
    what: str | Message  #: what was found, with the numbers; a message where it states a quantity in SI
    why: str  #: why it matters
    cure: str  #: what to do

    def __str__(self) -> str:
        return f"[{self.code}] {self.where}: {self.what_in(BOTH)} {self.why} {self.cure}"

    def what_in(self, system: str) -> str:
        """Return what was found as text in a unit system, `BOTH` where the reader's units are not known."""
        return _UNSEEN.sub(" ", render(self.what, system))

    def as_dict(self, system: str = BOTH) -> dict[str, str]:
        """Return the problem as plain strings, quantities in a unit system."""
        return {
            "code": self.code,
            "severity": str(self.severity),
            "where": self.where,
            "what": self.what_in(system),
            "why": self.why,
            "cure": self.cure,
        }


@cache
def problem_table() -> dict[str, dict[str, str]]:
    """Return all known problems: code -> severity, title, why, cure (from ``problems.toml``)."""
    table = tomllib.loads(files("stovergeo.core").joinpath("problems.toml").read_text("utf-8"))
    return {f"{group}.{name}": entry for group, names in table.items() for name, entry in names.items()}


#: control and direction characters, which would move what a terminal shows
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]+")


def problem(code: str, where: str, what: str | Message, cure: str | None = None) -> Problem:
    """Return a problem made from its code in the table; `cure` replaces the general one with a nearer one."""
    entry = problem_table()[code]
    where, cure = (_UNSEEN.sub(" ", text) for text in (where, cure or entry["cure"]))
    found = _UNSEEN.sub(" ", what) if isinstance(what, str) else what
    return Problem(code, Severity(entry["severity"]), where, found, entry["why"], cure)


class StovergeoError(Exception):
    """Base of everything this package raises on purpose."""

    exit_code = 1


class InputError(StovergeoError, ValueError):
    """What the user brought cannot be used as it is; carries all problems found."""

    exit_code = 2

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(p) for p in problems))


class ContractError(StovergeoError, ValueError):
    """A package was given data that lack what it reads, or carry another unit."""


class Report:
    """The problems met so far, in the order met.

    Every function that meets what a user brought takes one and adds to it, so that all problems are known
    before anything stops.

    Examples
    --------
    >>> from stovergeo import Report
    >>> report = Report()
    >>> found = report.add("crs.missing", "fields", "The file names no coordinate system.")
    >>> len(report), found.code, found.severity.value
    (1, 'crs.missing', 'refuse')
    >>> report.stop_if_refused()
    Traceback (most recent call last):
        ...
    stovergeo.core.errors.InputError: [crs.missing] fields: ...
    """

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self._met: dict[tuple[str, str, str], Problem] = {}

    def add(self, code: str, where: str, what: str | Message, cure: str | None = None) -> Problem:
        """Note a problem and go on; the same one met again, by a check and by the step it is for, is noted once."""
        found = problem(code, where, what, cure)
        same = (found.code, found.where, repr(found.what))
        if same not in self._met:
            self._met[same] = found
            self.problems.append(found)
        return self._met[same]

    def refuse(self, code: str, where: str, what: str | Message, cure: str | None = None) -> InputError:
        """Note a problem and return the error to raise, for a reader that cannot go on."""
        return InputError([self.add(code, where, what, cure)])

    @property
    def refused(self) -> list[Problem]:
        """The problems that forbid a result."""
        return [p for p in self.problems if p.severity is Severity.REFUSE]

    def stop_if_refused(self) -> None:
        """Raise `InputError` with every refusal noted so far, if there is one."""
        if self.refused:
            raise InputError(self.refused)

    def by_severity(self) -> list[Problem]:
        """Return the problems, most serious first, otherwise in the order met."""
        order = list(Severity)
        return sorted(self.problems, key=lambda p: order.index(p.severity))

    def __iter__(self) -> Iterator[Problem]:
        return iter(self.problems)

    def __len__(self) -> int:
        return len(self.problems)
