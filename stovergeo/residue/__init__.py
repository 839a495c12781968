"""Residue: how much stover grows, how much must stay and why, and what may leave.

The season calls `limits` on the stack, then, once zones are drawn, `sample_limits`, `zone_limits`,
`zone_methods`, `odds`, `sensitivity`, `harvest_calendar` and `nutrients`.
"""

from collections.abc import Mapping

import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue.carbon import harvest_calendar
from stovergeo.residue.collection import Method, methods, take
from stovergeo.residue.monte_carlo import DrawnLimits, odds_table, sample_limits, sensitivity
from stovergeo.residue.nutrients import nutrients
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.production import stover
from stovergeo.residue.removable import NamedRule, check_rules, limits
from stovergeo.residue.why import gain_without, limit_totals
from stovergeo.residue.zone_tables import recommended, zone_limits, zone_methods

__all__ = [
    "DrawnLimits",
    "Method",
    "NamedRule",
    "RuleOptions",
    "check_rules",
    "gain_without",
    "harvest_calendar",
    "limit_totals",
    "limits",
    "methods",
    "nutrients",
    "odds",
    "odds_table",
    "recommended",
    "sample_limits",
    "sensitivity",
    "stover",
    "take",
    "zone_limits",
    "zone_methods",
]


def odds(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    plan: Odds,
    ways: Mapping[str, Method] | None = None,
    chosen: dict[str, str] | None = None,
) -> pd.DataFrame:
    """Return percentiles of what may leave from each zone, and the odds that the take holds, from samples made here.

    A caller that also wants `zone_methods` or `sensitivity` samples once with `sample_limits` and then asks
    `odds_table`. Parameters are as for those two; `ways` defaults to all methods, `chosen` to the zones' own
    `method` column.
    """
    ways = methods(options.coefficients) if ways is None else ways
    if chosen is None and "method" in zones:
        chosen = dict(zip(zones["zone_id"], zones["method"], strict=True))
    return odds_table(sample_limits(stack, zones, labels, options, plan, ways), plan.cautious_pct, chosen)
