"""The single cleaning steps, as plain functions on arrays in driving order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from stovergeo.yieldmap.outliers import MAD_TO_SD, near_each_other, neighbour_medians, siding_neighbours, tukey_fences
from stovergeo.yieldmap.passes import Track
from stovergeo.yieldmap.usual import every, usual

#: nearer than this to the record before is the same place: below what a receiver resolves
SAME_PLACE_M = 0.1
_SAMPLE = 20_000  #: records that tell how far records usually are from their neighbours


def co_located(track: Track) -> np.ndarray:
    """Return which records stand where the machine's record before them stands, or repeat any earlier one."""
    out = np.zeros(len(track.x), np.bool_)
    power = max(2 * len(out), 2).bit_length()
    met = np.full(1 << power, -1, np.int32)
    bits = track.x.view(np.uint64), track.y.view(np.uint64)
    _mark_repeated(track.x, track.y, *bits, track.machine, power, met, out)
    return out


@njit(cache=True, nogil=True)
def _mark_repeated(
    x: np.ndarray, y: np.ndarray, x_bits: np.ndarray, y_bits: np.ndarray, machine: np.ndarray, power: int,
    met: np.ndarray, out: np.ndarray,
) -> None:  # fmt: skip
    """Mark places met before, by a table of 2^power places, each in the first free slot from where its bits send it."""
    last = len(met) - 1
    odd = np.uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio: spreads neighbours far apart (Knuth)
    for i in range(len(x)):
        if i > 0 and machine[i] == machine[i - 1]:
            dx, dy = x[i] - x[i - 1], y[i] - y[i - 1]
            out[i] = dx * dx + dy * dy < SAME_PLACE_M**2
        slot = np.int64(((x_bits[i] * odd ^ y_bits[i]) * odd) >> np.uint64(64 - power))
        while met[slot] >= 0 and (x[met[slot]] != x[i] or y[met[slot]] != y[i]):
            slot = (slot + 1) & last
        if met[slot] >= 0:
            out[i] = True
        else:
            met[slot] = i


def short_passes(track: Track, least_records: int) -> np.ndarray:
    """Return which records belong to passes of fewer records than `least_records`."""
    return np.bincount(track.pass_id)[track.pass_id] < least_records


@dataclass(frozen=True, slots=True)
class Ramp:
    """How many records at the ends of a pass are not to be trusted."""

    start: int
    end: int
    passes: int  #: passes from which it was found


def pass_ramp(
    track: Track,
    yields: np.ndarray,
    usable: np.ndarray,
    most_s: float,
    settle_s: float,
    tolerance: float,
    least_passes: int = 6,
) -> Ramp:
    """Find how long yields at the ends of passes differ from those just further in.

    For the k-th record from an end, the median over all passes of its yield relative to
    the median of the same pass's records in the next `settle_s`. Records count as ramp
    while that median is off by more than `tolerance` (or 2.5 of its standard errors where
    that is more), counted from the end without a break. The comparison reaches only a few
    lengths inward, so that a field that yields less towards its edge is not taken for a ramp.

    Parameters
    ----------
    yields : array, (n,)
        Mg/ha in driving order.
    usable : array of bool, (n,)
        Records to use, of one machine.
    most_s, settle_s : float
        Longest ramp looked for, and the time further in that is compared with, s.
    tolerance : float
        Share of the yield.
    """
    first, last = _usable_bounds(track, usable)
    interval = usual(track.seconds)
    most = max(2, round(most_s / interval))
    inward = max(3, round(settle_s / interval))
    long_enough = last - first >= 2 * most + inward
    first, last = first[long_enough], last[long_enough]
    if len(first) < least_passes:
        return Ramp(0, 0, len(first))
    known = np.where(usable, yields, np.nan)
    ramps = []
    for anchor, step in ((first, 1), (last - 1, -1)):
        window = known[anchor[:, None] + step * np.arange(most + inward)]
        ramps.append(_ramp_length(window, most, inward, tolerance))
    return Ramp(ramps[0], ramps[1], len(first))


