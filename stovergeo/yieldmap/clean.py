"""Cleaning raw combine points: every step in order, counted, with its reason kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from dataclasses import fields as dataclass_fields

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo.errors import Report
from stovergeo.handbook import Handbook
from stovergeo.schemas import check_table
from stovergeo.units import KG_PER_MG, M2_PER_HA
from stovergeo.yieldmap import steps
from stovergeo.yieldmap.delay import DelaySearch, find_delay, moved
from stovergeo.yieldmap.machines import machine_offsets
from stovergeo.yieldmap.outliers import MAD_TO_SD
from stovergeo.yieldmap.pairs import Pairs, side_pairs
from stovergeo.yieldmap.passes import Track, track_of
from stovergeo.yieldmap.swath import new_share

#: every reason a record may be removed for, in the order of the steps: name, title, words
REASONS: dict[str, tuple[str, str]] = {
    "incomplete": ("Incomplete record", "no position, yield, moisture or harvested area"),
    "header_up": ("Header up", "the header was not cutting"),
    "co_located": ("Same place", "same place as an earlier record of the machine"),
    "no_flow": ("No grain flow", "no grain, or less than none, over the ground covered"),
    "moisture": ("Moisture", "moisture outside what corn grain can have"),
    "delay_end": ("Not recorded", "its grain passed the sensor when nothing was being recorded"),
    "short_pass": ("Short pass", "too short a run to fill the combine: a turn or a start"),
    "pass_start": ("Filling up", "start of a pass, while the combine fills"),
    "pass_end": ("Running empty", "end of a pass, while the combine runs empty"),
    "speed": ("Speed", "too slow, too fast, or a sudden change of speed"),
    "part_swath": ("Part swath", "less than the least share of the swath was cut"),
    "overlap": ("Overlap", "most of the ground had been harvested before"),
    "impossible": ("Impossible yield", "more grain than any corn crop ever gave"),
    "far_out": ("Far out", "far outside the field's yields, and its neighbours do not side with it"),
    "unlike_neighbours": ("Unlike its neighbours", "far from its neighbours' yields, and few side with it"),
}
KEPT = "kept"
#: reasons that say nothing against the ground having been harvested there
HARVESTED = frozenset(
    (
        "moisture",
        "delay_end",
        "short_pass",
        "pass_start",
        "pass_end",
        "speed",
        "impossible",
        "far_out",
        "unlike_neighbours",
    )
)


@dataclass(frozen=True, slots=True)
class Cleaned:
    """Cleaned yield points."""

    points: gpd.GeoDataFrame  #: kept records, yields corrected, in the middle of their ground
    removed: gpd.GeoDataFrame  #: removed records as they came, with `removed_because`
    counts: pd.DataFrame  #: reason, title, points, share, words; in order, last row what was kept
    corrections: dict[str, dict]  #: what was corrected, by topic: passes, delay, ends, overlap, machines


def clean_points(points: gpd.GeoDataFrame, book: Handbook, report: Report) -> Cleaned:
    """Clean raw combine points in documented steps, and count what each removes.

    Parameters
    ----------
    points : GeoDataFrame
        `schemas.POINTS` in the farm's working CRS (metres). Index is kept.
    book : Handbook
        The `yieldmap` group.
    report : Report
        Receives a note for duplicates, backward clocks and impossible yields.

    Returns
    -------
    Cleaned
        Kept and removed records together are all records given.

    Notes
    -----
    Flow delay moves a record's grain, overlap shrinks its area, and machines that
    worked side by side are set to one level. Everything else only removes. A record is removed for the first reason met, in the order of `REASONS`.
    """
    check_table(points, "points", "cleaning")
    because = np.full(len(points), "", dtype=object)
    whole = _whole_records(points)
    because[~whole] = "incomplete"
    if not whole.any():
        return _result(points, because, points.iloc[:0], {})
    sound = points[whole] if not whole.all() else points
    track = track_of(
        sound, gap_records=book.value("yieldmap.pass.gap_records"), turn_deg=book.value("yieldmap.pass.turn_deg")
    )
    run = _Run(track, sound)
    corrections: dict[str, dict] = {"passes": _pass_report(track)}
    _plain_faults(run, book)
    pairs = side_pairs(track.at_middle())
    corrections["delay"] = _delays(run, pairs, book)
    _pass_faults(run, book, corrections)
    corrections["overlap"] = _swaths(run, pairs, book)
    _outliers(run, book)
    corrections["machines"] = _machines(run, book)
    because[np.flatnonzero(whole)[track.order]] = run.because
    kept = _kept(sound, run)
    _tell(report, because, track)
    return _result(points, because, kept, corrections)


class _Run:
    """The records in driving order while they are being cleaned."""

    def __init__(self, track: Track, points: gpd.GeoDataFrame) -> None:
        self.track = track
        self.because = np.full(len(points), "", dtype=object)
        self.area = points["area_m2"].to_numpy(float)[track.order]
        self.grain = points["grain_kg"].to_numpy(float)[track.order]
        self.moved_m = -0.5 * track.length  # from the record's end to the middle of where its grain stood
        self.moisture = points["moisture_pct"].to_numpy(float)[track.order] if "moisture_pct" in points else None
        self.header = points["header_down"].to_numpy(float)[track.order] if "header_down" in points else None

    @property
    def kept(self) -> np.ndarray:
        return self.because == ""

    @property
    def yields(self) -> np.ndarray:
        """Dry grain, Mg/ha."""
        return self.grain / KG_PER_MG / (self.area / M2_PER_HA)

    def remove(self, where: np.ndarray, reason: str) -> None:
        self.because[where & self.kept] = reason


def _whole_records(points: gpd.GeoDataFrame) -> np.ndarray:
    geometry = points.geometry
    whole = ~(geometry.is_empty | geometry.isna()).to_numpy()
    whole &= np.isfinite(geometry.x.to_numpy()) & np.isfinite(geometry.y.to_numpy())
    area, grain = points["area_m2"].to_numpy(float), points["grain_kg"].to_numpy(float)
    return whole & np.isfinite(grain) & np.isfinite(area) & (area > 0)


def _plain_faults(run: _Run, book: Handbook) -> None:
    if run.header is not None:
        run.remove(run.header == 0, "header_up")
    run.remove(steps.co_located(run.track), "co_located")
    run.remove(run.grain <= 0, "no_flow")
    if run.moisture is not None:
        low, high = book.value("yieldmap.moisture.least_pct"), book.value("yieldmap.moisture.most_pct")
        run.remove((run.moisture < low) | (run.moisture > high), "moisture")


def _delays(run: _Run, pairs: Pairs, book: Handbook) -> dict[str, dict]:
    """Find each machine's flow delay and move its grain where that helps."""
    search = DelaySearch(*(book.value(f"yieldmap.delay.{c.name}") for c in dataclass_fields(DelaySearch)))
    track, middle, found = run.track, run.track.at_middle(), {}
    rate = run.grain / track.seconds
    yields = np.where(run.kept, run.yields, np.nan)
    for number, name in enumerate(track.machine_names):
        mine = (track.machine[pairs.one] == number) & (track.machine[pairs.other] == number)
        delay = find_delay(middle, yields, pairs.where(mine), search)
        if delay.applied:
            here = track.machine == number
            source, ahead_m = moved(track, delay.seconds)
            run.remove(here & (source < 0), "delay_end")
            measured = here & (source >= 0)
            run.grain = np.where(measured, rate[source] * track.seconds, run.grain)
            run.moved_m += np.where(measured, ahead_m, 0.0)
            run.remove(here & (run.grain <= 0), "no_flow")
        found[name] = asdict(delay)
    return found


