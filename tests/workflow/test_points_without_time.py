"""Yield points that carry no time, or none that tells one record from the next, keep their records."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from as_user import ask, write_plan

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.stack import new_stack, total
from stovergeo.core.units import KG_DRY_PER_BUSHEL_CORN, KG_PER_LB, M2_PER_ACRE, M_PER_FT
from stovergeo.inputs.grid import farm_grid, put_layers
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers
from stovergeo.workflow import sample_plan_path
from stovergeo.yieldmap import Cleaned, clean_points, grain_surface

SAMPLE = sample_plan_path()
RAW = pd.read_csv(SAMPLE.parent / "yield_points.csv")
SAID_OF_TIME = {"points.no_time", "points.seconds_from_time", "points.time_unit", "years.one_file"}


def as_yields() -> pd.DataFrame:
    """The sample's records as a monitor exports finished yields."""
    dry_kg = RAW["grain_lb_s"] * RAW["sec"] * KG_PER_LB * (1 - RAW["moist_pct"] / 100)
    acres = RAW["dist_ft"] * RAW["width_ft"] * M_PER_FT**2 / M2_PER_ACRE
    yields = (dry_kg / KG_DRY_PER_BUSHEL_CORN / acres).round(1)
    columns = {"lon": RAW["lon"], "lat": RAW["lat"], "bu": yields, "swath": RAW["width_ft"], "dist": RAW["dist_ft"]}
    return pd.DataFrame(columns)


def plan_of(folder: Path, table: pd.DataFrame, time_unit: str | None = None, **more: object) -> dict:
    """The sample's plan with these points in place of its own, as data."""
    table.to_csv(folder / "points.csv", index=False)
    data = copy.deepcopy(tomllib.loads(SAMPLE.read_text("utf-8")))
    for layer in data["layers"].values():
        layer["path"] = str(SAMPLE.parent / layer["path"])
    roles = {"bu": ("yield", "bu/ac at 15.5 %"), "swath": ("swath", "ft"), "dist": ("distance", "ft")}
    columns, units = {"x": "lon", "y": "lat"}, {}
    for name, (role, unit) in roles.items():
        if name in table:
            columns[role], units[role] = name, unit
    if "t" in table:
        columns["time"] = "t"
        units["time"] = time_unit
    if "combine" in table:
        columns["machine"] = "combine"
    data["layers"]["yield_points"] = {
        "path": str(folder / "points.csv"), "crs": "EPSG:4326", "columns": columns, "units": units, **more
    }  # fmt: skip
    return data


def grain_of(data: dict, folder: Path) -> tuple[float, Cleaned, Report]:
    """Dry grain of the farm, Mg, from its points; what cleaning found; what reading reported."""
    report, coefficients = Report(), load_handbook()
    plan = plan_from(data, folder, report)
    farm = read_layers(plan, report)
    report.stop_if_refused()
    grid = farm_grid(farm.fields, farm.surroundings.get("property"), farm.crs, plan.farm.cell_m, plan.farm.margin_m)
    stack = put_layers(new_stack(grid), farm, farm.fields)
    cleaned = clean_points(farm.points, coefficients, Report())
    surface = grain_surface(cleaned.points, farm.fields, stack, coefficients, driven=cleaned.driven)
    return (
        total(stack.assign(grain_mg_ha=surface.grain), "grain_mg_ha", stack["field_number"].notnull()),
        cleaned,
        report,
    )


@pytest.fixture(scope="module")
def own_grain_mg(tmp_path_factory: pytest.TempPathFactory) -> float:
    """The sample's grain from its own columns."""
    folder = tmp_path_factory.mktemp("own")
    data = plan_of(folder, as_yields())
    own = copy.deepcopy(tomllib.loads(SAMPLE.read_text("utf-8")))["layers"]["yield_points"]
    data["layers"]["yield_points"] = {**own, "path": str(SAMPLE.parent / own["path"])}
    return grain_of(data, folder)[0]


def days() -> np.ndarray:
    return np.where(np.arange(len(RAW)) < 20_000, "2026-10-03", "2026-10-04")


