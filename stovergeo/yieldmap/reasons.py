"""Why a record may be removed, in the order in which cleaning asks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.core.messages import Catalog

message = Catalog("stovergeo.yieldmap")


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason; the template ``reason.NAME`` says it."""

    title: str
    harvested: bool = False  #: the ground was harvested there all the same, and is filled from its neighbors


REASONS: Final[dict[str, Reason]] = {
    "incomplete": Reason("Incomplete record"),
    "header_up": Reason("Header up"),
    "co_located": Reason("Same place"),
    "no_flow": Reason("No grain flow"),
    "moisture": Reason("Moisture", True),
    "not_recorded": Reason("Not recorded", True),
    "short_pass": Reason("Short pass", True),
    "pass_start": Reason("Filling up", True),
    "pass_end": Reason("Running empty", True),
    "speed": Reason("Speed", True),
    "part_swath": Reason("Part swath", True),
    "overlap": Reason("Overlap"),
    "impossible": Reason("Impossible yield", True),
    "far_out": Reason("Far out", True),
    "unlike_neighbors": Reason("Unlike its neighbors", True),
}
#: reasons of records whose ground was not harvested, or not by them
NOT_CUT: Final = tuple(name for name, reason in REASONS.items() if not reason.harvested)
#: reasons that only the time of the records can tell
NEED_TIME: Final = ("speed", "not_recorded")
KEPT: Final = "kept"
_NAMES: Final = ("", *REASONS)
_CODES: Final = {name: code for code, name in enumerate(_NAMES)}


def code_of(reason: str) -> int:
    """Return the number of a reason; 0 stands for a kept record."""
    return _CODES[reason]


def names_of(codes: np.ndarray) -> np.ndarray:
    """Return the reasons' names, (n,), "" where a record was kept."""
    return np.array(_NAMES, dtype=object)[codes]


def tally(codes: np.ndarray, *, timed: bool = True) -> pd.DataFrame:
    """Count records by reason: reason, title, points, share, message; in order, kept records last.

    Without a time the reasons `NEED_TIME` were not looked for, and their messages say so.
    """
    found = np.bincount(codes, minlength=len(_NAMES))
    titles = [
        *((name, r.title, int(found[_CODES[name]])) for name, r in REASONS.items()),
        (KEPT, "Kept", int(found[0])),
    ]
    counts = pd.DataFrame(titles, columns=["reason", "title", "points"])
    counts["share"] = counts["points"] / max(len(codes), 1)
    keys = ["no_time" if name in NEED_TIME and not timed else name for name in counts["reason"]]
    return counts.assign(message=[message(f"reason.{name}") for name in keys])
