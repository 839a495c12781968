"""The ledger: every number that is printed, once, with what it prints as in each unit system.

Pages, files and the terminal take their numbers from here, so the same thing prints the same everywhere, and printed
columns add up: where parts make a whole, the whole is rounded first and the parts share its last digits (largest
remainder).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from stovergeo.core.printing import UNIT_SYSTEMS, how_printed, number, quantity
from stovergeo.core.units import Quantity

Key = tuple[str, str]  #: whose number, and which: ``("zone F1-a", "bales")``


@dataclass(frozen=True, slots=True)
class Entry:
    """One number of the plan."""

    kind: str  #: of `stovergeo.core.printing.KINDS`
    value: Quantity  #: in SI; knows how it prints

    def text(self, system: str) -> str:
        """Return the number as printed in one unit system, without its unit."""
        return number(self.kind, self.value, system)

    def quantity(self, system: str) -> str:
        """Return the number as printed in one unit system, with its unit."""
        return quantity(self.kind, self.value, system)


@dataclass
class Ledger:
    """Numbers by whose they are and what they are.

    Examples
    --------
    Two zones of 1.26 ton each are 2.5 tons together, and the printed column adds up:

    >>> from stovergeo.report.ledger import Ledger
    >>> ledger = Ledger()
    >>> ledger.add_parts("removal", "mass1", "farm", {"zone a": 1.143, "zone b": 1.143})
    >>> [ledger.text(of, "removal", "us") for of in ("zone a", "zone b", "farm")]
    ['1.3', '1.2', '2.5']
    """

    entries: dict[Key, Entry] = field(default_factory=dict)

    def add(self, of: str, what: str, kind: str, value: float) -> Quantity:
        """Enter a number that stands for itself.

        Raises
        ------
        ValueError
            When another number is entered under the same key.
        """
        return self._enter(of, what, Entry(kind, value if isinstance(value, Quantity) else Quantity(float(value))))

    def add_parts(
        self, what: str, kind: str, whole: str, parts: Mapping[str, float], value: float | None = None
    ) -> None:
        """Enter a whole and its parts, so that the printed parts add up to the printed whole.

        Parameters
        ----------
        what, kind : str
        whole : str
            Whose the whole is. Where it is in the ledger already, as a part of something larger, it stays as it is.
        parts : mapping of str to float
            Whose the parts are, and their values in SI. One that is not known (NaN) is left out of the sum.
        value : float, optional
            The whole in SI; left out: the sum of the parts. Where the parts do not add up to it, because they do not
            cover it, each is rounded for itself.
        """
        known = {of: float(v) for of, v in parts.items() if v == v}
        total = sum(known.values()) if known or not parts else float("nan")
        if (whole, what) not in self.entries:
            self.add(whole, what, kind, total if value is None else value)
        entry = self.entries[whole, what]
        printed: dict[str, dict[str, str]] = {of: {} for of in known}
        for system in UNIT_SYSTEMS:
            how = how_printed(kind, system)
            step = 10.0**-how.decimals
            if how.offset or abs(total - entry.value) * how.factor >= 0.5 * step or not known:
                continue
            shown = round(float(entry.text(system).replace(",", "")) / step)
            in_steps = np.array(list(known.values())) * how.factor / step
            for of, steps in zip(known, shares(shown, in_steps), strict=True):
                printed[of][system] = f"{steps * step:,.{how.decimals}f}"
        for of, part in parts.items():
            self._enter(of, what, Entry(kind, Quantity(float(part), printed=printed.get(of))))

    def add_table(self, table: pd.DataFrame, of: str, keys: list[str], kinds: Mapping[str, str]) -> None:
        """Enter columns of a table, each number for itself: ``of`` and the keys say whose it is."""
        for row in table.to_dict("records"):
            whose = " ".join([of, *(str(row[key]) for key in keys)])
            for column, kind in kinds.items():
                self.add(whose, column, kind, row[column])

    def __getitem__(self, key: Key) -> Quantity:
        """Return a number of the plan, which knows how it prints."""
        return self.entries[key].value

    def get(self, of: str, what: str) -> Quantity | None:
        """Return a number of the plan, or None where it has none."""
        entry = self.entries.get((of, what))
        return None if entry is None else entry.value

    def __contains__(self, key: Hashable) -> bool:
        return key in self.entries

    def __iter__(self) -> Iterator[tuple[Key, Entry]]:
        return iter(self.entries.items())

    def text(self, of: str, what: str, system: str) -> str:
        """Return a number as printed, without its unit."""
        return self.entries[of, what].text(system)

    def _enter(self, of: str, what: str, entry: Entry) -> Quantity:
        old = self.entries.setdefault((of, what), entry)
        same = float(old.value) == float(entry.value) or (old.value != old.value and entry.value != entry.value)
        if not same or old.kind != entry.kind:
            raise ValueError(
                f"{of}, {what}: entered as {float(old.value)!r} {old.kind} and {entry.value!r} {entry.kind}"
            )
        return old.value


def shares(count: int, values: np.ndarray) -> np.ndarray:
    """Return whole numbers that add up to a count (largest remainder).

    Each is its value rounded up or down where such numbers add up to the count; otherwise they are in proportion to the
    values. Parts of no value get nothing. Values below zero are allowed as long as their sum is not zero.
    """
    total = values.sum()
    if total == 0:
        return np.zeros(len(values), dtype=int)
    exact = values
    if not 0 <= count - np.floor(values + 1e-9).sum() <= np.count_nonzero(values):
        exact = count * values / total
    out = np.floor(exact + 1e-9).astype(int)
    spare = count - int(out.sum())
    order = np.argsort(out - exact, kind="stable")
    out[order[values[order] != 0][:spare]] += 1
    return out
