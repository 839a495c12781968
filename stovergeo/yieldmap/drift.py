"""Whether a machine's readings drift or jump with time, seen where its passes touch.

Neighboring passes stand in nearly the same crop, so what separates their yields is noise, the field's gradient across
them, and what the sensor has changed between them. A drift is separated from the gradient where neighbors were cut
long apart as well as shortly after each other (headlands, lands worked in turn). Where a field is cut side by side from
one edge to the other, time and place are one, and only a trend is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from stovergeo.yieldmap.many_records import every
from stovergeo.yieldmap.outliers import MAD_TO_SD

_MOST: Final = 25_000  #: records looked at
_MIN_PAIRS: Final = 8  #: pairs of records by which two passes are compared
_MIN_PASSES: Final = 12
#: what a crop's own bends look like to `pass_variance`, as a share of its mean yield (judgment; measured on fields made
#: without any difference between passes)
_CROP_BENDS: Final = 0.01
#: share of the variance of time differences that place must leave unexplained (judgment)
_APART: Final = 0.05
#: passes on either side of a jump by which its height is taken
_AROUND: Final = 4
_EDGE: Final = 3


@dataclass(frozen=True, slots=True)
class Drift:
    """What a machine's readings did while it cut one field; natural logarithms."""

    total: float  #: change from the first to the last pass where it can be told from the field's gradient, else NaN
    error: float  #: its standard error
    trend: float  #: change of the passes' means from the first to the last pass, place and time together
    jump: float  #: largest sudden change between two neighboring passes that lasts; 0 for none
    jump_error: float  #: typical difference of neighboring passes, as a standard deviation
    jump_at: int  #: number of the record after the jump, -1 for none


def find_drift(x: np.ndarray, y: np.ndarray, yields: np.ndarray, pass_id: np.ndarray, swath_m: float) -> Drift | None:
    """Return how the readings of one machine changed on one field; None with too few passes to say anything.

    Parameters
    ----------
    x, y, yields : array, (n,)
        Kept records in driving order; yields above zero.
    pass_id : array of int, (n,)
        Never falling.
    swath_m : float
    """
    passes, of = np.unique(pass_id, return_inverse=True)
    if len(passes) < _MIN_PASSES:
        return None
    logs = np.log(yields)
    count = np.bincount(of)
    when = np.bincount(of, np.arange(len(x))) / count
    level = np.bincount(of, logs) / count
    one, other, apart, number, dx, dy = touching_passes(x, y, logs, of, swath_m)
    if len(one) < _MIN_PASSES:
        return None
    slope = np.polyfit(when, level, 1, w=np.sqrt(count))[0]
    total, error = _drift(when[other] - when[one], dx, dy, apart, number)
    jump, jump_error, at = _jump(one, other, apart, len(passes))
    first = -1 if at < 0 else int(np.searchsorted(of, at))
    span = float(np.ptp(when))
    return Drift(total * span, error * span, float(slope) * span, jump, jump_error, first)


def touching_passes(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, of: np.ndarray, swath_m: float
) -> tuple[np.ndarray, ...]:
    """Return each pair of passes that touch, how much more the later reads, by how many records, how far it lies, m.

    `of` numbers the passes from 0, in driving order.
    """
    some = every(len(x), _MOST)
    places = np.column_stack([x[some], y[some]])
    near = cKDTree(places).query_pairs(1.5 * swath_m, output_type="ndarray")
    i, j = some[near[:, 0]], some[near[:, 1]]
    i, j = np.where(of[i] < of[j], i, j), np.where(of[i] < of[j], j, i)
    two = of[i] != of[j]
    i, j = i[two], j[two]
    key, inverse, number = np.unique(
        of[i].astype(np.int64) * (of[-1] + 1) + of[j], return_inverse=True, return_counts=True
    )
    apart = values[j] - values[i]
    if len(apart):
        middle = np.median(apart)
        reach = 4 * MAD_TO_SD * np.median(abs(apart - middle)) + 1e-9
        apart = np.clip(apart, middle - reach, middle + reach)  # one wet hole must not decide
    means = [np.bincount(inverse, value, len(key)) / number for value in (apart, x[j] - x[i], y[j] - y[i])]
    enough = number >= _MIN_PAIRS
    one, other = np.divmod(key, of[-1] + 1)
    return tuple(part[enough] for part in (one, other, means[0], number, means[1], means[2]))


