"""A sensor that stands still: the same reading over hundreds of records of a column that otherwise moves."""

from __future__ import annotations

from typing import Final

import numpy as np

from stovergeo.core.errors import Report

# Judgement: at a record a second or two, five minutes and more of exactly one number; a monitor that holds its
# moisture between two samples, or a machine at one speed whose way is written in whole feet, repeats for less
LONG_RUN: Final = 300
#: a reading that repeats for long everywhere is coarse, not stuck: so many times the run that is usual
MUCH_LONGER: Final = 10.0
#: share of runs that counts as usual
_USUAL: Final = 0.99
_MIN_VALUES: Final = 10


def report_frozen(values: np.ndarray, where: str, report: Report, zeros: bool = False) -> None:
    """Report records in which a measured column holds one value for far longer than it does elsewhere.

    Parameters
    ----------
    values : array, shape (records,)
        In the order recorded, in any unit; gaps do not count.
    zeros : bool
        Whether zeros count: grain that does not flow for so long is a fault, a way of nothing is a machine that stands.
    """
    known = values[np.isfinite(values) & (zeros | (values != 0))]
    if len(known) < LONG_RUN:
        return
    starts = np.flatnonzero(np.diff(known, prepend=np.nan) != 0)
    lengths = np.diff(starts, append=len(known))
    if len(np.unique(known)) < _MIN_VALUES:  # one width, one duration: nothing that moves
        return
    usual = float(np.quantile(lengths, _USUAL))
    long = (lengths >= LONG_RUN) & (lengths > MUCH_LONGER * usual)
    if long.any():
        count, value = int(lengths[long].sum()), known[starts[long][0]]
        said = f"{count:,} of {len(values):,} records hold one number for {int(lengths[long].max()):,} records on end"
        report.add("points.stuck", where, f"{said} ({value:.4g}).")
