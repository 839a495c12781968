"""The chosen fields in past autumns: what a season says of its baling window, and the whole answer for the command."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from stovergeo import bales
from stovergeo.core.bale_catalog import SHAPES, cover_named
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.plan import Plan, read_plan
from stovergeo.inputs.plan.base import month_day
from stovergeo.inputs.plan.window import WEEKDAYS
from stovergeo.workflow.progress import Step, quiet
from stovergeo.workflow.run_size import ReportSize, no_progress
from stovergeo.workflow.steps import Ground, Season
from stovergeo.workflow.weather import PastAutumns

if TYPE_CHECKING:  # a plan without weather does not load the replay
    from stovergeo.window import Autumns, Chance, Crew, FieldToBale, Lever, Order, Replay, Wait

message = Catalog("stovergeo.workflow")
#: method of gathering -> how its stover lies while it dries; a single pass bales behind the combine
LIES: Final = {"second_pass": "windrowed", "rake_bale": "combined", "chop_and_rake": "shredded"}
#: balers that are tried beside the plan's own
TRIED: Final = (1, 2, 3, 4)
#: moisture up to which square bales under a tarp may be used soon: days from baling to the last (judgment)
_BY_SPRING_D: Final = 180
#: days of the wait that is priced
_WAIT_D: Final = 7


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be baled of the plan's choice, and by whom."""

    past: Autumns
    fields: list[FieldToBale]
    crew: Crew
    done_by: int
    behind_combine: int  #: bales of a single pass, which wait for no dry day
    wetter_pct: float  #: wettest stover that its buyers take, in the store that takes wetter bales than the plan's

    @property
    def bales(self) -> int:
        """Bales that wait for fit days."""
        return round(sum(one.bales for one in self.fields))


@dataclass(frozen=True, slots=True)
class Judged:
    """What the replay of the plan's own work says."""

    chance: Chance
    own: Replay
    fewest: int | None
    balers: pd.DataFrame  #: see `stovergeo.window.balers_needed`
    wanted: float
    sure: int  #: bales made in time with the wanted chance
    levers: list[Lever]

    @property
    def binds(self) -> bool:
        """Whether fewer autumns than wanted are done in time."""
        return self.chance.value < self.wanted


@dataclass(frozen=True, slots=True)
class WindowAnswer:
    """All that the command tells; `sections` hold a heading and its sentences."""

    plan: Plan
    sections: list[tuple[Message, list[Message]]]
    record: dict[str, Any]  #: the same as numbers, for other programs


def not_checked(season: Season) -> dict[str, Message | str]:
    """Return that the window was not checked, where no weather was given."""
    return {"baling window": message("window.not_checked")} if season.ready.autumns is None else {}


def season_messages(season: Season) -> list[Message]:
    """Return in a few sentences the chance, the balers it takes and, where the window binds, what would loosen it."""
    if season.ready.autumns is None:
        return []
    work = work_of(season, season.ready.autumns)
    if not work.fields:
        return _behind(work)
    judged = judge(work, season.ready.coefficients)
    return [*_chance(work, judged), *_balers(judged), *_loosen(work, judged), *_behind(work)]