def _pass_faults(run: _Run, book: Handbook, corrections: dict[str, dict]) -> None:
    track = run.track
    run.remove(steps.short_passes(track, int(book.value("yieldmap.pass.least_records"))), "short_pass")
    corrections["ends"] = {}
    most_s, settle_s, tolerance = (book.value(f"yieldmap.ends.{name}") for name in ("most_s", "settle_s", "tolerance"))
    for number, name in enumerate(track.machine_names):
        mine = track.machine == number
        ramp = steps.pass_ramp(track, run.yields, mine & run.kept, most_s, settle_s, tolerance)
        start, end = steps.in_ramp(track, ramp)
        run.remove(mine & start, "pass_start")
        run.remove(mine & end, "pass_end")
        corrections["ends"][name] = {"start_records": ramp.start, "end_records": ramp.end, "passes": ramp.passes}
    speed = [book.value(f"yieldmap.speed.{name}") for name in ("least_m_s", "most_m_s", "most_change")]
    run.remove(steps.bad_speed(track, *speed), "speed")


def _swaths(run: _Run, pairs: Pairs, book: Handbook) -> dict[str, float]:
    """Count only ground not harvested before; remove records that cut too little of it."""
    track = run.track
    least = book.value("yieldmap.swath.least_share")
    usual = float(np.median(track.swath))
    run.remove(track.swath < least * usual, "part_swath")
    share = new_share(track, usual / book.value("yieldmap.swath.bitmap_cells"))
    noise = 0.0
    if len(pairs.across):
        noise = float(MAD_TO_SD * np.median(abs(pairs.across - np.median(pairs.across))) / usual)
    slack = max(book.value("yieldmap.swath.noise_factor") * noise, book.value("yieldmap.swath.least_overlap"))
    overlapping = np.isfinite(share) & (share < 1 - slack)
    run.remove(overlapping & (share < least), "overlap")
    shrink = overlapping & run.kept
    before = float(run.area[shrink].sum())
    run.area = np.where(shrink, run.area * np.where(shrink, share, 1.0), run.area)
    return {
        "records": int(shrink.sum()),
        "area_m2": before - float(run.area[shrink].sum()),
        "spacing_sd_m": noise * usual,
        "least_new_share": 1 - slack,
    }


