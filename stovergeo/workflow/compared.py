"""Which fields and machines of the whole farm were held against each other, and how machines compare that never met.

Machines that cut no ground beside each other are compared over the soils that both cut, field by field, also where the
fields lie in clusters far apart. Weather, hybrids and nitrogen differ between fields, so what is told is wide; what was
compared with nothing is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.workflow.causes import with_cause

message = Catalog("stovergeo.workflow")
#: least standard deviation of the logarithms of fields' yields on one soil, and how far apart machines are told: at
#: least so far, and by so many standard errors (judgment: hybrids, planting dates and nitrogen make 10 to 15 %)
FIELD_SD: Final = 0.12
FAR_APART: Final = 0.2
_ERRORS: Final = 2.0
#: columns of `Compared.levels`
LEVELS: Final = ("machine", "field", "soil", "records", "grain_mg_ha")


@dataclass(frozen=True, slots=True)
class Compared:
    """What of one cluster of fields was held against what."""

    fields: tuple[str, ...]  #: those with a grain map
    known: frozenset[str]  #: fields whose level is known from a weighed total or a stated yield
    pairs: tuple[tuple[str, str], ...] = ()  #: fields compared along their border
    stands_for: dict[str, tuple[str, ...]] = field(default_factory=dict)  #: machine -> fields that have its level
    met: tuple[str, ...] = ()  #: machines that were compared side by side
    moved: tuple[str, ...] = ()  #: those of them that were set to one level
    #: median of the map where a machine cut a soil of a field: `LEVELS`, Mg/ha dry
    levels: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LEVELS)))


@dataclass(frozen=True, slots=True)
class Ratio:
    """The yields of a machine over those of another, on soils that both cut."""

    high: str
    low: str
    log: float  #: natural logarithm, 0 or more
    error: float  #: its standard error

    @property
    def ratio(self) -> float:
        """How many times as much the one recorded."""
        return float(np.exp(self.log))

    @property
    def is_far(self) -> bool:
        """Whether fields alone hardly explain it."""
        return self.log > max(np.log1p(FAR_APART), _ERRORS * self.error)


class _Groups:
    """Fields and machines in groups that were compared with each other, at first or second hand."""

    def __init__(self, parts: Sequence[Compared]) -> None:
        self.fields = [name for part in parts for name in part.fields]
        self.machines = list(dict.fromkeys(name for part in parts for name in part.stands_for))
        nodes = [("field", name) for name in self.fields] + [("machine", name) for name in self.machines]
        self._group = {node: number for number, node in enumerate(nodes)}
        for part in parts:
            for one, other in part.pairs:
                self._join(("field", one), ("field", other))
            for machine, fields in part.stands_for.items():
                for name in fields:
                    self._join(("machine", machine), ("field", name))
            for machine in part.met[1:]:
                self._join(("machine", part.met[0]), ("machine", machine))

    def _join(self, one: tuple[str, str], other: tuple[str, str]) -> None:
        gone, stays = self._group[one], self._group[other]
        self._group = {node: stays if group == gone else group for node, group in self._group.items()}

    def lone_fields(self) -> list[str]:
        """Return the fields that were compared with nothing."""
        groups = list(self._group.values())
        return [name for name in self.fields if groups.count(self._group["field", name]) == 1]

    def machines_apart(self) -> list[tuple[str, str]]:
        """Return the pairs of machines that were never compared."""
        of = {name: self._group["machine", name] for name in self.machines}
        return [(one, other) for one, other in combinations(self.machines, 2) if of[one] != of[other]]


def machine_ratios(parts: Iterable[Compared]) -> list[Ratio]:
    """Return how machines compare that never met, on soils that both cut; those without such a soil are left out."""
    parts = list(parts)
    levels = pd.concat([part.levels for part in parts], ignore_index=True) if parts else pd.DataFrame(columns=LEVELS)
    found = (_ratio(levels, one, other) for one, other in _Groups(parts).machines_apart())
    return [ratio for ratio in found if ratio is not None]


def _ratio(levels: pd.DataFrame, one: str, other: str) -> Ratio | None:
    mine, theirs = (levels[levels["machine"] == name] for name in (one, other))
    soils = sorted(set(mine["soil"]) & set(theirs["soil"]))
    if not soils:
        return None
    weights, logs, away = [], [], []
    for soil in soils:
        cut = [part[part["soil"] == soil] for part in (mine, theirs)]
        values = [np.log(part["grain_mg_ha"].to_numpy(float)) for part in cut]
        logs.append(values[0].mean() - values[1].mean())
        weights.append(min(int(part["records"].sum()) for part in cut))
        away += [v - v.mean() for v in values if len(v) > 1]
    counts = [part.loc[part["soil"].isin(soils), "field"].nunique() for part in (mine, theirs)]
    spread = max(FIELD_SD, float(np.sqrt(np.mean(np.concatenate(away) ** 2))) if away else 0.0)
    log = float(np.average(logs, weights=weights))
    high, low = (one, other) if log >= 0 else (other, one)
    return Ratio(high, low, abs(log), spread * float(np.sqrt(sum(1 / n for n in counts))))


def report_machines(parts: Sequence[Compared], report: Report) -> None:
    """Report machines that never met and read differently on the same soils, more than fields explain."""
    for one in machine_ratios(parts):
        if one.is_far:
            where = f"yield points, machines {one.high!r} and {one.low!r}"
            report.add("yield.machines_unlike", where, with_cause(_said_of(one), one.ratio))


def _said_of(one: Ratio) -> Message:
    return message("compare.same_soils", high=one.high, low=one.low, ratio=one.ratio)


def uncompared(parts: Sequence[Compared]) -> list[Message]:
    """Return what of the whole farm could not be compared with anything of which the level is known."""
    parts = [part for part in parts if part.fields]
    if not parts:
        return []
    known = frozenset().union(*(part.known for part in parts))
    groups, ratios = _Groups(parts), machine_ratios(parts)
    said = [] if known else [message("compare.nothing")]
    if apart := groups.machines_apart():
        names = [name for name in groups.machines if any(name in pair for pair in apart)]
        said.append(message("compare.machines", machines=tuple(names)))
    said += [_said_of(one) for one in ratios]
    for machine in dict.fromkeys(name for part in parts for name in part.moved):
        fields = [name for part in parts if machine not in part.moved for name in part.stands_for.get(machine, ())]
        if fields:
            said.append(message("compare.not_moved", machine=machine, fields=tuple(fields)))
    lone = [name for name in groups.lone_fields() if name not in known]
    if lone and len(groups.fields) > 1:
        said.append(message("compare.lone_fields", fields=tuple(lone)))
    return said