def work_of(season: Season, autumns: PastAutumns) -> Work:
    """Return the chosen zones as work for the crew: one field to bale for each field and method."""
    from stovergeo.window import FieldToBale

    plan, made = season.ready.plan, season.counts.made
    zones = season.chosen.worked.drop(columns="method").merge(made[["zone_id", "method", "bales", "bale_dry_kg"]])
    zones = zones[(zones["bales"] > 0) & (zones["removal_mg_ha"] > 0)]
    zones["gathered_ha"] = zones["removal_mg"] / zones["removal_mg_ha"]
    names = season.ready.fields.set_index("field_id")["name"].astype(str)
    ground, grain = _ground_of_fields(season.grounds), _grain_moisture(season)
    several_named = names.value_counts()
    several = zones.groupby("field_id")["method"].nunique()
    tiled = {one.field for one in plan.window.fields if one.tiled}
    fields, behind = [], 0
    for (field_id, method), part in zones.groupby(["field_id", "method"], sort=False):
        if method not in LIES:
            behind += int(part["bales"].sum())
            continue
        name = names[field_id] if several_named[names[field_id]] == 1 else f"{names[field_id]} ({field_id})"
        drainage, clay = ground[field_id]
        fields.append(
            FieldToBale(
                name=name
                if several[field_id] == 1
                else f"{name} ({season.grounds[0].removable.methods[method].title})",
                area_ha=float(part["gathered_ha"].sum()),
                bales=float(part["bales"].sum()),
                bale_dry_kg=float(np.average(part["bale_dry_kg"], weights=part["bales"])),
                method=LIES[method],
                grain_moisture_pct=grain.get(field_id, float("nan")),
                combined=autumns.combined[field_id],
                deadline=autumns.last_day.get(field_id),
                drainage_class=drainage,
                clay_pct=clay,
                tiled=names[field_id] in tiled,
            )
        )
    worked = zones.loc[zones["method"].isin(list(LIES)), ["field_id", "method"]].drop_duplicates()["field_id"]
    crew = _crew(season, _apart_km(season.ready.fields, worked.tolist()))
    return Work(autumns.past, fields, crew, autumns.done_by, behind, _limits_pct(season)[1])


def _ground_of_fields(grounds: Sequence[Ground]) -> dict[str, tuple[float, float]]:
    """Return the middle drainage class and the mean clay, %, of each field, by id; NaN where the soil is not known."""
    found = {}
    for ground in grounds:
        stack = ground.removable.stack
        number = stack["field_number"].to_numpy()
        for row, field_id in enumerate(ground.cluster.fields["field_id"]):
            here = number == row
            drainage, clay = (stack[name].to_numpy()[here] for name in ("drainage_class", "clay_pct"))
            drainage, clay = (values[np.isfinite(values)] for values in (drainage, clay))
            middle = float(np.quantile(drainage, 0.5, method="lower")) if len(drainage) else float("nan")
            found[field_id] = (middle, float(clay.mean()) if len(clay) else float("nan"))
    return found


def _grain_moisture(season: Season) -> dict[str, float]:
    """Return the mean moisture of the grain that the yield points recorded, %, by field."""
    found: dict[str, float] = {}
    for ground in season.grounds:
        points = ground.yields.grain.points
        if points is None or "moisture_pct" not in points:
            continue
        kept = points.loc[points["removed_because"] == "", ["moisture_pct", "geometry"]]
        within = gpd.sjoin(kept, ground.cluster.fields[["field_id", "geometry"]], predicate="within")
        found |= within.groupby("field_id")["moisture_pct"].mean().dropna().to_dict()
    return found


def _apart_km(fields: gpd.GeoDataFrame, ids: Sequence[str]) -> np.ndarray:
    """Return the straight lines between the middles of fields, km: roads are longer."""
    middles = fields.set_index("field_id").geometry.centroid.loc[list(ids)]
    xy = np.column_stack([middles.x, middles.y])
    return np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1)) / 1000


def _crew(season: Season, road_km: np.ndarray) -> Crew:
    from stovergeo.window import Crew

    plan = season.ready.plan
    return Crew(
        shape="round" if SHAPES[plan.bale.shape].is_cylinder else "square",
        balers=plan.money.crews,
        limit_pct=_limits_pct(season)[0],
        windrow_m=plan.gather.working_width_m,
        shred_ha_h=None if "chop_and_rake" in set(season.counts.made["method"]) else inf,
        days_off=frozenset(WEEKDAYS.index(day) for day in plan.window.days_off),
        holidays=frozenset(map(month_day, plan.window.holidays)),
        road_km=road_km,
    )