def _outliers(run: _Run, book: Handbook) -> None:
    track = run.track
    run.remove(run.yields > book.value("yieldmap.outlier.most_mg_ha"), "impossible")
    kept = np.flatnonzero(run.kept)
    if len(kept) < 8:
        return
    reach = book.value("yieldmap.outlier.reach_swaths") * float(np.median(track.swath))
    found = steps.outliers(
        track.x[kept], track.y[kept], run.yields[kept], track.pass_id[kept], reach,
        *(book.value(f"yieldmap.outlier.{name}") for name in ("tukey", "hampel", "siding")),
    )  # fmt: skip
    for reason, where in zip(("far_out", "unlike_neighbours"), found, strict=True):
        flag = np.zeros(len(run.because), bool)
        flag[kept[where]] = True
        run.remove(flag, reason)


def _machines(run: _Run, book: Handbook) -> dict[str, dict]:
    """Set machines to one level where they worked side by side; the total stays what it was."""
    track = run.track
    if len(track.machine_names) < 2 or run.kept.sum() < 50:
        return {}
    kept = np.flatnonzero(run.kept)
    x = (track.x + run.moved_m * track.east)[kept]
    y = (track.y + run.moved_m * track.north)[kept]
    scale_m = book.value("yieldmap.machines.scale_swaths") * float(np.median(track.swath))
    found = machine_offsets(
        x, y, run.yields[kept], run.area[kept], track.machine[kept], track.pass_id[kept], len(track.machine_names), scale_m
    )  # fmt: skip
    least, errors = book.value("yieldmap.machines.least_offset"), book.value("yieldmap.machines.least_errors")
    apart = np.exp(found.offset) - 1
    applied = (abs(apart) >= least) & (abs(found.offset) >= errors * found.error)
    if applied.any():
        # all machines that met are moved together, else the step would only be halved
        met = np.isfinite(found.error)
        before = run.grain[kept].sum()
        run.grain[kept] /= np.where(met, np.exp(found.offset), 1.0)[track.machine[kept]]
        run.grain[kept] *= before / run.grain[kept].sum()
    return {
        name: {
            "offset": float(apart[m]),
            "error": float(found.error[m]),
            "applied": bool(applied.any() and np.isfinite(found.error[m])),
            "words": _offset_words(float(apart[m]), float(found.error[m]), bool(applied.any())),
        }
        for m, name in enumerate(track.machine_names)
    }


def _offset_words(apart: float, error: float, applied: bool) -> str:
    if not np.isfinite(error):
        return "never met another machine: not compared"
    side = "above" if apart > 0 else "below"
    done = "corrected" if applied else "too little to correct"
    return f"reads {abs(apart):.1%} {side} the common level (standard error {error:.1%}): {done}"


def _kept(points: gpd.GeoDataFrame, run: _Run) -> gpd.GeoDataFrame:
    track = run.track
    keep = track.back(run.kept)
    heading = np.degrees(np.arctan2(track.east, track.north)) % 360
    columns = {
        "area_m2": run.area, "grain_kg": run.grain, "grain_mg_ha": run.yields,
        "pass_number": track.pass_id, "heading_deg": heading, "moved_m": run.moved_m,
    }  # fmt: skip
    kept = points[keep].assign(**{name: track.back(values)[keep] for name, values in columns.items()})
    x = track.back(track.x + run.moved_m * track.east)[keep]
    y = track.back(track.y + run.moved_m * track.north)[keep]
    return kept.set_geometry(gpd.points_from_xy(x, y, crs=points.crs))


def _pass_report(track: Track) -> dict[str, float | str]:
    return {
        "passes": track.passes,
        "machines": ", ".join(track.machine_names),
        "clock_steps_back": track.clock_steps_back,
        "order": "by time within each machine" if track.sorted_by_time else "as in the file",
    }


def _tell(report: Report, because: np.ndarray, track: Track) -> None:
    for code, reasons in (
        ("yield.not_positive", ("no_flow",)),
        ("yield.outlier", ("impossible", "far_out", "unlike_neighbours")),
        ("points.duplicate", ("co_located",)),
    ):
        count = int(np.isin(because, reasons).sum())
        if count:
            report.add(code, "yield points", f"{count:,} of {len(because):,} records were left out.")
    if track.clock_steps_back or track.sorted_by_time:
        how = "records were sorted by time" if track.sorted_by_time else "the file's order was kept"
        report.add("time.order", "yield points", f"The clock runs backwards {track.clock_steps_back} times; {how}.")


def _result(points: gpd.GeoDataFrame, because: np.ndarray, kept: gpd.GeoDataFrame, corrections: dict) -> Cleaned:
    out = because != ""
    removed = points[out].assign(removed_because=because[out].astype(str))
    tally = pd.Series(because).value_counts()
    rows = [(name, *words, int(tally.get(name, 0))) for name, words in REASONS.items()]
    rows.append((KEPT, "Kept", "used for the grain surface", int((~out).sum())))
    counts = pd.DataFrame(rows, columns=["reason", "title", "words", "points"])
    counts["share"] = counts["points"] / max(len(points), 1)
    return Cleaned(kept, removed, counts[["reason", "title", "points", "share", "words"]], corrections)
