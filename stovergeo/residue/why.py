"""What binds, by how much, and what would lift it: for a cell, a zone or the whole farm."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from stovergeo.core.errors import Report
from stovergeo.core.messages import Message
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.removable import rules_for


def gain_without(stack: xr.Dataset) -> dict[str, np.ndarray]:
    """Return how much more could leave (Mg/ha) from each cell if one rule alone were lifted.

    0 where another rule asks for as much; NaN where nothing is known of the crop. Shape (y, x), by rule.
    """
    names = list(stack["binding_rule"].attrs["rules"])
    asks = np.nan_to_num(np.stack([stack[f"retention_{n}_mg_ha"].values.astype(float) for n in names]))
    counted = stack["stover_typical_mg_ha"].values.astype(float)
    # the largest of all others: the second largest where the rule is the largest itself
    ordered = np.sort(np.concatenate([np.zeros((1, *counted.shape)), asks]), axis=0)
    largest, second = ordered[-1], ordered[-2]
    return {
        n: np.minimum(largest, counted) - np.minimum(np.where(asked >= largest, second, largest), counted)
        for n, asked in zip(names, asks, strict=True)
    }


def limit_totals(stack: xr.Dataset, options: RuleOptions) -> pd.DataFrame:
    """Return for the whole farm where each rule binds and what lifting it alone would free.

    Parameters
    ----------
    stack : Dataset
        As `limits` returns it.
    options : RuleOptions

    Returns
    -------
    DataFrame
        rule, title, binds_ha, gain_mg (dry Mg that could leave besides, if this rule alone were lifted), lift, source,
        message (several, a sentence each); the rule that binds on most ground first.
    """
    area = stack["cell_area_ha"].values.astype(float)
    binding = stack["binding_rule"].values
    rules = {r.name: r for r in rules_for(options, Report())}
    rows = []
    for number, (name, gain) in enumerate(gain_without(stack).items()):
        binds_ha, freed = float(area[binding == number].sum()), float(np.nansum(gain * area))
        rows.append(
            {
                "rule": name,
                "title": rules[name].rule.title,
                "binds_ha": binds_ha,
                "gain_mg": freed,
                "lift": rules[name].trait("lift", ""),
                "source": rules[name].rule.source,
                "message": _messages(rules[name].rule.title, binds_ha, freed),
            }
        )
    return pd.DataFrame(rows).sort_values("binds_ha", ascending=False, kind="stable", ignore_index=True)


def _messages(title: str, binds_ha: float, freed_mg: float) -> tuple[Message, ...]:
    if binds_ha == 0:
        return (catalog("farm.nowhere", title=title),)
    without = catalog("farm.gain", gain=freed_mg) if freed_mg >= 0.5 else catalog("farm.no_gain")
    return catalog("farm.binds", title=title, area=binds_ha), without
