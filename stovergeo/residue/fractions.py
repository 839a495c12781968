"""What the plant is made of, and what a cut at some height leaves standing.

A cut height is a share x of the plant's height, 0 at the ground and 1 at the tip.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

#: parts of the stover, in the order they are listed everywhere
PARTS: Final = ("stalk", "leaf", "cob", "husk")

# Share of the stalk's mass below a share of its height: inverted from 46, 72 and 100 % of
# stover collected with the top half, the top three quarters and the whole stalk
# (Biomass & Bioenergy 31:576-584, 2007), with 21 % leaf spread evenly and the ear always taken.
_CUT: Final = (0.0, 0.25, 0.5, 1.0)
_STALK_BELOW: Final = (0.0, 0.40625, 0.77679, 1.0)


def stalk_below(cut: ArrayLike) -> np.ndarray:
    """Return the share of the stalk's mass that stands below a cut, straight between the measured heights."""
    return np.interp(np.asarray(cut, dtype=float), _CUT, _STALK_BELOW)


def reach(cut: float) -> Mapping[str, float]:
    """Return the share of each part that lies above a cut; cob and husk hang on the ear and are always above."""
    return {"stalk": 1 - float(stalk_below(cut)), "leaf": 1 - cut, "cob": 1.0, "husk": 1.0}
