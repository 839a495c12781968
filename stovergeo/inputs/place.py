"""Where in a user's files a reader is, and the report that gathers what is wrong there."""

from __future__ import annotations

from dataclasses import dataclass

from stovergeo.core.errors import InputError, Report
from stovergeo.core.messages import Message


@dataclass(frozen=True, slots=True)
class Place:
    """A layer, a file, a key of the plan or a column, and the report of the run."""

    where: str  #: as problems name it: ``fields``, ``fields.name_column``, ``yield_points, column 'flow'``
    report: Report

    def add(self, code: str, what: str | Message, cure: str | None = None) -> None:
        """Note a problem here and go on."""
        self.report.add(code, self.where, what, cure)

    def refuse(self, code: str, what: str | Message, cure: str | None = None) -> InputError:
        """Note a problem here and return the error to raise, for a reader that cannot go on."""
        return self.report.refuse(code, self.where, what, cure)

    def key(self, name: str) -> Place:
        """Return the place of a key of the plan below this one."""
        return Place(f"{self.where}.{name}", self.report)

    def part(self, name: str) -> Place:
        """Return the place of a part of this one: a file of a folder, a row, a column."""
        return Place(f"{self.where}, {name}", self.report)

    def column(self, name: object) -> Place:
        """Return the place of a column of this layer."""
        return self.part(f"column {name!r}")
