"""What the Monte Carlo run says: percentiles by zone, the odds that the take holds, what matters most."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import rankdata

from stovergeo.residue.monte_carlo import DrawnLimits


def odds_table(drawn: DrawnLimits, cautious_pct: float, chosen: dict[str, str] | None = None) -> pd.DataFrame:
    """Return percentiles of what may leave, and the odds that each zone's take keeps every limit.

    Parameters
    ----------
    drawn : DrawnLimits
    cautious_pct : float
        Percentile on which decisions rest.
    chosen : dict, optional
        zone_id -> method or "leave". A zone left alone keeps every limit.

    Returns
    -------
    DataFrame
        zone_id, p10_mg_ha, p50_mg_ha, p90_mg_ha, cautious_mg_ha, odds_any (that anything may leave), method, odds_kept.
    """
    chosen = chosen or {}
    p10, p50, p90, cautious = np.percentile(drawn.limit_mg_ha, [10, 50, 90, cautious_pct], axis=0)
    ways = [chosen.get(zone, "leave") for zone in drawn.zone_ids]
    return pd.DataFrame(
        {
            "zone_id": drawn.zone_ids,
            "p10_mg_ha": p10,
            "p50_mg_ha": p50,
            "p90_mg_ha": p90,
            "cautious_mg_ha": cautious,
            "odds_any": (drawn.limit_mg_ha > 0).mean(axis=0),
            "method": ways,
            "odds_kept": [odds_kept(drawn, row, way) for row, way in enumerate(ways)],
        }
    )


def odds_kept(drawn: DrawnLimits, row: int, method: str) -> float:
    """Return the share of draws in which a method's take fits under every limit of a zone."""
    if method == "leave":
        return 1.0
    return float((drawn.take_mg_ha[method][:, row] <= drawn.method_limit_mg_ha[method][:, row]).mean())


def sensitivity(drawn: DrawnLimits) -> pd.DataFrame:
    """Return which uncertain input moves each field's removable stover most.

    The ranks of each field's mean limit are regressed on the ranks of all inputs; the squared standard coefficients,
    as shares of their sum, share out what the inputs explain (they are drawn independently). Coefficients within three
    standard errors of nothing are left out.

    Returns
    -------
    DataFrame
        field_id, rank, input, meaning, share (0-1, sums to 1 in a field), direction (+1: more of it lets more leave).
        Fields whose limit never varies have no rows.
    """
    rows = []
    owner = np.array(drawn.field_ids)
    for number, field in enumerate(drawn.fields):
        here = (owner == field) & (drawn.area_ha > 0)
        if not here.any() or len(drawn.limit_mg_ha) < 3:
            continue
        mean = np.average(drawn.limit_mg_ha[:, here], axis=1, weights=drawn.area_ha[here])
        if np.ptp(mean) == 0:
            continue
        inputs = {
            key: values if values.ndim == 1 else values[:, number]
            for key, values in drawn.inputs.items()
            if not key.startswith("methods.")  # the take moves no limit
        }
        effects = _rank_effects(inputs, mean)
        total = sum(effect**2 for effect in effects.values())
        ranked = sorted(effects.items(), key=lambda item: (-(item[1] ** 2), item[0]))
        rows += [
            {
                "field_id": field,
                "rank": place,
                "input": key,
                "meaning": drawn.meanings[key],
                "share": r**2 / total,
                "direction": int(np.sign(r)),
            }
            for place, (key, r) in enumerate(ranked, start=1)
        ]
    return pd.DataFrame(rows, columns=["field_id", "rank", "input", "meaning", "share", "direction"])


def _rank_effects(inputs: dict[str, np.ndarray], outcome: np.ndarray) -> dict[str, float]:
    """Return the standard rank regression coefficients that differ from zero."""
    varying = {key: values for key, values in inputs.items() if np.ptp(values) > 0}
    if len(outcome) < 3 * (len(varying) + 1):
        return {}
    x = np.column_stack([_standard_ranks(values) for values in varying.values()])
    y = _standard_ranks(outcome)
    effects, *_ = np.linalg.lstsq(x, y, rcond=None)
    spread = np.sum((y - x @ effects) ** 2) / (len(y) - len(effects) - 1)
    error = np.sqrt(spread * np.diag(np.linalg.inv(x.T @ x)))
    return {key: float(e) for key, e, s in zip(varying, effects, error, strict=True) if abs(e) > 3 * s}


def _standard_ranks(values: np.ndarray) -> np.ndarray:
    ranks = rankdata(values)
    return (ranks - ranks.mean()) / ranks.std()