def minutes() -> pd.Series:
    return (pd.Timestamp("2026-10-03") + pd.to_timedelta(RAW["clock_s"], unit="s")).dt.strftime("%Y-%m-%d %H:%M")


@pytest.mark.parametrize(
    ("without", "time", "unit"),
    [
        pytest.param([], None, None, id="no time"),
        pytest.param(["swath", "dist"], None, None, id="places and yields only"),
        pytest.param([], 5.0, "s", id="one time"),
        pytest.param([], 5.0, None, id="one time of no epoch"),
        pytest.param([], "", "s", id="empty"),
        pytest.param([], "", "iso", id="empty, ISO"),
        pytest.param([], days(), "iso", id="days"),
        pytest.param([], minutes(), "iso", id="minutes"),
    ],
)
def test_records_without_a_time_keep_their_grain(tmp_path, own_grain_mg, without, time, unit) -> None:
    table = as_yields().drop(columns=without)
    if time is not None:
        table["t"] = time
    more = {"swath": "40 ft"} if "swath" in without else {}
    grain_mg, cleaned, report = grain_of(plan_of(tmp_path, table, unit, **more), tmp_path)
    assert grain_mg == pytest.approx(own_grain_mg, rel=0.005)
    counts = cleaned.counts.set_index("reason")
    assert counts.loc["kept", "points"] > 0.9 * len(RAW)
    # a spacing is no speed, and no delay can be found: both are reported as not looked for
    for reason in ("speed", "not_recorded"):
        assert counts.loc[reason, "points"] == 0
        assert counts.loc[reason, "message"].key == "reason.no_time"
    assert all(found["message"].key == "delay.no_time" for found in cleaned.corrections["delay"].values())
    told = {p.code: p.severity for p in report if p.code in SAID_OF_TIME - {"points.time_unit"}}
    assert told == {"points.no_time": "warn"}


def test_check_says_that_there_is_no_time(tmp_path) -> None:
    plan = write_plan(plan_of(tmp_path, as_yields()), tmp_path)
    code, out, _ = ask("check", plan)
    assert code == 0
    assert "points.no_time" in out


@pytest.mark.parametrize("with_time", ["stamps", "one duration", "one machine of two"])
def test_times_that_are_known_are_still_used(tmp_path, own_grain_mg, with_time) -> None:
    table, more = as_yields(), {}
    slow = np.arange(len(table)) % 1000 == 500
    table.loc[slow, "dist"] = 0.5
    if with_time == "one duration":
        more["seconds"] = "3 s"
    else:
        table["combine"] = RAW["combine"]
        table["t"] = RAW["clock_s"] if with_time == "stamps" else RAW["clock_s"].where(RAW["combine"] == "A")
    grain_mg, cleaned, report = grain_of(plan_of(tmp_path, table, "s", **more), tmp_path)
    assert grain_mg == pytest.approx(own_grain_mg, rel=0.005)
    assert "points.no_time" not in {p.code for p in report}
    timed = (RAW["combine"] == "A").to_numpy() if with_time == "one machine of two" else np.ones(len(RAW), bool)
    assert set(np.flatnonzero(slow & timed)) <= set(cleaned.removed.index)
    by_speed = cleaned.removed.index[cleaned.removed["removed_because"] == "speed"]
    assert len(by_speed) > 0
    assert timed[by_speed].all()


def test_a_flow_without_durations_is_refused(tmp_path) -> None:
    data = plan_of(tmp_path, RAW.assign(t=5.0), "s")
    points = data["layers"]["yield_points"]
    points["columns"] |= {"flow": "grain_lb_s", "moisture": "moist_pct", "distance": "dist_ft", "swath": "width_ft"}
    points["units"] |= {"flow": "lb/s", "moisture": "%", "distance": "ft", "swath": "ft"}
    code, _, err = ask("plan", write_plan(data, tmp_path), "--out", tmp_path / "out")
    assert code == 2
    assert "points.seconds" in err
    assert not (tmp_path / "out").exists()
