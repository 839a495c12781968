"""The grain surface against made fields whose truth is known."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from stovergeo.core.errors import ContractError, Report
from stovergeo.core.stack import put
from stovergeo.core.units import KG_PER_MG, M2_PER_HA
from stovergeo.yieldmap import boundary_from_points, clean_points, grain_surface
from stovergeo.yieldmap.certainty import Certainty, error_row
from stovergeo.yieldmap.levels import Field, Level

NOMINAL_90 = 1.6449  # standard normal quantile of 95 %
CASES = ["smooth", "patchy", "sharp border", "low spot"]


def _run(points, coefficients, grid_over):
    fields = boundary_from_points(points)
    stack = grid_over(fields)
    cleaned = clean_points(points, coefficients, Report())
    return stack, cleaned, grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)


def _truth(made, name, stack):
    x, y = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    return made.TRUTHS[name](x, y)


@pytest.mark.parametrize("seconds", [1.0, 3.0])
@pytest.mark.parametrize("name", CASES)
def test_truth_delay_and_interval(made, coefficients, grid_over, name, seconds) -> None:
    """Three harvests of each field: an interval is a promise about many, and one field's cells err together."""
    covered = []
    for seed in (1, 2, 3):
        points = made.harvest(made.TRUTHS[name], seconds=seconds, delay_s=2.0, seed=seed)
        stack, cleaned, surface = _run(points, coefficients, grid_over)
        delay = cleaned.corrections["delay"]["combine 1"]
        if seconds == 1.0 or name != "smooth":  # long waves and records of 3 s tell no delay of 2 s
            assert delay["seconds"] == pytest.approx(2.0, abs=0.5)
        known = surface.grain.notnull().to_numpy()
        assert known.mean() > 0.8
        away = (surface.grain.to_numpy() - _truth(made, name, stack))[known]
        error = surface.error.to_numpy()[known]
        # a record alone is off by 5 % of some 8 Mg/ha; the surface must do much better off the sharp edges
        assert np.median(abs(away)) < 0.2
        assert abs(away.mean()) < 0.05
        covered.append(np.mean(abs(away) <= NOMINAL_90 * error))
    assert 0.85 <= np.mean(covered) <= 0.95
    assert min(covered) > 0.8


@pytest.mark.parametrize("name", CASES)
def test_mass_is_kept(made, coefficients, grid_over, name) -> None:
    """Grain of kept records against the surface summed over exactly the ground each of them covered.

    Each record's ground is drawn here anew and looked up at 7 by 9 places.
    """
    points = made.harvest(made.TRUTHS[name], seconds=2.0, delay_s=2.0)
    stack, cleaned, surface = _run(points, coefficients, grid_over)
    kept = cleaned.points
    heading = np.radians(kept["heading_deg"].to_numpy())
    length, swath = kept["distance_m"].to_numpy(), kept["swath_m"].to_numpy()
    place = np.stack(np.meshgrid((np.arange(7) + 0.5) / 7 - 0.5, (np.arange(9) + 0.5) / 9 - 0.5)).reshape(2, -1)
    along, across = place[0] * length[:, None], place[1] * swath[:, None]
    px = kept.geometry.x.to_numpy()[:, None] + along * np.sin(heading)[:, None] + across * np.cos(heading)[:, None]
    py = kept.geometry.y.to_numpy()[:, None] + along * np.cos(heading)[:, None] - across * np.sin(heading)[:, None]
    col = np.floor((px - float(stack.x[0])) / 5 + 0.5).astype(int)
    row = np.floor((float(stack.y[0]) - py) / 5 + 0.5).astype(int)
    found = surface.grain.to_numpy()[row, col]
    assert np.isfinite(found).mean() > 0.98
    on_surface = np.nansum(np.nanmean(found, axis=1) * kept["area_m2"].to_numpy()) / M2_PER_HA
    of_records = kept["grain_kg"].sum() / KG_PER_MG
    assert on_surface == pytest.approx(of_records, rel=0.005)
    assert surface.report["mass_factor"] == pytest.approx(1, abs=0.005)


