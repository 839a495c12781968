"""The single cleaning steps, as plain functions on arrays in driving order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numba import njit

from stovergeo.yieldmap.many_records import every, typical
from stovergeo.yieldmap.neighbors import Bins
from stovergeo.yieldmap.outliers import MAD_TO_SD, near_each_other, neighbor_medians, siding_neighbors, tukey_fences
from stovergeo.yieldmap.passes import Track

#: nearer than this to the record before is the same place: below what a receiver resolves
SAME_PLACE_M = 0.1
_BITS = 8  #: least bits for each record in the table of places met; each of 16 or so is rarely shared
_SAMPLE = 10_000  #: records that tell how far records usually are from their neighbors


def co_located(track: Track) -> np.ndarray:
    """Return which records stand where the machine's record before them stands, or repeat any earlier one."""
    out = np.zeros(len(track.x), np.bool_)
    _mark_standing(track.x, track.y, track.machine, out)
    # most places share no bit with any other, and most that do share no second one; only those left are compared
    some = _sharing(track.x, track.y)
    some = some[_sharing(track.y[some], track.x[some])]
    out[some] |= pd.DataFrame({"x": track.x[some], "y": track.y[some]}).duplicated().to_numpy()
    return out


def _sharing(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return the indices of places that share a bit in a table with an earlier or later one; repeated ones always do.

    A place is sent to another bit when its coordinates are handed over the other way round.
    """
    power = max(_BITS * len(one), 64).bit_length()
    met, shared = np.zeros((2, 1 << (power - 6)), np.uint64)
    found = np.empty(len(one), np.int32)
    return found[: _find_sharing(one.view(np.uint64), other.view(np.uint64), power, met, shared, found)]


@njit(cache=True, nogil=True)
def _mark_standing(x: np.ndarray, y: np.ndarray, machine: np.ndarray, out: np.ndarray) -> None:
    for i in range(1, len(x)):
        dx, dy = x[i] - x[i - 1], y[i] - y[i - 1]
        out[i] = machine[i] == machine[i - 1] and dx * dx + dy * dy < SAME_PLACE_M**2


@njit(cache=True, nogil=True)
def _sent_to(x_bits: np.uint64, y_bits: np.uint64, power: int) -> np.uint64:
    """Return the number below 2^power that a place's bits send it to."""
    odd = np.uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio: spreads neighbors far apart (Knuth)
    return ((x_bits * odd ^ y_bits) * odd) >> np.uint64(64 - power)


@njit(cache=True, nogil=True)
def _find_sharing(
    x_bits: np.ndarray, y_bits: np.ndarray, power: int, met: np.ndarray, shared: np.ndarray, some: np.ndarray
) -> int:
    """Write into `some` the records that share a bit with another; return how many there are."""
    six, low = np.uint64(6), np.uint64(63)
    for i in range(len(x_bits)):
        bit = _sent_to(x_bits[i], y_bits[i], power)
        word, mask = bit >> six, np.uint64(1) << (bit & low)
        shared[word] |= met[word] & mask
        met[word] |= mask
    found = 0
    for i in range(len(x_bits)):
        bit = _sent_to(x_bits[i], y_bits[i], power)
        if shared[bit >> six] & (np.uint64(1) << (bit & low)):
            some[found] = i
            found += 1
    return found


def short_passes(track: Track, min_records: int) -> np.ndarray:
    """Return which records belong to passes of fewer records than `min_records`."""
    records = np.diff(track.start)
    return np.repeat(records < min_records, records)


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
    max_s: float,
    settle_s: float,
    tolerance: float,
    min_passes: int = 6,
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
    max_s, settle_s : float
        Longest ramp looked for, and the time further in that is compared with, s.
    tolerance : float
        Share of the yield.
    """
    first, last = _usable_bounds(track, usable)
    interval = typical(track.seconds)
    most = max(2, round(max_s / interval))
    inward = max(3, round(settle_s / interval))
    long_enough = last - first >= 2 * most + inward
    first, last = first[long_enough], last[long_enough]
    if len(first) < min_passes:
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
    first, last = track.start[:-1].copy(), track.start[1:].copy()
    _shorten(usable, first, last)
    return first, last


@njit(cache=True, nogil=True)
def _shorten(usable: np.ndarray, first: np.ndarray, last: np.ndarray) -> None:
    """Draw both ends of each range in to the outermost usable records."""
    for k in range(len(first)):
        while first[k] < last[k] and not usable[first[k]]:
            first[k] += 1
        while first[k] < last[k] and not usable[last[k] - 1]:
            last[k] -= 1


def in_ramp(track: Track, ramp: Ramp, usable: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which records lie in the ramp at the start, and at the end, of the usable part of their pass."""
    first, last = _usable_bounds(track, usable)
    at_start, at_end = np.zeros(len(usable), bool), np.zeros(len(usable), bool)
    _mark_ends(first, last, ramp.start, ramp.end, at_start, at_end)
    return at_start, at_end


@njit(cache=True, nogil=True)
def _mark_ends(
    first: np.ndarray, last: np.ndarray, from_start: int, from_end: int, at_start: np.ndarray, at_end: np.ndarray
) -> None:
    for k in range(len(first)):
        at_start[first[k] : min(first[k] + from_start, last[k])] = True
        at_end[max(last[k] - from_end, first[k]) : last[k]] = True


def bad_speed(track: Track, least: float, most: float, max_change: float) -> np.ndarray:
    """Return which records are too slow, too fast, or follow a sudden change of speed.

    Where the time of a record is not known there is no speed, and nothing is flagged.
    """
    out = np.empty(len(track.length), np.bool_)
    seconds = np.where(track.timed, track.seconds, np.nan)
    _mark_speed(track.length, seconds, track.pass_id, least, most, max_change, out)
    return out


@njit(cache=True, nogil=True)
def _mark_speed(
    length: np.ndarray, seconds: np.ndarray, pass_id: np.ndarray,
    least: float, most: float, max_change: float, out: np.ndarray,
) -> None:  # fmt: skip
    before = 0.0
    for i in range(len(length)):
        speed = length[i] / seconds[i]
        out[i] = speed < least or speed > most
        if i > 0 and pass_id[i] == pass_id[i - 1] and abs(speed - before) > max_change * before:
            out[i] = True
        before = speed


def outliers(
    bins: Bins,
    x: np.ndarray,
    y: np.ndarray,
    yields: np.ndarray,
    pass_id: np.ndarray,
    reach: float,
    limits: tuple[float, float, float],
) -> tuple[np.ndarray, np.ndarray]:
    """Return the indices of global and of local outliers among records with a yield.

    Global: beyond Tukey's fences (`tukey`). Local: further than `hampel` scaled median absolute
    deviations from the neighbors' median. Neither counts where at least the share
    `siding` of the neighbors (and two of them) has about the record's yield.

    Parameters
    ----------
    bins : Bins
        Of the places, in cells of half a reach.
    x, y, yields, pass_id : array, (n,)
        In driving order; NaN for yields that do not count.
    reach : float
        How far neighbors lie at most, m.
    limits : (float, float, float)
        `tukey`, `hampel` and `siding`.
    """
    tukey, hampel, siding = limits
    some = every(len(yields))[1:]
    along = (yields[some] - yields[some - 1])[pass_id[some] == pass_id[some - 1]]
    # record noise from first differences along passes: var(a - b) = 2 var
    noise = MAD_TO_SD * typical(abs(along[np.isfinite(along)]), 0.0) / np.sqrt(2)
    tolerance = 2 * np.sqrt(2) * noise
    near = near_each_other(bins, x, y, yields, reach)
    count, _, alone = siding_neighbors(near, tolerance, siding)
    known = every(len(yields))
    known = known[np.isfinite(near.values[known])]
    low, high = tukey_fences(near.values[known], tukey)
    far_out = alone & ((near.values < low) | (near.values > high))
    # how far records usually are from their neighbors' median: estimated from a sample of all
    sample = every(len(yields), _SAMPLE)
    sample = sample[np.isfinite(near.values[sample])]
    asked = np.flatnonzero(alone & ~far_out & (count >= 4))
    median, spread = neighbor_medians(near, np.append(sample, asked))
    away = near.values[sample] - median[: len(sample)]
    away = away[np.isfinite(away)]
    floor = MAD_TO_SD * typical(abs(away - typical(away)), 0.0)
    median, spread = median[len(sample) :], spread[len(sample) :]
    unlike = asked[abs(near.values[asked] - median) > hampel * np.maximum(spread, floor)]
    return near.bins.member[np.flatnonzero(far_out)], near.bins.member[unlike]
