"""How far the grain surface may be from the truth, cell by cell, learned from the records.

Near the records the error is an unbiased estimate of risk: squared residuals hold the
surface's own error plus the noise of a record, less what the surface took over from that
record (Stein 1981, Ann. Stat. 9:1135-1151; Mallows 1973, Technometrics 15:661-675).
Noise is separated from crop by differences along passes, and the surface's response to single
records by feeding it random signs (Ramani, Blu and Unser 2008, IEEE Trans. Image Proc.
17:1540-1554). Away from the records, what blocked cross-validation finds at each distance
is added. All cited from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numba import njit

from stovergeo.yieldmap.levels import Along, Field, Level, Records, fit, make_levels, row_at
from stovergeo.yieldmap.many_records import every, side_by_side

#: optimal difference sequence of order 4 (Hall, Kay & Titterington 1990, Biometrika 77:521-528,
#: table 1; from memory, checked by its sum of 0 and sum of squares of 1)
DIFFERENCES = (0.2708, -0.0142, 0.6909, -0.4858, -0.4617)
#: share of the variance between passes that is added at a distance from the nearest record, in swaths. At the edge of
#: a pass the surface takes half of the pass beside it; of a pass without records it knows nothing but its neighbors
#: (judgment, set so that the stated band holds on made fields, `tests/yieldmap/test_passes_apart.py`)
_PASS_AT: Final = (0.0, 0.5, 0.6, 1.0)
_PASS_SHARE: Final = (0.0, 0.6, 1.4, 1.9)
_TINY = 1e-12
_LOCAL = 250_000  #: records from which means, local and of all, are estimated


class ErrorAlong(NamedTuple):
    """A certainty made ready to be read along rows of a grid, by compiled loops; see `Certainty`."""

    variance: Along
    gap_m: np.ndarray
    gap_variance: np.ndarray


@dataclass(frozen=True, slots=True)
class Certainty:
    """The parts of the error; variances in (Mg/ha)²."""

    variance: Field  #: local variance of the surface's error near records
    noise_sd: float  #: of a record, mean over the field, Mg/ha
    gap_m: np.ndarray  #: distances from the nearest record ...
    gap_variance: np.ndarray  #: ... and the variance to be added there

    def along(self, x: np.ndarray) -> ErrorAlong:
        """Return the error ready for rows of a grid whose cells have their middles at x."""
        return ErrorAlong(self.variance.along(x), self.gap_m, self.gap_variance)


@njit(cache=True, nogil=True)
def error_row(along: ErrorAlong, y: float, distance: np.ndarray, line: np.ndarray, out: np.ndarray) -> None:
    """Write the standard error along the row at y; `line` is room for the lattice's row."""
    row_at(along.variance, y, line, out)
    gap, added = along.gap_m, along.gap_variance
    for c in range(len(out)):
        variance, far = out[c], distance[c]
        if far > gap[0]:
            k = 1
            while k < len(gap) and gap[k] < far:
                k += 1
            share = (far - gap[k - 1]) / (gap[k] - gap[k - 1]) if k < len(gap) else 0.0
            variance += added[k - 1] + share * (added[min(k, len(gap) - 1)] - added[k - 1])
        out[c] = np.sqrt(variance)


