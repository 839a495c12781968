"""The season's work replayed in each past autumn, with the constants as they are and as they may be."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from stovergeo.core.coefficients import Handbook
from stovergeo.window.autumns import Autumns
from stovergeo.window.chain import Blocks, Fit, Lots, Wetting, dry_basis, follow, hours_of
from stovergeo.window.draws import Draw, draw, middle
from stovergeo.window.drying import METHODS
from stovergeo.window.ground import Carrying, carries_until, carrying
from stovergeo.window.humidity import Air, air_of
from stovergeo.window.progress import NEVER, Calendar, Season, bale, days_of_work
from stovergeo.window.work import Crew, FieldToBale, areas_ha, start_order, task_of

_THREADS: Final = 2


class Setting(NamedTuple):
    """What all draws and plans of one replay share."""

    past: Autumns
    fields: list[FieldToBale]
    crew: Crew
    coefficients: Handbook
    air: Air
    ground: Carrying
    order: list[int]


@dataclass(frozen=True, slots=True)
class Replay:
    """What past autumns would have allowed."""

    years: tuple[int, ...]
    balers: int
    order: list[int]
    middle: Season  #: with the handbook's own numbers
    draws: list[Season]  #: with numbers drawn from their spread


def setting(past: Autumns, fields: list[FieldToBale], crew: Crew, coefficients: Handbook) -> Setting:
    """Return what every replay of these fields shares.

    Raises
    ------
    ValueError
        Where a field gives no day of combining and the crew no pace of the combine, or two fields share a name.
    """
    if len({f.name for f in fields}) < len(fields):
        raise ValueError("each field needs a name of its own: its draws are named by it")
    if any(f.combined is None for f in fields) and not crew.combine_ha_h > 0:
        raise ValueError("give the day on which each field is combined, or the hectares a combine covers in an hour")
    order = start_order(fields, crew)
    return Setting(past, fields, crew, coefficients, air_of(past), carrying(past, coefficients), order)


def replay(
    past: Autumns,
    fields: list[FieldToBale],
    crew: Crew,
    coefficients: Handbook,
    draws: int = 200,
    seed: int = 0,
) -> Replay:
    """Replay the baling of fields in each past autumn.

    Days are never shuffled: wet spells are the risk. The same seed gives the same draws for other fields, crews and
    orders, so that plans are compared on the same years and the same luck.

    Parameters
    ----------
    past : Autumns
    fields : list of FieldToBale
    crew : Crew
    coefficients : Handbook
    draws : int
        Sets of constants drawn from their spread; 0 for none.
    seed : int
    """
    return replay_balers(past, fields, crew, coefficients, (crew.balers,), draws, seed)[0]


def replay_balers(
    past: Autumns,
    fields: list[FieldToBale],
    crew: Crew,
    coefficients: Handbook,
    balers: Sequence[int],
    draws: int = 200,
    seed: int = 0,
) -> list[Replay]:
    """Replay the same work with several numbers of balers, on the same years and draws; see `replay`."""
    shared = setting(past, fields, crew, coefficients)

    def seasons(number: int) -> list[Season]:
        one = middle(past, fields, coefficients) if number < 0 else draw(past, fields, coefficients, seed, number)
        blocks = blocks_of(shared, one)
        return [season_of(shared, one, blocks, shared.order, count) for count in balers]

    with ThreadPoolExecutor(_THREADS) as pool:  # the kernels release the interpreter
        found = list(pool.map(seasons, range(-1, draws)))
    return [
        Replay(past.years, count, shared.order, found[0][k], [each[k] for each in found[1:]])
        for k, count in enumerate(balers)
    ]


def blocks_of(shared: Setting, one: Draw, limit_pct: float | None = None) -> Blocks:
    """Return the fit hours of each field, year and day under one draw; at the crew's limit unless another is given."""
    fields, value = shared.fields, shared.coefficients.value
    drainage, clay = (np.array([getattr(f, name) for f in fields]) for name in ("drainage_class", "clay_pct"))
    tiled = np.array([f.tiled for f in fields])
    until = carries_until(shared.ground, drainage, clay, tiled, one.share, shared.coefficients)
    ready, shredded = lying_days(shared, one, until)
    probes = [f.probe or (-1, np.nan) for f in fields]
    lots = Lots(
        ready=ready,
        shredded=shredded,
        method=np.array([METHODS.index(f.method) for f in fields]),
        start=dry_basis(one.start_pct),
        probe_day=np.array([day for day, _ in probes]),
        probe=dry_basis(np.array([pct for _, pct in probes])),
    )
    drying = one.drying
    wetting = Wetting(shared.ground.water_mm, shared.past.rain_mm, drying.held, drying.fills_mm, drying.soak)
    limit = float(dry_basis(shared.crew.limit_pct if limit_pct is None else limit_pct))
    first, last = int(value("window.crew.first_hour")), int(value("window.crew.last_hour"))
    first_day = int(np.clip(ready.min(), 0, shared.past.days))
    hours = hours_of(shared.air, drying, {0, *lots.method.tolist()}, first_day)  # 0: as combined, before it is shredded
    return follow(hours, wetting, lots, Fit(limit, first, last, value("window.rain.day"), until))


