"""What harvest costs the soil's carbon zone by zone, how sure the plan's goal is to hold, and whether it binds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from stovergeo.core.messages import Message
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue.carbon_stock.goal import cost_mg_ha, goal_probability
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions
from stovergeo.residue.retention import soil_carbon
from stovergeo.residue.sampling import draw
from stovergeo.residue.zone_cells import ZoneCells, zone_cells

#: stock of carbon and where it is from: "test", "survey" or "unknown", by most of the zone; what table and goal ask
#: for and which asks for more; cost of harvest in twenty years, % of the stock: middle and eight in ten of the
#: samples; chance that it stays within the goal
COLUMNS = ["zone_id", "carbon_mg_ha", "carbon_from", "table_mg_ha", "goal_mg_ha", "carbon_limit"]
COLUMNS += ["cost_low_pct", "cost_pct", "cost_high_pct", "carbon_goal_probability", "message"]
#: handbook keys of what the cost hangs on
SAMPLED: Final = ("carbon.kept_20_years", "carbon.stock_factor", "carbon.stock_unknown")
_FROM: Final = ("test", "survey", "unknown")


def stock_parts(cells: ZoneCells, stack: xr.Dataset) -> np.ndarray:
    """Return what tested and surveyed ground adds to the mean stock of each zone, Mg C/ha, and the share unknown.

    Returns
    -------
    array, shape (3, zones)
        In the order tested, surveyed, share of the ground of which no carbon is known.
    """
    stock = cells.of(stack["soil_carbon"]) if "soil_carbon" in stack else np.full(len(cells.cells), np.nan)
    tested = cells.of(stack["soil_carbon_tested"]) > 0 if "soil_carbon_tested" in stack else np.zeros(len(stock), bool)
    known = np.isfinite(stock)
    parts = np.where(known & tested, stock, 0.0), np.where(known & ~tested, stock, 0.0), (~known).astype(float)
    return np.stack([cells.mean(part) for part in parts])


def stocks(parts: np.ndarray, factor: ArrayLike, unknown: ArrayLike) -> np.ndarray:
    """Return the stock of each zone, Mg C/ha, shape (samples, zones).

    Parameters
    ----------
    parts : array, shape (3, zones)
        From `stock_parts`.
    factor, unknown : array, shape (samples,)
        Departure from the survey, and the stock of ground of which none is known.
    """
    tested, surveyed, lacking = parts
    return tested + np.outer(np.asarray(factor), surveyed) + np.outer(np.asarray(unknown), lacking)


def carbon_costs(
    removal_mg_ha: np.ndarray, manure_c_mg_ha: np.ndarray, options: RuleOptions, sampled: Mapping[str, np.ndarray]
) -> np.ndarray:
    """Return what harvest costs the soil's carbon in twenty years, Mg C/ha, shape (samples, zones); below 0: a gain.

    Parameters
    ----------
    removal_mg_ha : array, shape (samples, zones)
    manure_c_mg_ha : array, shape (zones,)
        Mean of each zone.
    options : RuleOptions
    sampled : mapping
        Handbook key -> samples, shape (samples,); a key left out counts at its value.
    """

    def of(key: str) -> np.ndarray:
        return np.atleast_1d(sampled.get(key, np.array(options.coefficients.value(key))))[:, None]

    manure = of("retention.carbon.manure_worth") * manure_c_mg_ha
    crops = of("retention.carbon.cover_crop_worth") * options.crop.cover_crop_c_mg_ha
    kept, content = of("carbon.kept_20_years"), of("retention.carbon.content")
    return cost_mg_ha(removal_mg_ha, soil_carbon.harvests_a_year(options), manure + crops, kept, content)


def carbon_samples(
    stack: xr.Dataset,
    cells: ZoneCells,
    options: RuleOptions,
    plan: Odds,
    shared: Mapping[str, np.ndarray],
    taken: Mapping[str, np.ndarray],
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return by method what harvest costs the soil's carbon, and the stock, Mg C/ha, each of shape (samples, zones).

    Parameters
    ----------
    stack : Dataset
    cells : ZoneCells
        All cells of the zones.
    options : RuleOptions
    plan : Odds
    shared : mapping
        Samples of the coefficients of the rules.
    taken : mapping
        Method -> what it takes, shape (samples, zones).
    """
    manure = manure_of_zones(cells, stack, options)
    numbers = [options.coefficients[key] for key in SAMPLED]
    count = max(plan.samples, 1)
    own = {c.key: draw(c if plan.samples else c.alone(), plan.seed, count) for c in numbers}
    stock = stocks(stock_parts(cells, stack), own["carbon.stock_factor"], own["carbon.stock_unknown"])
    sampled = {**shared, **own}
    return {name: (carbon_costs(removal, manure, options, sampled), stock) for name, removal in taken.items()}