def _limits_pct(season: Season) -> tuple[float, float]:
    """Return the wettest stover that is baled, %, as the plan keeps its bales and in the store for wetter ones."""
    from stovergeo.window import limit_pct

    plan, use = season.ready.plan, season.chosen.choice.wrap_use
    wraps = sorted(set(use["wrap"])) if len(use) else [bales.planned_wrap(plan)]
    wetter = "round_shed" if SHAPES[plan.bale.shape].is_cylinder else "square_by_spring"
    buyers = [one.moisture_max_pct for one in plan.need.contract if one.moisture_max_pct is not None]
    own, other = (
        min([limit_pct(store, season.ready.coefficients), *buyers]) for store in (_kept_as(plan, wraps), wetter)
    )
    return own, other


def _kept_as(plan: Plan, wraps: Sequence[str]) -> str:
    """Return the store by which the wettest stover is judged; of several wraps the one that asks for the driest."""
    if not SHAPES[plan.bale.shape].is_cylinder:
        start, end = plan.storage.span(plan.farm.season)
        return "square_by_spring" if (end - start).days <= _BY_SPRING_D else "square_covered"
    covers = [cover_named(name) for name in wraps]
    sheds = plan.storage.place != "outside" or all(one.rain_cover or one.over_row or one.roof for one in covers)
    return "round_shed" if sheds else "round_net"


def judge(work: Work, coefficients: Handbook, draws: int = 200) -> Judged:
    """Return the chance of the plan's own work with its bands, the balers it takes, and what would loosen it."""
    from stovergeo.window import baler_table, chance, replay_balers, sure_bales

    counts = sorted({*TRIED, work.crew.balers, work.crew.balers + 1})
    found = replay_balers(work.past, work.fields, work.crew, coefficients, counts, draws)
    own = found[counts.index(work.crew.balers)]
    by, wanted = chance(own, work.done_by), coefficients.value("window.chance.wanted")
    fewest, table = baler_table(found, coefficients, work.done_by)
    sure = sure_bales(own, work.done_by, wanted)
    judged = Judged(by, own, fewest, table, wanted, sure, [])
    return replace(judged, levers=_levers(work, found, by, coefficients)) if judged.binds else judged


def _levers(work: Work, by_balers: Sequence[Replay], own: Chance, coefficients: Handbook) -> list[Lever]:
    """Return the single changes that let more autumns finish; of more balers the first number that does."""
    from stovergeo.window import Lever, chance, replay

    def lever(name: str, value: float, found: Replay, by_day: int = work.done_by) -> Lever:
        return Lever(name, value, chance(found, by_day).finished, own.years)

    more = [lever("baler", one.balers, one) for one in by_balers if one.balers > work.crew.balers]
    tried = [one for one in more if one.finished > own.finished][:1]
    now = next(one for one in by_balers if one.balers == work.crew.balers)
    if (later := work.done_by + _WAIT_D) < work.past.days:
        tried.append(lever("later", later, now, later))
    if work.wetter_pct > work.crew.limit_pct:
        wetter = replace(work.crew, limit_pct=work.wetter_pct)
        store = "round_shed" if work.crew.shape == "round" else "square_by_spring"
        found = replay(work.past, work.fields, wetter, coefficients, draws=0)
        tried.append(lever(store, work.wetter_pct, found))
    if any(one.method == "combined" for one in work.fields):
        shredded = [replace(f, method="shredded") if f.method == "combined" else f for f in work.fields]
        shredding = replace(work.crew, shred_ha_h=None)
        tried.append(lever("shred", 0, replay(work.past, shredded, shredding, coefficients, draws=0)))
    return [one for one in tried if one.finished > own.finished]


def _chance(work: Work, judged: Judged) -> list[Message]:
    from stovergeo.window import chance_messages

    return chance_messages(judged.chance, work.past, work.done_by)


def _balers(judged: Judged) -> list[Message]:
    from stovergeo.window import fewest_messages

    return fewest_messages(judged.fewest, int(judged.balers["balers"].max()), judged.wanted)


def _loosen(work: Work, judged: Judged) -> list[Message]:
    from stovergeo.window import loosen_messages

    if not judged.binds:
        return []
    return loosen_messages(judged.levers, work.past, judged.sure, work.bales, judged.wanted)


