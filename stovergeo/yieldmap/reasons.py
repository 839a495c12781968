"""Why a record may be removed, in the order in which cleaning asks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason."""

    title: str
    words: str
    harvested: bool = False  #: the ground was harvested there all the same, and is filled from its neighbours


REASONS: Final[dict[str, Reason]] = {
    "incomplete": Reason("Incomplete record", "no yield, moisture or harvested area, or no position near the others"),
    "header_up": Reason("Header up", "the header was not cutting"),
    "co_located": Reason("Same place", "same place as an earlier record of the machine"),
    "no_flow": Reason("No grain flow", "no grain, or less than none, over the ground covered"),
    "moisture": Reason("Moisture", "moisture outside what corn grain can have", True),
    "not_recorded": Reason("Not recorded", "its grain passed the sensor when nothing was being recorded", True),
    "short_pass": Reason("Short pass", "too short a run to fill the combine: a turn or a start", True),
    "pass_start": Reason("Filling up", "start of a pass, while the combine fills", True),
    "pass_end": Reason("Running empty", "end of a pass, while the combine runs empty", True),
    "speed": Reason("Speed", "too slow, too fast, or a sudden change of speed", True),
    "part_swath": Reason("Part swath", "less than the least share of the swath was cut", True),
    "overlap": Reason("Overlap", "most of the ground had been harvested before"),
    "impossible": Reason("Impossible yield", "more grain than any corn crop ever gave", True),
    "far_out": Reason("Far out", "far outside the field's yields, and its neighbours do not side with it", True),
    "unlike_neighbours": Reason("Unlike its neighbours", "far from its neighbours' yields, and few side with it", True),
}
#: reasons of records whose ground was not harvested, or not by them
NOT_CUT: Final = tuple(name for name, reason in REASONS.items() if not reason.harvested)
KEPT: Final = "kept"
_NAMES: Final = ("", *REASONS)
_CODES: Final = {name: code for code, name in enumerate(_NAMES)}


def code_of(reason: str) -> int:
    """Return the number of a reason; 0 stands for a kept record."""
    return _CODES[reason]


def names_of(codes: np.ndarray) -> np.ndarray:
    """Return the reasons' names, (n,), "" where a record was kept."""
    return np.array(_NAMES, dtype=object)[codes]


def tally(codes: np.ndarray) -> pd.DataFrame:
    """Count records by reason: reason, title, points, share, words; in order, kept records last."""
    found = np.bincount(codes, minlength=len(_NAMES))
    rows = [(name, r.title, int(found[_CODES[name]]), r.words) for name, r in REASONS.items()]
    rows.append((KEPT, "Kept", int(found[0]), "used for the grain surface"))
    counts = pd.DataFrame(rows, columns=["reason", "title", "points", "words"])
    counts["share"] = counts["points"] / max(len(codes), 1)
    return counts[["reason", "title", "points", "share", "words"]]