def goal_held(cost: np.ndarray, stock: np.ndarray, options: RuleOptions) -> np.ndarray:
    """Return by zone the share of samples in which harvest costs no more than the plan's goal; NaN where not known."""
    return goal_probability(cost.T, stock.T, options.limits.carbon_loss_max_pct / 100)


def manure_of_zones(cells: ZoneCells, stack: xr.Dataset, options: RuleOptions) -> np.ndarray:
    """Return the carbon that manure brings to each zone, Mg C/ha in the mean of all years."""
    manure = soil_carbon.manure_of(stack, options)
    return cells.mean(cells.of(manure)) if isinstance(manure, xr.DataArray) else np.full(cells.count, float(manure))


def zone_carbon(
    stack: xr.Dataset,
    zones: pd.DataFrame,
    labels: ArrayLike,
    options: RuleOptions,
    costs: Mapping[str, tuple[np.ndarray, np.ndarray]],
    chosen: Mapping[str, str],
) -> pd.DataFrame:
    """Return what the soil-carbon rule rests on in each zone, and what the chosen harvest costs its ground.

    Parameters
    ----------
    stack : Dataset
        As `limits` returns it.
    zones : DataFrame
        With zone_id; a row for each label.
    labels : array, shape (y, x)
        Row of the zone, NaN outside.
    options : RuleOptions
    costs : mapping
        Method -> cost and stock, shape (samples, zones); see `DrawnLimits`.
    chosen : mapping
        zone_id -> method or "leave".

    Returns
    -------
    DataFrame
        See `COLUMNS`; a row a zone, none where the rule is not in force. Nothing is said of the cost where nothing
        leaves.
    """
    if "soil_carbon" not in stack["binding_rule"].attrs["rules"]:
        return pd.DataFrame(columns=COLUMNS)
    cells = zone_cells(labels, stack, len(zones))
    parts = stock_parts(cells, stack)
    middle = stocks(parts, [1.0], [options.coefficients.value("carbon.stock_unknown")])[0]
    known = np.array([parts[0] > 0, parts[1] > 0, parts[2] > 0.5])
    ground = cells.dataset(stack, (*soil_carbon.reads, *soil_carbon.reads_if_known))
    asked = {
        "table": cells.mean(soil_carbon.by_table(ground, options).values),
        "goal": cells.mean(soil_carbon.by_goal(ground, options).values),
    }
    rows = []
    for z, zone in enumerate(zones["zone_id"]):
        if not np.isfinite(asked["table"][z]):
            continue
        source = "unknown" if known[2][z] else _FROM[int(parts[1][z] > parts[0][z])]
        binds = "goal" if asked["goal"][z] > asked["table"][z] else "table"
        low, cost, high, held = _spread_of(costs.get(chosen.get(str(zone), "leave")), z, options)
        said = (*_asked_by(binds, asked, z, options), *_cost_messages(low, cost, high, held, options))
        rows.append((zone, middle[z], source, asked["table"][z], asked["goal"][z], binds, low, cost, high, held, said))
    return pd.DataFrame(rows, columns=COLUMNS)


def _spread_of(
    costs: tuple[np.ndarray, np.ndarray] | None, z: int, options: RuleOptions
) -> tuple[float, float, float, float]:
    """Return low, middle and high cost of a zone, % of its stock, and the chance that the goal holds."""
    if costs is None:
        return np.nan, np.nan, np.nan, np.nan
    cost, stock = costs[0][:, z : z + 1], costs[1][:, z : z + 1]
    low, middle, high = np.percentile(100 * cost / stock, [10, 50, 90])
    return float(low), float(middle), float(high), float(goal_held(cost, stock, options)[0])


def _asked_by(binds: str, asked: Mapping[str, np.ndarray], z: int, options: RuleOptions) -> tuple[Message, ...]:
    """Return which of table and goal asks for more, and what the other asks for."""
    return (catalog(f"soil_carbon.by_{binds}", goal=options.limits.carbon_loss_max_pct, keep=_other(binds, asked, z)),)


def _other(binds: str, asked: Mapping[str, np.ndarray], z: int) -> float:
    return float(asked["table" if binds == "goal" else "goal"][z])


def _cost_messages(low: float, cost: float, high: float, held: float, options: RuleOptions) -> tuple[Message, ...]:
    """Return what the harvest costs, as a range, and the chance in tens of percent that it stays within the goal."""
    if not np.isfinite(cost):
        return ()
    if high <= 0:
        return (catalog("soil_carbon.cost_nothing"),)
    chance = round(held, 1)
    said = catalog("soil_carbon.cost", low=max(low, 0.0), middle=max(cost, 0.0), high=high)
    return (
        said,
        catalog("soil_carbon.not_gains"),
        catalog("soil_carbon.odds", goal=options.limits.carbon_loss_max_pct, chance=chance),
    )