def _behind(work: Work) -> list[Message]:
    return [message("window.behind_combine", bales=work.behind_combine)] if work.behind_combine else []


def bale_window(plan_path: Path, report: Report, step: Step = quiet, tell: ReportSize = no_progress) -> WindowAnswer:
    """Run a season up to its choice, and replay the chosen fields in past autumns.

    Parameters
    ----------
    plan_path : Path
    report : Report
    step : callable, optional
        Told what is being done and the share done before it.
    tell : callable, optional
        Told what the run will need, before any raster is read.

    Returns
    -------
    WindowAnswer
        Chance, days, order, balers and waiting, as messages and as numbers.

    Raises
    ------
    InputError
        As `run_season`; ``window.needs_weather``.
    """
    from stovergeo.workflow.run import worked_out

    plan = read_plan(plan_path, report)
    if plan.layers.weather is None:
        raise report.refuse("window.needs_weather", "plan file, layers.weather", "It is not there.")
    season = worked_out(plan, report, step, tell)
    assert season.ready.autumns is not None
    step("Replaying past autumns", 0.95)
    work = work_of(season, season.ready.autumns)
    if not work.fields:
        nothing = [(message("window.head.work"), [message("window.nothing"), *_behind(work)])]
        return WindowAnswer(season.ready.plan, nothing, {"bales": 0, "behind_combine": work.behind_combine})
    return _answer(season.ready.plan, work, season.ready.coefficients)


def _answer(plan: Plan, work: Work, coefficients: Handbook) -> WindowAnswer:
    """Return all that the command tells of the work."""
    from stovergeo import window

    names, past, by_day = [one.name for one in work.fields], work.past, work.done_by
    judged = judge(work, coefficients)
    likely = window.likely_days(judged.own, names)
    order = window.best_order(past, work.fields, work.crew, coefficients, by_day)
    price = plan.money.stover_value_per_mg
    worth = coefficients.value("storage.worth") if price is None else price
    crew = work.crew
    wait = window.cost_of_waiting(past, work.fields, crew, coefficients, by_day, worth, _WAIT_D, draws=0)
    basis = message("window.work", bales=work.bales, balers=crew.balers, limit=crew.limit_pct, years=len(past.years))
    parts = {
        "work": [basis, *_behind(work)],
        "chance": [*_chance(work, judged), *_loosen(work, judged)],
        "days": window.likely_messages(likely, past),
        "order": window.order_messages(order, names, past, by_day),
        "balers": [*_balers(judged), *window.baler_messages(judged.balers)],
        "wait": window.wait_messages(wait),
    }
    sections = [(message(f"window.head.{key}"), said) for key, said in parts.items() if said]
    return WindowAnswer(plan, sections, _record(work, judged, likely, order, wait))


def _record(work: Work, judged: Judged, likely: pd.DataFrame, order: Order, wait: Wait) -> dict[str, Any]:
    """Return the answer as numbers; days are month-day."""
    from stovergeo.window import day_at

    def day(index: float) -> str | None:
        return f"{day_at(work.past, index):%m-%d}" if np.isfinite(index) else None

    days = likely.assign(**{name: [day(v) for v in likely[name]] for name in ("early", "middle", "late")})
    names = [one.name for one in work.fields]
    return {
        "years": list(work.past.years),
        "years_left_out": list(work.past.left_out),
        "done_by": day(work.done_by),
        "bales": work.bales,
        "behind_combine": work.behind_combine,
        "balers": work.crew.balers,
        "limit_pct": work.crew.limit_pct,
        "wanted": judged.wanted,
        "chance": {"value": judged.chance.value, **asdict(judged.chance)},
        "bales_with_wanted_chance": judged.sure,
        "fewest_balers": judged.fewest,
        "by_balers": judged.balers.to_dict("records"),
        "loosened_by": [asdict(lever) for lever in judged.levers],
        "fields": days.to_dict("records"),
        "order": {**asdict(order), "fields": [names[k] for k in order.fields]},
        "wait": {**asdict(wait), "risk_bales": wait.risk_bales},
    }
