"""Cleaning: each fault is found for its own reason, and nothing real is eaten."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from stovergeo.core.errors import ContractError, Report
from stovergeo.yieldmap import REASONS, clean_points


@pytest.fixture(scope="module")
def sound(made):
    """A field without faults."""
    return made.harvest(made.smooth, seconds=2.0)


def _count(cleaned, reason: str) -> int:
    return int(cleaned.counts.set_index("reason")["points"][reason])


def test_sound_field_is_left_alone(sound, coefficients) -> None:
    report = Report()
    cleaned = clean_points(sound, coefficients, report)
    assert len(cleaned.points) > 0.99 * len(sound)
    assert not cleaned.corrections["delay"]["combine 1"]["applied"]
    assert not [p for p in report if p.code != "yield.outlier"]


def test_kept_and_removed_are_all_records(sound, coefficients) -> None:
    cleaned = clean_points(sound, coefficients, Report())
    assert sorted([*cleaned.points.index, *cleaned.removed.index]) == list(sound.index)
    assert list(cleaned.counts["reason"]) == [*REASONS, "kept"]
    assert cleaned.counts["points"].sum() == len(sound)
    assert cleaned.counts["share"].sum() == pytest.approx(1)
    assert [m.key for m in cleaned.counts["message"]] == [f"reason.{name}" for name in cleaned.counts["reason"]]
    by_reason = cleaned.removed["removed_because"].value_counts()
    for reason, count in by_reason.items():
        assert _count(cleaned, reason) == count


FAULTS = {
    "incomplete": ("grain_kg", np.nan),
    "no_flow": ("grain_kg", 0.0),
    "moisture": ("moisture_pct", 3.0),
    "part_swath": ("swath_m", 2.0),
    "impossible": ("grain_kg", 200.0),
}


@pytest.mark.parametrize("reason", FAULTS)
def test_each_fault_keeps_its_reason(sound, coefficients, reason) -> None:
    column, value = FAULTS[reason]
    bad = sound.index[[500, 903, 1400, 2107]]
    faulty = sound.copy()
    faulty.loc[bad, column] = value
    removed = clean_points(faulty, coefficients, Report()).removed
    assert set(removed.loc[bad, "removed_because"]) == {reason}


def test_header_up_is_removed(sound, coefficients) -> None:
    faulty = sound.assign(header_down=1.0)
    faulty.loc[faulty.index[700:706], "header_down"] = 0.0
    assert _count(clean_points(faulty, coefficients, Report()), "header_up") == 6


def test_repeated_and_standing_records_are_removed_once(sound, coefficients) -> None:
    twice = pd.concat([sound, sound.iloc[300:310]], ignore_index=True)
    report = Report()
    cleaned = clean_points(twice, coefficients, report)
    assert _count(cleaned, "co_located") == 10
    assert "points.duplicate" in {p.code for p in report}


def test_sudden_speed_is_removed(sound, coefficients) -> None:
    faulty = sound.copy()
    at = faulty.index[800]
    faulty.loc[at, "distance_m"] = 2.4  # 1.2 m/s among 2 m/s
    faulty.loc[at, "area_m2"] = 2.4 * 9.144
    removed = clean_points(faulty, coefficients, Report()).removed
    # the slow record, and the next one, which speeds up again
    assert set(removed.loc[[at, at + 1], "removed_because"]) == {"speed"}


def test_filling_and_emptying_are_found_from_the_data(made, coefficients) -> None:
    slow_to_fill = made.harvest(made.smooth, seconds=1.0, mixing_s=5.0)
    cleaned = clean_points(slow_to_fill, coefficients, Report())
    ramp = cleaned.corrections["ends"]["combine 1"]
    # a flow that fills up by exp(-t / 5 s) is within some 7 % after 13 s
    assert 8 <= ramp["start"] + max(cleaned.corrections["delay"]["combine 1"]["seconds"], 0) <= 20
    assert ramp["end"] <= 1
    assert _count(cleaned, "pass_start") == ramp["start"] * ramp["passes"]


def test_lone_wild_records_go(sound, coefficients) -> None:
    rng = np.random.default_rng(3)
    wild = rng.choice(np.arange(200, len(sound) - 200), 60, replace=False)
    faulty = sound.copy()
    factor = np.where(np.arange(60) % 2 == 0, 0.35, 1.8)
    for column in ("grain_kg", "grain_mg_ha"):
        faulty.iloc[wild, faulty.columns.get_loc(column)] *= factor
    cleaned = clean_points(faulty, coefficients, Report())
    gone = cleaned.removed.index.intersection(sound.index[wild])
    assert len(gone) >= 57


@pytest.mark.parametrize("radius_m", [15, 30, 60])
def test_coherent_low_spot_stays(made, coefficients, radius_m) -> None:
    """A drowned hollow is crop: of records whose swath lies wholly in it, fewer than one in fifty may go."""

    def hollow(x, y):
        return np.where((x - 160) ** 2 + (y - 210) ** 2 < radius_m**2, 2.0, 9.0)

    points = made.harvest(hollow, seconds=1.0)
    cleaned = clean_points(points, coefficients, Report())
    middle = (points.geometry.x - made.EAST - 160) ** 2 + (points.geometry.y - made.NORTH - 210) ** 2
    inside = points.index[middle < (radius_m - 5) ** 2]
    assert len(inside) >= 14
    lost = cleaned.removed.index.intersection(inside)
    assert len(lost) <= 0.02 * len(inside)


def test_low_strip_along_the_edge_stays(made, coefficients) -> None:
    """Headland that yields a third less is neither ramp nor outlier, though it lies at every pass end."""

    def headland(x, y):
        return np.where((y < 25) | (y > 395), 6.0, 9.0)

    points = made.harvest(headland, seconds=1.0)
    cleaned = clean_points(points, coefficients, Report())
    y = points.geometry.y - made.NORTH
    edge = points.index[(y < 20) | (y > 400)]
    assert len(cleaned.removed.index.intersection(edge)) <= 0.03 * len(edge)


def test_overlap_counts_only_new_ground(made, coefficients) -> None:
    """A pass that cuts only 60 % new ground: its area shrinks to that, its yield rises to the truth."""
    points = made.harvest(made.smooth, seconds=1.0, position_noise_m=0.02)
    passes = np.flatnonzero(np.diff(points["time_s"], prepend=-np.inf) > 5)
    last = slice(passes[-1], None)
    shifted = points.geometry.x.to_numpy().copy()
    shifted[last] -= 0.4 * 9.144
    faulty = points.set_geometry(gpd.points_from_xy(shifted, points.geometry.y, crs=points.crs))
    for column in ("grain_kg", "grain_mg_ha"):
        faulty.iloc[last, faulty.columns.get_loc(column)] *= 0.6
    cleaned = clean_points(faulty, coefficients, Report())
    kept = cleaned.points.loc[cleaned.points.index.intersection(points.index[last])]
    assert len(kept) > 0.9 * (len(points) - passes[-1])
    assert kept["area_m2"].sum() / faulty.loc[kept.index, "area_m2"].sum() == pytest.approx(0.6, abs=0.03)
    assert kept["grain_mg_ha"].mean() == pytest.approx(points.loc[kept.index, "grain_mg_ha"].mean(), rel=0.05)


def test_ground_driven_twice_is_removed(made, coefficients) -> None:
    points = made.harvest(made.smooth, seconds=1.0)
    again = points.iloc[500:600].assign(time_s=points["time_s"].iloc[500:600] + 1e5)
    again = again.set_geometry(again.geometry.translate(0.3, 0.4))
    both = pd.concat([points, again], ignore_index=True)
    cleaned = clean_points(both, coefficients, Report())
    assert _count(cleaned, "overlap") >= 95


def test_scattered_file_order_is_put_right(sound, coefficients) -> None:
    mixed = sound.sample(frac=1, random_state=4)
    report = Report()
    cleaned = clean_points(mixed, coefficients, report)
    assert len(cleaned.points) > 0.99 * len(sound)
    assert "time.order" in {p.code for p in report}


def test_empty_and_broken_tables(sound, coefficients) -> None:
    nothing = clean_points(sound.iloc[:0], coefficients, Report())
    assert len(nothing.points) == len(nothing.removed) == 0
    all_bad = clean_points(sound.assign(grain_kg=np.nan), coefficients, Report())
    assert len(all_bad.points) == 0
    assert set(all_bad.removed["removed_because"]) == {"incomplete"}
    with pytest.raises(ContractError, match="area_m2"):
        clean_points(sound.drop(columns="area_m2"), coefficients, Report())


def test_lost_positions_and_useless_columns_do_no_harm(sound, coefficients, made) -> None:
    lost = sound.index[[50, 60, 61, 62, 63, 900]]
    x, y = sound.geometry.x.to_numpy().copy(), sound.geometry.y.to_numpy().copy()
    x[lost], y[lost] = -9e6, -4.8e6  # where 0° north, 0° east falls
    gone = clean_points(sound.set_geometry(gpd.points_from_xy(x, y, crs=sound.crs)), coefficients, Report()).removed
    assert set(gone.loc[lost, "removed_because"]) == {"incomplete"}
    useless = {"seconds": [0.0], "swath_m": [np.nan, -9.0, 0.0], "time_s": [5.0], "machine": [None]}
    for column, values in useless.items():
        for value in values:
            assert len(clean_points(sound.assign(**{column: value}), coefficients, Report()).points) > 0.95 * len(sound)
    ages = clean_points(sound.assign(seconds=1e9), coefficients, Report())  # a clock taken for what a record lasts
    assert len(ages.points) == 0
    assert (ages.removed["removed_because"] == "speed").mean() > 0.95
    assert ages.corrections["delay"]["combine 1"]["message"].key == "delay.long_records"


@pytest.mark.parametrize("n", [1, 2, 5, 12, 60])
def test_few_records_are_no_accident(sound, coefficients, n) -> None:
    cleaned = clean_points(sound.iloc[:n], coefficients, Report())
    assert len(cleaned.points) + len(cleaned.removed) == n


def test_only_the_needed_columns_are_enough(sound, coefficients) -> None:
    """Area, grain and place alone: no time, no swath, no machine."""
    bare = sound[["area_m2", "grain_kg", "grain_mg_ha", "geometry"]]
    cleaned = clean_points(bare, coefficients, Report())
    assert len(cleaned.points) > 0.97 * len(bare)
