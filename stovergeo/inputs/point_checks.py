"""Whether yield points can be one corn harvest: clock, yields, sensors that stand still, distance of passes."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
from scipy.spatial import cKDTree

from stovergeo.core.messages import Catalog
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.layers import PointsLayer

message = Catalog("stovergeo.inputs")
# Medians of a field, dry Mg/ha, that are worth a word (some 95 and 265 bu/ac: outside, pounds may have been taken
# for kilograms) and that no corn field has (row 30 of the bad-inputs sheet: 2 to 20); judgment
TYPICAL_MG_HA: Final = (5.0, 14.0)
PLAUSIBLE_MG_HA: Final = (1.0, 20.0)
#: a corn harvest is over within this, from the first field to the last (judgment)
ONE_HARVEST_DAYS: Final = 200


def check_one_harvest(points: gpd.GeoDataFrame, layer: PointsLayer, at: Place) -> None:
    """Refuse records whose clock, where it tells the date, spans more than one harvest."""
    if "time_s" not in points or layer.units.time == "s":
        return
    first, last = np.nanpercentile(points["time_s"], [1, 99]) if points["time_s"].notna().any() else (0.0, 0.0)
    days = float(last - first) / 86_400
    if days > ONE_HARVEST_DAYS:
        raise at.refuse("years.one_file", f"The records' clock spans {days:,.0f} days.")


def check_plausible(points: gpd.GeoDataFrame, at: Place) -> None:
    """Refuse a table without any harvest, or with a typical yield no corn field has; say what is unusual in it."""
    gaps = points["grain_kg"].isna()
    if "moisture_pct" in points:  # already reported where the moisture is missing
        gaps &= points["moisture_pct"].notna()
    if gaps.any():
        said = (
            f"{int(gaps.sum()):,} of {len(points):,} records lack grain, distance or width; what they cut is unknown."
        )
        at.add("yield.gaps", said)
    yields = points.loc[points["grain_mg_ha"] > 0, "grain_mg_ha"].to_numpy()
    if len(yields) == 0:
        raise at.refuse("yield.none", f"None of {len(points):,} records holds grain on ground.")
    check_median_yield(yields, "records", at)


def check_median_yield(yields: np.ndarray, of: str, at: Place) -> None:
    """Warn of a median yield that is unusual for corn.

    Parameters
    ----------
    yields : array
        Dry grain, Mg/ha.
    of : str
        What the yields are of, in the plural.

    Raises
    ------
    InputError
        ``yield.implausible`` when no corn field yields so.
    """
    median = float(np.median(yields))
    if not PLAUSIBLE_MG_HA[0] <= median <= PLAUSIBLE_MG_HA[1]:
        raise at.refuse("yield.implausible", message("grain.implausible", of=of, median=median))
    if not TYPICAL_MG_HA[0] <= median <= TYPICAL_MG_HA[1]:
        at.add("yield.unusual", message("grain.unusual", of=of, median=median))


# Judgment: at a record a second or two, five minutes and more of exactly one number; a monitor that holds its
# moisture between two samples, or a machine at one speed whose distance is written in whole feet, repeats for less
LONG_RUN: Final = 300
#: a reading that repeats for long everywhere is coarse, not stuck: so many times the run that is typical
MUCH_LONGER: Final = 10.0
#: share of runs that counts as typical
_TYPICAL: Final = 0.99
_MIN_VALUES: Final = 10


def report_frozen(values: np.ndarray, at: Place, zeros: bool = False) -> None:
    """Report records in which a measured column holds one value for far longer than it does elsewhere.

    Parameters
    ----------
    values : array, shape (records,)
        In the order recorded, in any unit; gaps do not count.
    zeros : bool
        Whether zeros count: grain that does not flow for so long is a fault, a distance of nothing a machine at rest.
    """
    known = values[np.isfinite(values) & (zeros | (values != 0))]
    if len(known) < LONG_RUN:
        return
    starts = np.flatnonzero(np.diff(known, prepend=np.nan) != 0)
    lengths = np.diff(starts, append=len(known))
    if len(np.unique(known)) < _MIN_VALUES:  # one width, one duration: nothing that moves
        return
    usual = float(np.quantile(lengths, _TYPICAL))
    long = (lengths >= LONG_RUN) & (lengths > MUCH_LONGER * usual)
    if long.any():
        count, value = int(lengths[long].sum()), known[starts[long][0]]
        said = f"{count:,} of {len(values):,} records hold one number for {int(lengths[long].max()):,} records on end"
        at.add("points.stuck", f"{said} ({value:.4g}).")


#: records looked at; more would not change a median
SAMPLE: Final = 4000
NEIGHBORS: Final = 60
#: passes run side by side: headings agree, or are opposite, within this
_PARALLEL: Final = np.cos(np.radians(20))
MIN_PAIRS: Final = 200


def pass_spacing_m(x: np.ndarray, y: np.ndarray, step_m: float) -> float | None:
    """Return the typical distance between neighboring passes, None where it cannot be found.

    Parameters
    ----------
    x, y : ndarray of shape (n,)
        Positions in the order of the records, m.
    step_m : float
        Typical distance between records, m.

    Notes
    -----
    The heading at a record is the direction to the next one. Among its neighbors with the same or the
    opposite heading, those beside it (not before or behind) and more than half a step away belong
    to other passes; the nearest of them gives the spacing there, and the median over many records counts.
    """
    if len(x) < MIN_PAIRS or not step_m > 0:
        return None
    heading = np.stack([np.diff(x), np.diff(y)], axis=1)
    length = np.hypot(heading[:, 0], heading[:, 1])
    on_the_way = (length > 0.5 * step_m) & (length < 2 * step_m)
    if on_the_way.sum() < MIN_PAIRS:
        return None
    places = np.stack([x[:-1], y[:-1]], axis=1)[on_the_way]
    heading = heading[on_the_way] / length[on_the_way, None]
    tree = cKDTree(places)
    picked = np.unique(np.linspace(0, len(places) - 1, SAMPLE).astype(int))
    _, near = tree.query(places[picked], k=min(NEIGHBORS, len(places)))
    apart = places[near] - places[picked][:, None, :]
    own = heading[picked][:, None, :]
    along = np.abs((apart * own).sum(axis=2))
    across = np.abs(apart[..., 0] * own[..., 1] - apart[..., 1] * own[..., 0])
    parallel = np.abs((heading[near] * own).sum(axis=2)) > _PARALLEL
    # less than a meter across is the same pass, or the same place driven twice
    beside = parallel & (along <= step_m) & (across > 1.0)
    nearest = np.where(beside, across, np.inf).min(axis=1)
    known = nearest[np.isfinite(nearest)]
    return float(np.median(known)) if len(known) >= MIN_PAIRS else None