@pytest.mark.parametrize("name", ["smooth", "patchy", "sharp border"])
def test_two_machines_are_set_to_one_level(made, coefficients, grid_over, name) -> None:
    points = made.harvest(
        made.TRUTHS[name], seconds=2.0, machines=(1.0, 1.08), land_passes=8, width_m=450, pass_noise=0.003
    )
    stack, cleaned, surface = _run(points, coefficients, grid_over)
    one, other = (cleaned.corrections["machines"][f"combine {k}"] for k in (1, 2))
    assert one["applied"]
    assert other["applied"]
    assert (1 + other["offset"]) / (1 + one["offset"]) - 1 == pytest.approx(0.08, abs=0.01)
    # the total stays what the machines recorded together
    before = points.loc[cleaned.points.index, "grain_kg"].sum()
    if not any(d["applied"] for d in cleaned.corrections["delay"].values()):
        assert cleaned.points["grain_kg"].sum() == pytest.approx(before, rel=1e-9)
    # and no step is left at the borders: truth times one factor for all
    truth = _truth(made, name, stack)
    known = surface.grain.notnull().to_numpy()
    ratio = surface.grain.to_numpy()[known] / truth[known]
    x = np.broadcast_to((stack.x - made.EAST).to_numpy(), truth.shape)[known]
    land = ((x // 9.144).astype(int) // 8) % 2
    assert np.median(ratio[land == 1]) / np.median(ratio[land == 0]) == pytest.approx(1, abs=0.012)


def test_equal_machines_are_left_as_they_are(made, coefficients) -> None:
    points = made.harvest(made.smooth, seconds=2.0, machines=(1.0, 1.0), land_passes=8)
    found = clean_points(points, coefficients, Report()).corrections["machines"]
    assert not found["combine 1"]["applied"]
    assert abs(found["combine 1"]["offset"]) < 0.01


def test_unharvested_gap_stays_unknown(made, coefficients, grid_over) -> None:
    points = made.harvest(made.smooth, seconds=2.0)
    x, y = points.geometry.x - made.EAST, points.geometry.y - made.NORTH
    gap = (x > 130) & (x < 190) & (y > 150) & (y < 250)
    points = points[~gap].reset_index(drop=True)
    field = gpd.GeoDataFrame(
        {"field_id": ["F1"], "name": ["all"], "area_ha": [12.8]},
        geometry=[shapely.box(made.EAST, made.NORTH, made.EAST + 311, made.NORTH + 420)],
        crs=made.CRS,
    )
    stack = grid_over(field)
    cleaned = clean_points(points, coefficients, Report())
    surface = grain_surface(cleaned.points, field, stack, coefficients, driven=cleaned.driven)
    gx, gy = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    inner = (gx > 140) & (gx < 180) & (gy > 160) & (gy < 240)
    assert np.isnan(surface.grain.to_numpy()[inner]).all()
    around = (gx > 20) & (gx < 290) & (gy > 20) & (gy < 400) & ~((gx > 120) & (gx < 200) & (gy > 140) & (gy < 260))
    assert np.isfinite(surface.grain.to_numpy()[around]).all()
    # and the outline drawn from the same points leaves it out as a hole
    drawn = boundary_from_points(points)
    assert len(drawn.geometry[0].interiors) == 1
    assert drawn["area_ha"][0] == pytest.approx(points["area_m2"].sum() / M2_PER_HA, rel=0.03)


def test_nothing_is_known_outside_fields_and_far_from_records(made, coefficients, grid_over) -> None:
    points = made.harvest(made.smooth, seconds=2.0)
    west = shapely.box(made.EAST, made.NORTH, made.EAST + 150, made.NORTH + 420)
    far = shapely.box(made.EAST + 600, made.NORTH, made.EAST + 700, made.NORTH + 100)
    fields = gpd.GeoDataFrame(
        {"field_id": ["F1", "F2"], "name": ["west", "far"], "area_ha": [6.3, 1.0]}, geometry=[west, far], crs=made.CRS
    )
    stack = grid_over(fields)
    cleaned = clean_points(points, coefficients, Report())
    surface = grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
    x = np.broadcast_to((stack.x - made.EAST).to_numpy(), surface.grain.shape)
    known = surface.grain.notnull().to_numpy()
    assert known[x < 140].mean() > 0.8
    assert not known[x > 153].any()
    assert surface.report["fields_estimated"] == 1
    assert 0.4 < surface.report["records_outside_fraction"] < 0.6
    with_numbers = put(stack, field_number=np.where(x < 150, 0.0, np.nan))
    same = grain_surface(cleaned.points, fields, with_numbers, coefficients, driven=cleaned.driven)
    assert same.grain.notnull().sum() == pytest.approx(known.sum(), rel=0.05)


def test_error_grows_into_ground_without_records(made, coefficients, grid_over) -> None:
    """Records whose yield is useless over a stretch: the ground is filled, and the error says so."""
    points = made.harvest(made.patchy, seconds=2.0)
    x, y = points.geometry.x - made.EAST, points.geometry.y - made.NORTH
    broken = (x > 120) & (x < 185) & (y > 180) & (y < 245)
    points.loc[broken, "moisture_pct"] = 2.0
    stack, _, surface = _run(points, coefficients, grid_over)
    gx, gy = np.meshgrid(stack.x - made.EAST, stack.y - made.NORTH)
    inner = (gx > 140) & (gx < 165) & (gy > 200) & (gy < 225)
    outer = (gx > 30) & (gx < 90) & (gy > 60) & (gy < 360)
    error = surface.error.to_numpy()
    assert np.isfinite(error[inner]).all()
    assert np.nanmean(error[inner]) > 3 * np.nanmean(error[outer])
    away = abs(surface.grain.to_numpy() - _truth(made, "patchy", stack))
    assert np.mean(away[inner] <= NOMINAL_90 * error[inner]) > 0.7


def test_no_points_no_grain(made, coefficients, grid_over) -> None:
    points = made.harvest(made.smooth, seconds=3.0)
    fields = boundary_from_points(points)
    surface = grain_surface(points.iloc[:0], fields, grid_over(fields), coefficients)
    assert surface.grain.isnull().all()
    assert surface.report["fields_estimated"] == 0


@pytest.mark.parametrize("mixed", [False, True])
def test_where_machines_drove_is_found_again_from_the_records(made, coefficients, grid_over, mixed) -> None:
    """A surface from points read back from a file is that from cleaning's own memory of the way."""
    points = made.harvest(made.patchy, seconds=2.0, delay_s=2.0, machines=(1.0, 1.05), land_passes=8)
    points.loc[points.index[300:340], "moisture_pct"] = 2.0
    if mixed:
        points = points.sample(frac=1, random_state=2).reset_index(drop=True)
    fields = boundary_from_points(points.sort_values("time_s"))
    stack = grid_over(fields)
    cleaned = clean_points(points, coefficients, Report())
    told = grain_surface(cleaned.points, fields, stack, coefficients, driven=cleaned.driven)
    found = grain_surface(cleaned.points, fields, stack, coefficients, removed=cleaned.removed)
    assert found.grain.to_numpy() == pytest.approx(told.grain.to_numpy(), nan_ok=True)
    assert found.error.to_numpy() == pytest.approx(told.error.to_numpy(), nan_ok=True)


@pytest.mark.parametrize("other", [lambda kept: kept.iloc[::-1], lambda kept: kept.iloc[:-1]])
def test_memory_of_other_points_is_refused(made, coefficients, grid_over, other) -> None:
    points = made.harvest(made.smooth, seconds=2.0, width_m=80, height_m=200)
    fields = boundary_from_points(points)
    cleaned = clean_points(points, coefficients, Report())
    with pytest.raises(ContractError, match="other records"):
        grain_surface(other(cleaned.points), fields, grid_over(fields), coefficients, driven=cleaned.driven)


@pytest.mark.parametrize("known_at", [1, 4])
def test_error_grows_with_distance_as_in_held_out_records(known_at):
    """Straight between the distances at which it is given, level beyond; `numpy.interp` is the reference."""
    gap_m, gap_variance = np.array([7.0, 12.0, 20.0, 33.0])[:known_at], np.array([0.0, 0.2, 0.5, 0.6])[:known_at]
    flat = np.zeros((4, 4))
    level = Level(scale=4.0, x0=-2.0, y0=-2.0, step=5.0, taps=np.ones(1), weights=flat, full=1.0)
    near = Field(0.3, [level], [flat])
    certainty = Certainty(near, noise_sd=1.1, gap_m=gap_m, gap_variance=gap_variance)
    distance_m = np.array([[0.0, 7.0, 7.1, 12.0, 15.0, 33.0, 40.0, np.inf]])
    found = np.empty(8)
    error_row(certainty.along(np.arange(8.0)), 0.0, distance_m[0], np.empty(4), found)
    np.testing.assert_allclose(found[None], np.sqrt(0.3 + np.interp(distance_m, gap_m, gap_variance)), rtol=1e-12)