def _ramp_length(window: np.ndarray, most: int, inward: int, tolerance: float) -> int:
    for k in range(most):
        further = window[:, k + 1 : k + 1 + inward]
        full = np.isfinite(window[:, k]) & np.isfinite(further).all(axis=1)
        if full.sum() < 3:
            return k
        ratio = window[full, k] / np.median(further[full], axis=1)
        middle = np.median(ratio)
        # standard error of a median of normal values: sqrt(pi / 2) sd / sqrt(n)
        error = np.sqrt(np.pi / 2) * MAD_TO_SD * np.median(abs(ratio - middle)) / np.sqrt(len(ratio))
        if abs(middle - 1) <= max(tolerance, 2.5 * error):
            return k
    return most


def _usable_bounds(track: Track, usable: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first and one past the last usable record of each pass; an empty range where there is none."""
    n = len(usable)
    if n == 0:
        return track.bounds()
    starts, _ = track.bounds()
    at = np.arange(n)
    first = np.minimum.reduceat(np.where(usable, at, n), starts)
    last = np.maximum.reduceat(np.where(usable, at, -1), starts) + 1
    return first, np.maximum(last, first)


def in_ramp(track: Track, ramp: Ramp, usable: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which records lie in the ramp at the start, and at the end, of the usable part of their pass."""
    first, last = _usable_bounds(track, usable)
    at = np.arange(len(track.pass_id))
    from_start = at - first[track.pass_id]
    from_end = last[track.pass_id] - 1 - at
    return from_start < ramp.start, from_end < ramp.end


def bad_speed(track: Track, least: float, most: float, most_change: float) -> np.ndarray:
    """Return which records are too slow, too fast, or follow a sudden change of speed.

    Without a recorded time per record there is no speed, and nothing is flagged.
    """
    speed = track.length / track.seconds
    same = np.diff(track.pass_id, prepend=-1) == 0
    before = np.roll(speed, 1)
    jump = same & (abs(speed - before) > most_change * np.maximum(before, 1e-9))
    return (speed < least) | (speed > most) | jump


def outliers(
    x: np.ndarray,
    y: np.ndarray,
    yields: np.ndarray,
    pass_id: np.ndarray,
    reach: float,
    tukey: float,
    hampel: float,
    siding: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return global and local outliers among kept records.

    Global: beyond Tukey's fences. Local: further than `hampel` scaled median absolute
    deviations from the neighbours' median. Neither counts where at least the share
    `siding` of the neighbours (and two of them) has about the record's yield.
    """
    some = every(len(yields))[1:]
    along = (yields[some] - yields[some - 1])[pass_id[some] == pass_id[some - 1]]
    # record noise from first differences along passes: var(a - b) = 2 var
    noise = MAD_TO_SD * usual(abs(along), 0.0) / np.sqrt(2)
    tolerance = 2 * np.sqrt(2) * noise
    near = near_each_other(x, y, yields, reach)
    count, agree = siding_neighbours(near, tolerance, siding)
    alone = agree < np.maximum(2, siding * count)
    low, high = tukey_fences(yields[every(len(yields))], tukey)
    far_out = alone & ((yields < low) | (yields > high))
    # how far records usually are from their neighbours' median: told from a sample of all
    sample = every(len(x), _SAMPLE)
    asked = np.flatnonzero(alone & ~far_out & (count >= 4))
    median, spread = neighbour_medians(near, np.append(sample, asked))
    away = yields[sample] - median[: len(sample)]
    away = away[np.isfinite(away)]
    floor = MAD_TO_SD * usual(abs(away - usual(away)), 0.0)
    median, spread = median[len(sample) :], spread[len(sample) :]
    unlike = np.zeros(len(x), bool)
    unlike[asked] = abs(yields[asked] - median) > hampel * np.maximum(spread, floor)
    return far_out, unlike
