"""Cleaning raw combine points: every step in order, counted, with its reason kept; and what the raw records say."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from dataclasses import fields as fields_of
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionArray

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.schemas import check_table
from stovergeo.core.units import KG_DRY_PER_BUSHEL_CORN, KG_PER_MG, M2_PER_ACRE, M2_PER_HA
from stovergeo.yieldmap import steps
from stovergeo.yieldmap.cells import Driven
from stovergeo.yieldmap.delay import Delay, DelaySearch, find_delay, shifted
from stovergeo.yieldmap.machines import machine_offsets, offset_message
from stovergeo.yieldmap.many_records import for_each, typical
from stovergeo.yieldmap.neighbors import Bins, Pairs, bin_points, side_pairs
from stovergeo.yieldmap.outliers import MAD_TO_SD
from stovergeo.yieldmap.passes import Track, coordinates, machines_of, placed, points_at, track_of
from stovergeo.yieldmap.reasons import NOT_CUT, code_of, message, names_of, tally
from stovergeo.yieldmap.swath import new_fraction

_FEWEST = 50  #: kept records below which neither outliers nor machines are looked at


@dataclass(frozen=True, slots=True)
class Cleaned:
    """Cleaned yield points."""

    points: gpd.GeoDataFrame  #: kept records, yields corrected, in the middle of their ground
    removed: gpd.GeoDataFrame  #: removed records as they came, with `removed_because`
    counts: pd.DataFrame  #: reason, title, points, share, message; in order, last row what was kept
    corrections: dict[str, dict]  #: what was corrected, by topic: passes, delay, ends, overlap, machines
    driven: Driven | None  #: where machines drove, for the grain surface; None without a whole record


def clean_points(points: gpd.GeoDataFrame, coefficients: Handbook, report: Report) -> Cleaned:
    """Clean raw combine points in documented steps, and count what each removes.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS` in the farm's working CRS (meters). Index is kept.
    coefficients : Handbook
        The `yieldmap` group.
    report : Report
        Receives a note for duplicates, backward clocks and impossible yields.

    Returns
    -------
    Cleaned
        Kept and removed records together are all records given.

    Notes
    -----
    Flow delay moves a record's grain, overlap shrinks its area, and machines that worked
    side by side are set to one level. Everything else only removes. A record is removed
    for the first reason met, in the order of `reasons.REASONS`. The steps, their thresholds
    and sources stand on the page "Yield map" of the science pages.

    Raises
    ------
    ContractError
        When a column that must be there is missing.

    Examples
    --------
    Ten passes up and down a field, a record every 2 m, one of them far out:

    >>> import geopandas as gpd
    >>> import numpy as np
    >>> from stovergeo import Report, clean_points, load_handbook
    >>> swath_m, step_m = 8.0, 2.0
    >>> along = np.tile(np.arange(1, 101) * step_m, (10, 1))
    >>> along[1::2] = 200 - along[1::2]
    >>> x = np.repeat((np.arange(10) + 0.5) * swath_m, 100)
    >>> y = along.ravel()
    >>> grain_mg_ha = 10 + np.sin(x / 20) * np.cos(y / 30)
    >>> grain_mg_ha[500] = 35.0
    >>> columns = {"area_m2": swath_m * step_m, "grain_mg_ha": grain_mg_ha}
    >>> columns |= {"grain_kg": grain_mg_ha * swath_m * step_m / 10, "swath_m": swath_m, "distance_m": step_m}
    >>> place = gpd.points_from_xy(440_000 + x, 4_650_000 + y, crs=32615)
    >>> cleaned = clean_points(gpd.GeoDataFrame(columns, geometry=place), load_handbook(), Report())
    >>> len(cleaned.points), list(cleaned.removed["removed_because"])
    (999, ['far_out'])
    """
    check_table(points, "points", "cleaning")
    codes = np.zeros(len(points), np.int8)
    with ThreadPoolExecutor(1) as aside:
        machines = aside.submit(machines_of, points)
        x, y = coordinates(points)
        whole = _whole_records(points, x, y)
        codes[~whole] = code_of("incomplete")
        if not whole.any():
            return _result(points, codes, points.iloc[:0], tally(codes), {}, None)
        if whole.all():
            sound, run = points, _Run(points, x, y, machines.result(), coefficients)
        else:
            sound = points[whole]
            run = _Run(sound, x[whole], y[whole], machines_of(sound), coefficients)
        corrections: dict[str, dict] = {"passes": _pass_report(run.track)}
        swath = typical(run.track.swath)
        co_located = aside.submit(steps.co_located, run.track)
        middle = run.track.at_middle()
        pairs = side_pairs(middle)
        _plain_faults(run, co_located.result(), coefficients)
        corrections["delay"] = _delays(run, middle, pairs, coefficients)
        places, reach = run.places(), swath * coefficients.value("yieldmap.outlier.reach_swaths")
        # long compiled loops, beside which the interpreter is free to make points; nothing moves them any more
        share = aside.submit(new_fraction, run.track, swath / coefficients.value("yieldmap.swath.bitmap_cells"))
        bins = aside.submit(bin_points, *places, reach / 2)
        geometry = points_at(*places)
        corrections["ends"] = _pass_faults(run, coefficients)
        corrections["overlap"] = _swaths(run, swath, share.result(), pairs, coefficients)
        _outliers(run, bins.result(), places, reach, coefficients)
    corrections["machines"] = _machines(run, places, coefficients)
    codes[whole] = run.track.back(run.code)
    counts = tally(codes, timed=bool(run.track.timed.any()))
    _tell(report, counts, run.track)
    keep = run.track.back(run.kept)
    x, y = (run.track.back(values)[keep] for values in places)
    driven = Driven(run.track, ~np.isin(run.code, [code_of(reason) for reason in NOT_CUT]), (x, y))
    return _result(points, codes, _kept(sound, run, keep, geometry), counts, corrections, driven)


class _Run:
    """The records in driving order while they are being cleaned."""

    def __init__(
        self, points: gpd.GeoDataFrame, x: np.ndarray, y: np.ndarray, machines: tuple[np.ndarray, list[str]],
        coefficients: Handbook,
    ) -> None:  # fmt: skip
        gap, turn = coefficients.value("yieldmap.pass.gap_records"), coefficients.value("yieldmap.pass.turn_deg")
        self.track = track_of(points, x, y, gap_records=gap, turn_deg=turn, machines=machines)
        driven = self.track.driven
        self.code = np.zeros(len(points), np.int8)
        self.area = np.array(driven(points["area_m2"].to_numpy(float)))
        self.grain = np.array(driven(points["grain_kg"].to_numpy(float)))
        # from the record's end to the middle of where its grain stood
        self.moved_m = -0.5 * self.track.length
        self.moisture = driven(points["moisture_pct"].to_numpy(float)) if "moisture_pct" in points else None
        self.header = driven(points["header_down"].to_numpy(float)) if "header_down" in points else None

    @property
    def kept(self) -> np.ndarray:
        return self.code == 0

    @property
    def yields(self) -> np.ndarray:
        """Dry grain, Mg/ha."""
        return self.grain / KG_PER_MG / (self.area / M2_PER_HA)

    def remove(self, where: np.ndarray, reason: str) -> None:
        self.code[where & self.kept] = code_of(reason)

    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Return where each record's grain stood."""
        return self.track.x + self.moved_m * self.track.east, self.track.y + self.moved_m * self.track.north


def _whole_records(points: pd.DataFrame, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    area, grain = points["area_m2"].to_numpy(float), points["grain_kg"].to_numpy(float)
    return placed(x, y) & np.isfinite(grain) & np.isfinite(area) & (area > 0)


def _plain_faults(run: _Run, co_located: np.ndarray, coefficients: Handbook) -> None:
    """Remove what a record itself shows to be wrong."""
    if run.header is not None:
        run.remove(run.header == 0, "header_up")
    run.remove(co_located, "co_located")
    run.remove(run.grain <= 0, "no_flow")
    if run.moisture is not None:
        low, high = coefficients.value("yieldmap.moisture.min_pct"), coefficients.value("yieldmap.moisture.max_pct")
        run.remove((run.moisture < low) | (run.moisture > high), "moisture")


def _delays(run: _Run, middle: Track, pairs: Pairs, coefficients: Handbook) -> dict[str, dict]:
    """Find each machine's flow delay and move its grain where that helps."""
    search = DelaySearch(*(coefficients.value(f"yieldmap.delay.{c.name}") for c in fields_of(DelaySearch)))
    track, found = run.track, {}
    flow, ground = np.where(run.kept, run.grain / track.seconds, np.nan), run.area / track.seconds
    for number, name in enumerate(track.machine_names):
        here = track.machine == number
        if not track.timed[here].mean() > 0.5:
            found[name] = _as_dict(Delay(0.0, False, 0.0, 0, message("delay.no_time")))
            continue
        mine = here[pairs.one] & here[pairs.other]
        delay = find_delay(middle, flow, ground, pairs.where(mine), search)
        if delay.applied:
            run.grain, run.area, ahead_m, missing = shifted(track, here, delay.seconds, run.grain, run.area)
            run.moved_m += ahead_m
            run.remove(missing, "not_recorded")
            run.remove(here & (run.grain <= 0), "no_flow")
        found[name] = _as_dict(delay)
    return found


def _as_dict(delay: Delay) -> dict[str, Any]:
    return {c.name: getattr(delay, c.name) for c in fields_of(delay)}


def _pass_faults(run: _Run, coefficients: Handbook) -> dict[str, dict]:
    """Remove short passes, ramps at pass ends and sudden speeds; return the ramps found."""
    track, found = run.track, {}
    run.remove(steps.short_passes(track, int(coefficients.value("yieldmap.pass.min_records"))), "short_pass")
    max_s, settle_s, tolerance = (
        coefficients.value(f"yieldmap.ends.{name}") for name in ("max_s", "settle_s", "tolerance")
    )
    for number, name in enumerate(track.machine_names):
        mine = track.machine == number
        usable = mine & run.kept
        ramp = steps.pass_ramp(track, run.yields, usable, max_s, settle_s, tolerance)
        start, end = steps.in_ramp(track, ramp, usable)
        run.remove(mine & start, "pass_start")
        run.remove(mine & end, "pass_end")
        found[name] = asdict(ramp)
    speed = [coefficients.value(f"yieldmap.speed.{name}") for name in ("min_m_s", "max_m_s", "max_change")]
    run.remove(steps.bad_speed(track, *speed), "speed")
    return found


def _swaths(run: _Run, swath: float, share: np.ndarray, pairs: Pairs, coefficients: Handbook) -> dict[str, float]:
    """Count only ground not harvested before; remove records that cut too little of it."""
    track = run.track
    least = coefficients.value("yieldmap.swath.min_fraction")
    run.remove(track.swath < least * swath, "part_swath")
    noise = 0.0
    if len(pairs.across):
        noise = float(MAD_TO_SD * np.median(abs(pairs.across - np.median(pairs.across))) / swath)
    slack = max(
        coefficients.value("yieldmap.swath.noise_factor") * noise, coefficients.value("yieldmap.swath.min_overlap")
    )
    overlapping = np.isfinite(share) & (share < 1 - slack)
    run.remove(overlapping & (share < least), "overlap")
    shrink = overlapping & run.kept
    before = float(run.area[shrink].sum())
    run.area[shrink] *= share[shrink]
    return {
        "records": int(shrink.sum()),
        "area_m2": before - float(run.area[shrink].sum()),
        "spacing_sd_m": noise * swath,
        "min_new_fraction": 1 - slack,
    }


def _outliers(
    run: _Run, bins: Bins, places: tuple[np.ndarray, np.ndarray], reach: float, coefficients: Handbook
) -> None:
    yields = run.yields
    run.remove(yields > coefficients.value("yieldmap.outlier.max_mg_ha"), "impossible")
    kept = run.kept
    if np.count_nonzero(kept) < _FEWEST:
        return
    yields[~kept] = np.nan
    tukey, hampel, siding = (coefficients.value(f"yieldmap.outlier.{name}") for name in ("tukey", "hampel", "siding"))
    found = steps.outliers(bins, *places, yields, run.track.pass_id, reach, (tukey, hampel, siding))
    for reason, which in zip(("far_out", "unlike_neighbors"), found, strict=True):
        run.code[which] = code_of(reason)


def _machines(run: _Run, places: tuple[np.ndarray, np.ndarray], coefficients: Handbook) -> dict[str, dict]:
    """Set machines to one level where they worked side by side; the total stays what it was."""
    track = run.track
    kept = np.flatnonzero(run.kept)
    if len(track.machine_names) < 2 or len(kept) < _FEWEST:
        return {}
    x, y = places
    scale_m = coefficients.value("yieldmap.machines.scale_swaths") * typical(track.swath)
    where = (x[kept], y[kept], run.yields[kept], run.area[kept], track.machine[kept], track.pass_id[kept])
    found = machine_offsets(*where, len(track.machine_names), scale_m)
    least, errors = (coefficients.value(f"yieldmap.machines.min_{name}") for name in ("offset", "errors"))
    met = np.isfinite(found.error)
    sure = (abs(np.expm1(found.offset)) >= least) & (abs(found.offset) >= errors * found.error)
    # all machines that met are moved together, else the step would only be halved
    applied = met & sure.any()
    moved = kept[applied[track.machine[kept]]]
    before = run.grain[moved].sum()
    run.grain[moved] /= np.exp(found.offset)[track.machine[moved]]
    run.grain[moved] *= before / run.grain[moved].sum() if len(moved) else 1.0
    corrections = {}
    for m, name in enumerate(track.machine_names):
        values = float(np.expm1(found.offset[m])), float(found.error[m]), bool(applied[m])
        named = dict(zip(("offset", "error", "applied"), values, strict=True))
        corrections[name] = {**named, "message": offset_message(*values)}
    return corrections


def _kept(points: gpd.GeoDataFrame, run: _Run, keep: np.ndarray, geometry: np.ndarray) -> gpd.GeoDataFrame:
    """Return the rows to keep with what cleaning found, each record in the middle of its ground."""
    track = run.track
    found: dict[str, Callable[[], np.ndarray]] = {  # what takes longest first
        "heading_deg": track.heading_deg,
        points.geometry.name: lambda: geometry,
        "area_m2": lambda: run.area,
        "grain_kg": lambda: run.grain,
        "grain_mg_ha": lambda: run.yields,
        "pass_number": lambda: track.pass_id,
        "moved_m": lambda: run.moved_m,
    }

    def column(name: str) -> np.ndarray | ExtensionArray:
        return track.back(found[name]())[keep] if name in found else points[name].array[keep]

    # column by column, for a frame of many kinds is slow to copy whole
    names = [*found, *(name for name in points.columns if name not in found)]
    table = dict(zip(names, for_each(column, names), strict=True))
    place = gpd.array.GeometryArray(table.pop(points.geometry.name), crs=points.crs)
    return gpd.GeoDataFrame(table, geometry=place, index=points.index[keep], copy=False)


def _pass_report(track: Track) -> dict[str, float | str]:
    return {
        "passes": track.passes,
        "machines": ", ".join(track.machine_names),
        "clock_steps_back": track.clock_steps_back,
        "order": "by time within each machine" if track.sorted_by_time else "as in the file",
    }


def _tell(report: Report, counts: pd.DataFrame, track: Track) -> None:
    """Add what was left out, and a clock set back, to the report."""
    points = dict(zip(counts["reason"], counts["points"], strict=True))
    for code, reasons in (
        ("yield.not_positive", ["no_flow"]),
        ("yield.outlier", ["impossible", "far_out", "unlike_neighbors"]),
        ("points.duplicate", ["co_located"]),
    ):
        count = sum(points[reason] for reason in reasons)
        if count:
            report.add(code, "yield points", f"{count:,} of {sum(points.values()):,} records were left out.")
    if track.clock_steps_back or track.sorted_by_time:
        how = "records were sorted by time" if track.sorted_by_time else "the file's order was kept"
        report.add("time.order", "yield points", f"The clock runs backwards {track.clock_steps_back} times; {how}.")


def _result(
    points: gpd.GeoDataFrame, codes: np.ndarray, kept: gpd.GeoDataFrame, counts: pd.DataFrame, corrections: dict,
    driven: Driven | None,
) -> Cleaned:  # fmt: skip
    out = codes != 0
    removed = points[out].assign(removed_because=names_of(codes[out]).astype(str))
    return Cleaned(kept, removed, counts, corrections, driven)


def raw_summary(points: pd.DataFrame) -> dict[str, float]:
    """Return area, dry grain, bushels and area-weighted bushels per acre of the records as they are.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS`.

    Returns
    -------
    dict
        ``area_ha``, ``dry_mg``, ``bushels`` (56 lb at 15.5 %), ``bu_ac``; the last is NaN without area.
    """
    check_table(points, "points", "the raw summary")
    area_m2 = float(points["area_m2"].sum())
    dry_kg = float(points["grain_kg"].sum())
    bushels = dry_kg / KG_DRY_PER_BUSHEL_CORN
    acres = area_m2 / M2_PER_ACRE
    return {
        "area_ha": area_m2 / M2_PER_HA,
        "dry_mg": dry_kg / KG_PER_MG,
        "bushels": bushels,
        "bu_ac": bushels / acres if acres > 0 else float("nan"),
    }
