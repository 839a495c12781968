"""What could leave, zone by zone and method by method: no decision, and no need is asked for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from stovergeo.bales import whole_bales
from stovergeo.supply.messages import title_of
from stovergeo.supply.problem import SupplyProblem

COLUMNS = ["field_id", "zone_id", "method", "title", "dry_mg", "bales", "edge_cost_per_mg"]
COLUMNS += ["compliance_probability", "takes_most"]


def inventory(problem: SupplyProblem, titles: Mapping[str, str]) -> pd.DataFrame:
    """Return what each allowed method could take from each zone, whatever is needed.

    Of the rows of one zone one can be done, not all: they do not add up.

    Parameters
    ----------
    problem : SupplyProblem
        Offers that are refused, and those of zones kept free, are left out.
    titles : mapping
        Method -> its title.

    Returns
    -------
    DataFrame
        field_id, zone_id, method, title, dry_mg, bales (whole ones), edge_cost_per_mg ($/Mg at the field's edge:
        gathering, baling, nutrients and the landowner; without moving machines in, hauling and storage),
        compliance_probability (chance that every limit is kept), takes_most (of the zone's methods); in the order of
        the zones, the method that takes most first.
    """
    offers = problem.usable_offers()
    dry_mg = offers["removal_mg_ha"] * offers["area_ha"]
    chance = offers.get("compliance_probability", pd.Series(np.nan, index=offers.index))
    table = offers.assign(
        title=[title_of(method, titles) for method in offers["method"]],
        dry_mg=dry_mg,
        bales=[whole_bales(mg, kg) for mg, kg in zip(dry_mg, offers["bale_dry_kg"], strict=True)],
        edge_cost_per_mg=offers["edge_cost_mg"],
        compliance_probability=chance,
        takes_most=offers.groupby("zone_id")["removal_mg_ha"].rank(method="first", ascending=False) == 1,
    )
    table = table.sort_values(["at", "removal_mg_ha"], ascending=[True, False], kind="stable")
    return table[COLUMNS].reset_index(drop=True)
