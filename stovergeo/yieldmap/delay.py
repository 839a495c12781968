"""Flow delay: how long grain takes from the header to the sensor, found from the data.

Two neighboring passes driven in opposite directions see the same ground with the
delay's displacement in opposite directions, so they agree best when each record is given
the flow measured one delay later (data segmentation by opposite passes: Chung, Sudduth
and Drummond 2002, Trans. ASAE 45:915-926; cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit

from stovergeo.core.messages import Catalog, Message
from stovergeo.yieldmap.many_records import in_threads, typical
from stovergeo.yieldmap.neighbors import STRETCH, Pairs
from stovergeo.yieldmap.outliers import MAD_TO_SD
from stovergeo.yieldmap.passes import Track

message = Catalog("stovergeo.yieldmap")
#: pairs beyond this many tell nothing more
_MAX_PAIRS = 10_000
_PHASES = 64  #: parts of a step of delays to which a record's time is rounded


@dataclass(frozen=True, slots=True)
class Delay:
    """What was found for one machine."""

    seconds: float  #: best delay; 0 where none was found
    applied: bool
    gain: float  #: share of the disagreement between opposite passes it removes on passes not used to find it
    pairs: int
    message: Message


@dataclass(frozen=True, slots=True)
class DelaySearch:
    """How delays are looked for; the numbers come from the handbook."""

    min_s: float
    max_s: float
    step_s: float
    min_gain: float
    min_errors: float  #: the gain must be this many of its standard errors
    min_pairs: float
    window_s: float  #: standard deviation of the window through which series are read


class Shifted(NamedTuple):
    """What belongs to each record once the delay is known; arrays (n,) in driving order."""

    grain: np.ndarray
    area: np.ndarray
    ahead_m: np.ndarray  #: how much further on that ground lies; less than a record's way
    missing: np.ndarray  #: bool: the pass's recording had stopped (or not begun, for a negative delay)


def shifted(track: Track, here: np.ndarray, delay_s: float, grain: np.ndarray, area: np.ndarray) -> Shifted:
    """Give each record the grain that was measured a delay later, and the ground on which that stood.

    The grain is taken over from a whole record of the same pass, so that nothing is averaged; what is left of the
    delay, less than a record, moves the ground instead: part of it is the record's own and part the next one's (or
    that of the one before); at the end of a pass the record's own stands for both.

    Parameters
    ----------
    track : Track
    here : array of bool, (n,)
        Records of the machine; all others stay as they are.
    delay_s : float
    grain, area : array, (n,)
        Of each record, as measured.
    """
    n = len(grain)
    out = Shifted(np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.bool_))
    records = round(delay_s / typical(track.seconds))
    _shift(track.pass_id, track.clock, track.seconds, track.length, here, records, delay_s, grain, area, out)
    return out


@njit(cache=True, nogil=True)
def _shift(
    pass_id: np.ndarray, clock: np.ndarray, seconds: np.ndarray, length: np.ndarray, here: np.ndarray,
    records: int, delay_s: float, grain: np.ndarray, area: np.ndarray, out: Shifted,
) -> None:  # fmt: skip
    n = len(grain)
    for i in range(n):
        out.grain[i], out.area[i], out.ahead_m[i], out.missing[i] = grain[i], area[i], 0.0, False
        if not here[i]:
            continue
        j = i + records
        if not (0 <= j < n and pass_id[j] == pass_id[i]):
            out.missing[i] = True
            continue
        out.grain[i] = grain[j] / seconds[j] * seconds[i]
        later_s = clock[j] - delay_s - clock[i]
        k = i + int(np.sign(later_s))
        if not (0 <= k < n and pass_id[k] == pass_id[i]):
            k = i
        share = min(abs(later_s) / seconds[i], 1.0)
        out.area[i] = (1 - share) * area[i] + share * area[k] * seconds[i] / seconds[k]
        out.ahead_m[i] = later_s * length[i] / seconds[i]


def find_delay(track: Track, flow: np.ndarray, ground: np.ndarray, pairs: Pairs, search: DelaySearch) -> Delay:
    """Find the delay of one machine from its opposite passes.

    The candidates are judged by the mean Huber loss of the differences of paired records,
    linear beyond two standard deviations so that a few wild records do not decide. Every candidate reads
    the series through one Gaussian window of a record's time or more: it quiets the noise
    of single records, and plain interpolation would smooth most, and so agree best, half
    way between records.

    Parameters
    ----------
    track : Track
        With records at the middle of their ground: a delay of zero then means that a
        record's grain grew on just that ground. How far the receiver sits behind the
        header counts as (negative) delay.
    flow : array, (n,)
        Dry grain measured in a second, in driving order; NaN where it is not to be used.
    ground : array, (n,)
        Ground harvested in a second. Grain measured a delay later belongs to the ground of
        now: dividing both before they are shifted would mix a change of speed into the yield.
    pairs : Pairs
        Pairs of this machine only.
    search : DelaySearch

    Returns
    -------
    Delay
        Applied only where it surely helps on the pairs of passes that were not used to
        find it, in both halves of a split; the error of the gain is that of sums over
        stretches of pass.
    """
    pairs = pairs.where(pairs.opposite)
    if len(pairs.one) > _MAX_PAIRS:
        evenly = np.zeros(len(pairs.one), bool)
        evenly[np.linspace(0, len(pairs.one) - 1, _MAX_PAIRS).astype(int)] = True
        pairs = pairs.where(evenly)
    if len(pairs.one) < search.min_pairs:
        return Delay(0.0, False, 0.0, len(pairs.one), message("delay.few_passes"))
    delays = np.arange(search.min_s, search.max_s + search.step_s / 2, search.step_s)
    window_s = max(search.window_s, typical(track.seconds))
    if window_s > search.max_s - search.min_s:
        return Delay(0.0, False, 0.0, len(pairs.one), message("delay.long_records", seconds=window_s))
    squares = _squared_differences(track, flow, ground, pairs, delays, window_s)
    known = np.isfinite(squares).all(axis=0)
    if known.sum() < search.min_pairs:
        return Delay(0.0, False, 0.0, int(known.sum()), message("delay.short_passes"))
    squares = squares[:, known]
    at_zero = int(np.argmin(abs(delays)))
    cost = _huber(np.sqrt(squares), 2 * MAD_TO_SD * float(np.median(np.sqrt(squares[at_zero]))))
    best = _lowest(delays, cost.mean(axis=1))
    # halves of whole pass pairs, so that neighbors along a pass do not sit in both
    low_pass = np.minimum(track.pass_id[pairs.one], track.pass_id[pairs.other])[known]
    half = (low_pass // 2) % 2 == 0
    stretches = pairs.one[known] // STRETCH
    gains, found, sure = [], [], []
    for chosen in (half, ~half):
        if chosen.sum() < search.min_pairs / 2:
            return Delay(best, False, 0.0, int(known.sum()), message("delay.unconfirmed"))
        delay = _lowest(delays, cost[:, chosen].mean(axis=1))
        there = int(np.argmin(abs(delays - delay)))
        other = ~chosen
        saved = cost[at_zero, other] - cost[there, other]
        before = cost[at_zero, other].sum()
        gains.append(saved.sum() / before if before > 0 else 0.0)  # a field without any difference shows no delay
        stretch = np.bincount(stretches[other], saved)
        sure.append(stretch.sum() > search.min_errors * np.sqrt((stretch**2).sum()))
        found.append(delay)
    gain = float(min(gains))
    if gain < search.min_gain or not all(sure):
        return Delay(best, False, gain, int(known.sum()), message("delay.unsure", seconds=best))
    if abs(found[0] - found[1]) > max(1.0, 0.5 * abs(best)):
        apart = message("delay.halves_differ", one=found[0], other=found[1])
        return Delay(best, False, gain, int(known.sum()), apart)
    return Delay(best, True, gain, int(known.sum()), message("delay.found", seconds=best, gain=gain))


def _squared_differences(
    track: Track, flow: np.ndarray, ground: np.ndarray, pairs: Pairs, delays: np.ndarray, window_s: float
) -> np.ndarray:
    """Return (delays, pairs) squared differences; NaN where either pass is not recorded then."""
    first, last = track.start[:-1], track.start[1:]
    # the foot of `one` on the other, opposite pass lies `along` ahead of `other` in its own direction
    speed = track.length[pairs.other] / np.maximum(track.seconds[pairs.other], 1e-6)
    later = pairs.along / np.maximum(speed, 1e-6)
    out = np.full((len(delays), len(pairs.one)), np.nan)
    args = (flow, ground, track.clock, track.pass_id, first, last)
    step_s = float(delays[1] - delays[0]) if len(delays) > 1 else 1.0
    bell = _bell(step_s, window_s)

    def work(low: int, high: int) -> None:
        part = (pairs.one[low:high], pairs.other[low:high], later[low:high])
        _differences(*args, *part, float(delays[0]), step_s, window_s, bell, out[:, low:high])

    in_threads(work, len(pairs.one), least=2_000)
    return out


def _huber(away: np.ndarray, cut: float) -> np.ndarray:
    """Square up to `cut`, straight beyond (Huber 1964, Ann. Math. Stat. 35:73-101)."""
    return np.where(away <= cut, away**2, 2 * cut * away - cut**2)


def _lowest(delays: np.ndarray, cost: np.ndarray, around_s: float = 3.0) -> float:
    """Return the foot of the parabola fitted to the cost within `around_s` of its lowest value."""
    k = int(np.argmin(cost))
    near = abs(delays - delays[k]) <= around_s
    if near.sum() < 3:
        return float(delays[k])
    bend, tilt, _ = np.polyfit(delays[near] - delays[k], cost[near], 2)
    foot = -0.5 * tilt / bend if bend > 0 else 0.0
    return float(np.clip(delays[k] + np.clip(foot, -around_s, around_s), delays[0], delays[-1]))


def _bell(step: float, width: float) -> np.ndarray:
    """Return Gaussian weights (phases, steps) at times `step` apart from three widths before a record to three after.

    The phase is how far the first of these times lies into its step.
    """
    steps = int(np.ceil(6 * width / step))
    at = (np.arange(steps) + (np.arange(_PHASES)[:, None] + 0.5) / _PHASES) * step / width - 3
    return np.where(at < 3, np.exp(-0.5 * at**2), 0.0)


@njit(cache=True, nogil=True)
def _window_means(
    values: np.ndarray, clock: np.ndarray, first: int, last: int, near: int, t: float, step: float, width: float,
    bell: np.ndarray, out: np.ndarray, weights: np.ndarray,
) -> None:  # fmt: skip
    """Gaussian-weighted means around the times t, t + step, ..., searched from record `near` of the pass first..last.

    NaN at times when the pass was not recorded.
    """
    many = len(out)
    out[:] = 0.0
    weights[:] = 0.0
    k = near
    while k > first and clock[k - 1] > t - 3 * width:
        k -= 1
    while k < last and clock[k] <= t - 3 * width:
        k += 1
    for j in range(k, last):
        if clock[j] >= t + (many - 1) * step + 3 * width:
            break
        if not np.isfinite(values[j]):
            continue
        d = max(int(np.floor((clock[j] - 3 * width - t) / step)) + 1, 0)
        into = (t + d * step - clock[j] + 3 * width) / step
        whole = int(into)
        share = bell[int((into - whole) * len(bell)), whole:]
        count = min(many - d, len(share))
        if count > 0:
            sums, counts = out[d : d + count], weights[d : d + count]
            for i in range(count):
                sums[i] += share[i] * values[j]
                counts[i] += share[i]
    for d in range(many):
        at = t + d * step
        recorded = clock[first] <= at <= clock[last - 1] and weights[d] > 0
        out[d] = out[d] / weights[d] if recorded else np.nan


@njit(cache=True, nogil=True)
def _differences(
    flow: np.ndarray, ground: np.ndarray, clock: np.ndarray, pass_id: np.ndarray, first: np.ndarray, last: np.ndarray,
    one: np.ndarray, other: np.ndarray, later: np.ndarray, delay: float, step: float, width: float, bell: np.ndarray,
    out: np.ndarray,
) -> None:  # fmt: skip
    here, there, weights = np.empty(len(out)), np.empty(len(out)), np.empty(len(out))
    cut_here, cut_there = np.empty(1), np.empty(1)
    for q in range(len(one)):
        i, j = one[q], other[q]
        a, b = pass_id[i], pass_id[j]
        t, u = clock[i], clock[j] + later[q]
        _window_means(ground, clock, first[a], last[a], i, t, step, width, bell, cut_here, weights[:1])
        _window_means(ground, clock, first[b], last[b], j, u, step, width, bell, cut_there, weights[:1])
        _window_means(flow, clock, first[a], last[a], i, t + delay, step, width, bell, here, weights)
        _window_means(flow, clock, first[b], last[b], j, u + delay, step, width, bell, there, weights)
        for d in range(len(out)):
            out[d, q] = (here[d] / cut_here[0] - there[d] / cut_there[0]) ** 2
