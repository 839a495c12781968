"""How far a run has come: what is being done, and the share of its usual time that lies behind."""

from __future__ import annotations

from collections.abc import Callable
from itertools import accumulate
from typing import Final

#: told what is being done and the share of the run done before it, 0 to 1
Step = Callable[[str, float], None]

#: step -> what it is called, and its share of a run's time (measured on the sample farm, kernels compiled)
STEPS: Final = {
    "layers": ("Reading the plan and its layers", 0.07),
    "yields": ("Making the grain map", 0.08),
    "terrain": ("Slope, water and the season's sun", 0.07),
    "removable": ("What must stay on the ground", 0.03),
    "offers": ("Drawing zones, and the odds that each limit holds", 0.16),
    "sites": ("Finding stack yards", 0.06),
    "choice": ("Choosing zones, methods, yards and wraps together", 0.16),
    "counts": ("Counting bales, net and nutrients", 0.10),
    "files": ("Writing map and files", 0.27),
}
_DONE: Final = dict(zip(STEPS, accumulate((share for _, share in STEPS.values()), initial=0.0), strict=False))


def begin(name: str) -> tuple[str, float]:
    """Return what a step is called, and the share of the run done before it."""
    return STEPS[name][0], _DONE[name]


def part_of(step: Step, start: float, end: float) -> Step:
    """Return a step that counts a whole run as a part of a longer one."""
    return lambda what, done: step(what, start + done * (end - start))


def quiet(what: str, done: float) -> None:
    """Take note of no step: the default for callers that show no progress."""
