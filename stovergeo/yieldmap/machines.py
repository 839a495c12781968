"""Combines set against each other where they worked side by side.

Two sensors that are not calibrated alike leave a step along the border of their ground.
The step is separated from real differences of the ground by a partially linear model: log
yield = smooth crop + offset of the machine. Smoothing both the yields and the machines'
indicators, and regressing what is left of one on what is left of the other, gives the
offsets (Robinson 1988, Econometrica 56:931-954; Speckman 1988, J. R. Stat. Soc. B
50:413-436; both cited from memory). Only records near another machine's weigh in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stovergeo.core.messages import Catalog, Message
from stovergeo.yieldmap.levels import Records, fit, make_levels
from stovergeo.yieldmap.outliers import MAD_TO_SD

message = Catalog("stovergeo.yieldmap")
_SHRINK = (0.01, 0.02)
#: standard error of the difference of two machines above which they count as never compared (judgment)
_COMPARED = 0.1


@dataclass(frozen=True, slots=True)
class Offsets:
    """Each machine's offset from the common level, as a natural logarithm."""

    offset: np.ndarray  #: (machines,)
    error: np.ndarray  #: standard error, (machines,); infinite where a machine met no other


def machine_offsets(
    x: np.ndarray,
    y: np.ndarray,
    yields: np.ndarray,
    weight: np.ndarray,
    machine: np.ndarray,
    pass_id: np.ndarray,
    machines: int,
    scale_m: float,
) -> Offsets:
    """Estimate how much more each machine reads than the crop that all machines agree on.

    Parameters
    ----------
    x, y, yields : array, (n,)
        Kept records; yields above zero.
    weight : array, (n,)
        Area of the records: the weighted mean of the offsets is zero in each group of machines that met.
    machine, pass_id : array of int, (n,)
    machines : int
        Number of machines.
    scale_m : float
        Scale of the crop's smooth part, m.

    Returns
    -------
    Offsets
        Standard errors are robust to noise that whole passes have in common (sandwich
        estimate clustered by pass, Liang and Zeger 1986, Biometrika 73:13-22).
    """
    records = Records(x, y, weight / weight.mean())
    levels = make_levels(records, [scale_m, scale_m / 2])
    left = fit(records, levels, np.log(yields), _SHRINK)[1]
    # the machine with most ground is the reference; its offset follows from the mean of its group being zero
    share = np.bincount(machine, weight, machines) / weight.sum()
    others = [m for m in range(machines) if m != int(np.argmax(share))]
    design = np.column_stack([fit(records, levels, (machine == m).astype(float), _SHRINK)[1] for m in others])
    bread = design.T @ design
    met = np.diag(bread) > 1e-3 * len(x) ** 0.5
    offset, variance = np.zeros(machines), np.full(machines, np.inf)
    if met.any():
        kept = [m for m, ok in zip(others, met, strict=True) if ok]
        A = design[:, met]
        beta, inverse, scores = _robust_fit(A, left)
        by_pass = np.zeros((int(pass_id.max()) + 1, A.shape[1]))
        np.add.at(by_pass, pass_id, scores)
        clusters = int((np.abs(by_pass).sum(axis=1) > 0).sum())
        meat = by_pass.T @ by_pass * clusters / max(clusters - 1, 1)
        covariance = inverse @ meat @ inverse
        against, between = np.zeros(machines), np.zeros((machines, machines))
        against[kept], between[np.ix_(kept, kept)] = beta, covariance
        known = [m for m in range(machines) if m in kept or m not in others]
        for group in _that_met(between, known):
            if len(group) < 2:
                continue
            # from "against the reference" to "against the mean over the group's ground"
            to_mean = np.eye(len(group)) - share[group] / share[group].sum()
            offset[group] = to_mean @ against[group]
            variance[group] = np.einsum("ij,jk,ik->i", to_mean, between[np.ix_(group, group)], to_mean)
    return Offsets(offset, np.sqrt(variance))


def _that_met(covariance: np.ndarray, machines: list[int]) -> list[list[int]]:
    """Return the machines in groups within which they were compared, at first or second hand."""
    groups: list[list[int]] = []
    for m in machines:
        spread = {o: covariance[m, m] + covariance[o, o] - 2 * covariance[m, o] for o in machines}
        mine = [g for g in groups if any(spread[o] < _COMPARED**2 for o in g)]
        groups = [g for g in groups if g not in mine] + [[m, *(o for g in mine for o in g)]]
    return groups


def _robust_fit(A: np.ndarray, b: np.ndarray, rounds: int = 8) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fit b = A beta with Huber weights; return beta, the inverse normal matrix and the scores.

    Huber 1964, Ann. Math. Stat. 35:73-101, cut at 1.345 standard deviations (cited from
    memory): the edge of a wet hollow that crosses the border must not decide.
    """
    weight = np.ones(len(b))
    for _ in range(rounds):
        inverse = np.linalg.pinv(A.T @ (A * weight[:, None]))
        beta = inverse @ (A.T @ (weight * b))
        away = b - A @ beta
        cut = 1.345 * MAD_TO_SD * np.median(abs(away))
        weight = np.minimum(1.0, cut / np.maximum(abs(away), 1e-12))
    return beta, inverse, A * (weight * away)[:, None]


def offset_message(apart: float, error: float, applied: bool) -> Message:
    """Return how far a machine reads from the common level, and what was done about it."""
    if not np.isfinite(error):
        return message("machine.alone")
    off = message("machine.above" if apart > 0 else "machine.below", offset=abs(apart), error=error)
    return message("machine.corrected" if applied else "machine.small", apart=off)