def pass_noise(values: np.ndarray, pass_id: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Return squared differences along passes, each an unbiased estimate of the noise variance.

    Parameters
    ----------
    values : array, (n,)
        In driving order.
    pass_id : array of int, (n,)
    at : array of int, (m,)
        Indices of the records around which to take them.

    Returns
    -------
    array, (m,)
        NaN at the ends of passes.
    """
    out = np.empty(len(at))
    _square_differences(values, pass_id, np.array(DIFFERENCES), at, out)
    return out


@njit(cache=True, nogil=True)
def _square_differences(
    values: np.ndarray, pass_id: np.ndarray, weights: np.ndarray, at: np.ndarray, out: np.ndarray
) -> None:
    span = len(weights)
    for m in range(len(at)):
        first = at[m] - span // 2
        last = first + span - 1
        if first < 0 or last >= len(values) or pass_id[first] != pass_id[last]:
            out[m] = np.nan
            continue
        total = 0.0
        for k in range(span):
            total += weights[k] * values[first + k]
        out[m] = total * total


@dataclass(frozen=True, slots=True)
class Response:
    """How a fit responds to its records."""

    own: float  #: mean share of a record that the surface takes over from it
    spread: np.ndarray  #: (k,) share of a record's variance that reaches the surface, at some records
    some: np.ndarray  #: indices of these
    seen: float  #: noise variance that is seen in the residuals where it is one


def respond(
    records: Records, levels: list[Level], shrink: Sequence[float], pass_id: np.ndarray, probes: int = 3
) -> Response:
    """Find how a fit responds to its records, from random signs sent through it.

    Parameters
    ----------
    records, levels, shrink
        Those of the fit.
    pass_id : array of int, (n,)
        Pass of each record; records in driving order.
    probes : int
        How many times signs are drawn.
    """
    rng = np.random.default_rng(1)
    n = len(records.x)
    some = every(n, _LOCAL)
    own, spread, seen = 0.0, np.zeros(len(some)), 0.0
    for _ in range(probes):
        signs = np.where(rng.integers(0, 2, n, np.int8), 1.0, -1.0)
        _, left = fit(records, levels, signs, shrink, mean=0.0)
        # the mean of signs * (signs - left); `@` would wake threads of its own, which take a processor from ours
        own += (1 - float(np.einsum("i,i", signs, left)) / n) / probes
        spread += (signs[some] - left[some]) ** 2 / probes
        along = pass_noise(left, pass_id, some)
        along = along[np.isfinite(along)]  # nothing where no pass is long enough, or nobody numbered the passes
        seen += float(along.mean()) / probes if len(along) else 0.0
    return Response(own, spread, some, seen)


def learn_certainty(
    records: Records,
    response: Response,
    residual: np.ndarray,
    pass_id: np.ndarray,
    held_out: tuple[np.ndarray, np.ndarray],
    window_m: float,
    swath_m: float,
    between_passes: float,
) -> Certainty:
    """Learn the parts of the error of a fitted field.

    Parameters
    ----------
    records : Records
    response : Response
        Of the fit to these records.
    residual : array, (n,)
        Of the fit.
    pass_id : array of int, (n,)
        Pass of each record; records in driving order.
    held_out : two arrays, (m,)
        Errors from blocked cross-validation, and how far each lay from the nearest record used.
    window_m : float
        Scale over which risk is averaged.
    swath_m : float
    between_passes : float
        Variance that passes have in common, from `drift.pass_variance`.
    """
    # what the surface has taken over is missing from its residuals: noise of one shows as `seen`
    known = every(len(residual), _LOCAL)
    noise = pass_noise(residual, pass_id, known) / max(response.seen, _TINY)
    known_noise = np.isfinite(noise)
    if known_noise.any():
        known, noise, residual = known[known_noise], noise[known_noise], residual[known[known_noise]]
    else:
        residual = residual[known]
        noise = residual**2
    variance = float(noise.mean())
    inner = Records(records.x[known], records.y[known], np.ones(len(known)))
    raw = residual**2 - noise * (1 - 2 * response.own)
    mean_risk = max(float(raw.mean()), variance * float(response.spread.mean()))

    def of_residuals() -> tuple[Level, tuple[Field, np.ndarray], Field]:
        window = make_levels(inner, [window_m])
        return window[0], fit(inner, window, raw, [1e-3]), fit(inner, window, noise, [1e-3])[0]

    def of_response() -> Field:
        outer = Records(records.x[response.some], records.y[response.some], np.ones(len(response.some)))
        return fit(outer, make_levels(outer, [window_m]), response.spread, [1e-3])[0]

    (window, (risk, away), local_noise), spread = side_by_side(of_residuals, of_response)
    # believe the local mean as far as it varies more than its own sampling error explains
    taken = 4 * np.pi * window_m**2 / _ground_per_record(window)
    sampling = float((away**2).mean()) / max(taken, 1.0)
    between = max(float(np.var(raw - away)) - sampling, 0.0)
    gap = _gap_variance(*held_out, variance + mean_risk, swath_m)
    gap_m, gap_variance = _with_passes(*gap, between_passes, swath_m)
    # given at the nodes of one lattice, between which the grid reads it; never less than the noise that comes through
    rows, columns = window.weights.shape
    nodes = window.x0 + window.step * np.arange(columns), window.y0 + window.step * np.arange(rows)
    own = np.maximum(local_noise.on_grid(*nodes), 0) * np.maximum(spread.on_grid(*nodes), 0)
    shrink = between / (between + sampling + _TINY)
    local = np.maximum(mean_risk + shrink * (risk.on_grid(*nodes) - mean_risk), own)
    return Certainty(Field(0.0, [window], [local]), float(np.sqrt(variance)), gap_m, gap_variance)


def _ground_per_record(level: Level) -> float:
    """Ground that one record stands for, m2, where records lie as densely as typical."""
    return level.step**2 / max(level.full, _TINY)


def _gap_variance(
    errors: np.ndarray, distance: np.ndarray, within: float, swath_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return distances and the variance beyond `within` that held-out records show there, never falling."""
    edges = swath_m * np.array([0.75, 1.5, 2.5, 4.0])
    middles, added = [0.75 * swath_m], [0.0]
    for low, high in pairwise(edges):
        there = errors[(distance >= low) & (distance < high)]
        if len(there) >= 20:
            middles.append(0.5 * (low + high))
            added.append(max(float((there**2).mean()) - within, added[-1]))
    return np.array(middles), np.array(added)


def _with_passes(
    gap_m: np.ndarray, gap_variance: np.ndarray, between: float, swath_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return the variance by distance, no less than what passes that differ leave unknown."""
    at = np.union1d(gap_m, swath_m * np.array(_PASS_AT))
    unknown = between * np.interp(at, swath_m * np.array(_PASS_AT), _PASS_SHARE)
    return at, np.maximum(np.interp(at, gap_m, gap_variance), unknown)