def pass_variance(
    x: np.ndarray, y: np.ndarray, values: np.ndarray, pass_id: np.ndarray, noise: float, swath_m: float
) -> float:
    """Return the variance that whole passes have in common, beyond the crop's waves and the noise of records.

    From how far each pass lies from the mean of the passes on either side of it: of passes that differ with variance v
    that difference has 1.5 v. Few large ones are cut down, for there the crop bends sharply; what crops without any
    difference between passes show is taken off.

    Parameters
    ----------
    x, y, values : array, (n,)
        Records in driving order.
    pass_id : array of int, (n,)
        Never falling.
    noise : float
        Variance of a single record's noise.
    swath_m : float
    """
    of = np.unique(pass_id, return_inverse=True)[1]
    one, other, apart, number, dx, dy = touching_passes(x, y, values, of, swath_m)
    # each pair seen from either pass
    mine, apart = np.append(one, other), np.append(apart, -apart)
    dx, dy, number = np.append(dx, -dx), np.append(dy, -dy), np.append(number, number)
    bent, seen = [], []
    for k in np.unique(mine):
        of_k = np.flatnonzero(mine == k)
        first = of_k[np.argmax(number[of_k])]
        across = of_k[dx[of_k] * dx[first] + dy[of_k] * dy[first] < 0]
        if len(across):
            second = across[np.argmax(number[across])]
            bent.append(0.5 * (apart[first] + apart[second]))
            seen.append(1 / number[first] + 1 / number[second])
    if len(bent) < _MIN_PASSES // 2:
        return 0.0
    reach = 3 * MAD_TO_SD * float(np.median(np.abs(bent)))
    spread = float((np.clip(bent, -reach, reach) ** 2).mean())
    between = (spread - noise * float(np.median(seen))) / 1.5
    return max(between - (_CROP_BENDS * float(values.mean())) ** 2, 0.0)


def _drift(
    later: np.ndarray, dx: np.ndarray, dy: np.ndarray, apart: np.ndarray, number: np.ndarray
) -> tuple[float, float]:
    """Return the change with each record driven, and its standard error; NaN where place explains time."""
    weight = np.sqrt(number)
    place = np.column_stack([dx, dy]) * weight[:, None]
    time = later * weight
    left = time - place @ np.linalg.lstsq(place, time, rcond=None)[0]
    if (left**2).sum() < _APART * (time**2).sum():
        return np.nan, np.inf
    design = np.column_stack([time, place])
    inverse = np.linalg.pinv(design.T @ design)
    beta = inverse @ (design.T @ (apart * weight))
    scores = design * (apart * weight - design @ beta)[:, None]
    covariance = inverse @ (scores.T @ scores) @ inverse  # robust to unequal variances (White 1980, from memory)
    return float(beta[0]), float(np.sqrt(covariance[0, 0]))


def _jump(one: np.ndarray, other: np.ndarray, apart: np.ndarray, passes: int) -> tuple[float, float, int]:
    """Return the largest lasting change between passes driven one after the other, their spread, and the pass after it.

    The first and last passes, often part swaths, are no place for one.
    """
    following = np.full(passes, np.nan)
    next_to = other == one + 1
    following[other[next_to]] = apart[next_to]
    known = following[np.isfinite(following)]
    if len(known) < _MIN_PASSES - 1:
        return 0.0, np.inf, -1
    usual = float(np.median(known))
    # a change in the middle of a pass is seen in two differences; one odd pass jumps back with the next
    both = following[:-1] + following[1:] - 2 * usual
    inner = both[_EDGE:-_EDGE]
    if not np.isfinite(inner).any():
        return 0.0, np.inf, -1
    spread = float(MAD_TO_SD * np.nanmedian(abs(inner - np.nanmedian(inner))))
    at = _EDGE + int(np.nanargmax(abs(inner)))
    jump = float(both[at])
    lasting = float(np.nansum(following[at - 1 : at + _AROUND] - usual))
    # perfectly even readings have no jump at all
    return (jump, spread, at) if jump != 0 and lasting / jump > 0.6 else (0.0, spread, -1)
