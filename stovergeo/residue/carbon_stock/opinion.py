"""What the models of soil carbon say beside the table: that more must stay, less, or nothing clear.

The models never move the limit. Their lowest and highest answers stand for them; a middle would be the answer of one of
them.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np

from stovergeo.residue.carbon_stock.goal import lognormal
from stovergeo.residue.production import Amount


class Opinion(StrEnum):
    """What the models say of a requirement of the table."""

    MORE = "more"  #: all of them ask for more than the table's spread reaches
    LESS = "less"  #: none of them asks for as much as the table's spread begins with
    UNCLEAR = "no clear difference"
    OUTSIDE = "outside the models"  #: wet or organic ground, or a stock that no crop here could hold
    UNKNOWN = "not known"


def range_of(retentions_mg_ha: Amount) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest and highest answer along the first axis; NaN where any is not known."""
    answers = np.asarray(retentions_mg_ha, dtype=float)
    return answers.min(axis=0), answers.max(axis=0)


def opinion(lowest_mg_ha: Amount, highest_mg_ha: Amount, cell_mg_ha: Amount, sd_ln: Amount, outside: Amount) -> Any:
    """Return what the models say, an `Opinion` for each place.

    Parameters
    ----------
    lowest_mg_ha, highest_mg_ha : float or array
        As `range_of` returns them.
    cell_mg_ha : float or array
        The table's requirement.
    sd_ln : float or array
        Standard deviation of the logarithm of its spread; nine in ten and one in ten are the marks.
    outside : bool or array
        Ground of which the models say nothing.
    """
    more = lowest_mg_ha > lognormal(0.9, cell_mg_ha, sd_ln)
    less = highest_mg_ha < lognormal(0.1, cell_mg_ha, sd_ln)
    unknown = np.isnan(np.asarray(lowest_mg_ha) + highest_mg_ha + cell_mg_ha)
    said = [Opinion.OUTSIDE, Opinion.UNKNOWN, Opinion.MORE, Opinion.LESS]
    outside, unknown, more, less = np.broadcast_arrays(outside, unknown, more, less)
    return np.select([outside, unknown, more, less], said, default=Opinion.UNCLEAR)