def lying_days(shared: Setting, one: Draw, until: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first day on which the stover of each field lies, and on which it lies as its method says.

    A field lies from the day after the combine leaves it. What is not shredded lies so from its first day.
    """
    fields, crew, value = shared.fields, shared.crew, shared.coefficients.value
    dry = shared.past.rain_mm <= value("window.ground.rain_day")
    order = np.array(shared.order, dtype=np.int64)
    given = np.array([-1 if f.combined is None else f.combined for f in fields], dtype=np.int64)
    is_given = np.array([f.combined is not None for f in fields])
    combined = given[None, :] + np.where(given < crew.today, 0, one.later_d[:, None])
    if not is_given.all():
        begin = np.tile(crew.combine_from + one.later_d[:, None], (1, len(fields)))
        area = np.where(is_given, 0.0, areas_ha(fields))
        by_pace = days_of_work(until, dry, begin, area, order, crew.combine_ha_h * value("window.crew.combine_hours"))
        combined = np.where(is_given, combined, by_pace)
    ready = np.minimum(combined + 1, NEVER)
    to_shred = np.array([f.method != "combined" for f in fields])
    if not to_shred.any():
        return ready, ready
    pace = value("window.pace.shred") if crew.shred_ha_h is None else crew.shred_ha_h
    hours = value("window.crew.last_hour") - value("window.crew.first_hour")
    if not np.isfinite(pace):
        return ready, ready
    cut = days_of_work(until, dry, ready, np.where(to_shred, areas_ha(fields), 0.0), order, pace * hours)
    return ready, np.where(to_shred, np.minimum(cut + 1, NEVER), ready)


def season_of(shared: Setting, one: Draw, blocks: Blocks, order: list[int], balers: int) -> Season:
    """Return what is baled under one draw, in an order and with a number of balers."""
    crew, past = shared.crew, shared.past
    task = task_of(shared.fields, crew, past, order, balers, shared.coefficients)
    holidays = [past.day_of(*day) for day in crew.holidays]
    off = one.broken | np.isin(past.weekdays(), list(crew.days_off)) | np.isin(np.arange(past.days), holidays)
    first_hour = shared.coefficients.value("window.crew.first_hour")
    return bale(task, blocks, Calendar(off, one.pace, _begin(crew, blocks, off, task.block_h), first_hour))


def _begin(crew: Crew, blocks: Blocks, off: np.ndarray, block_h: float) -> np.ndarray:
    """Return the first day of baling of each year: the crew's, or so many days after the first on which it could."""
    years, _, days = blocks.hours.shape
    begin = np.full(years, crew.begin, dtype=np.int64)
    if not crew.wait_d:
        return begin
    could = (blocks.hours >= max(block_h, 1e-9)).any(axis=1) & ~off & (np.arange(days) >= crew.begin)
    first = np.where(could.any(axis=1), could.argmax(axis=1), days)
    return first + crew.wait_d
