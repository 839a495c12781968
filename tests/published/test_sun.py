"""The sun's path, daily radiation, horizons, sky view and shadows against published figures.

"Computed" marks arithmetic from the stated formula; the rest was read in the source named.
"""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

from stovergeo.terrain.beam import (
    Season,
    day_length_h,
    open_beam,
    season,
    sun_position,
    sun_sectors,
    take_shade,
)
from stovergeo.terrain.horizon import Block, Direction, horizon_tangents
from stovergeo.terrain.sweep import NO_HORIZON


def position(local, hours_from_utc, *where, **air):
    when = pd.DatetimeIndex([pd.Timestamp(local) - pd.Timedelta(hours=hours_from_utc)]).tz_localize("UTC")
    return sun_position(when, *where, **air).iloc[0]


# Reda & Andreas 2004, "Solar position algorithm for solar radiation applications", appendix A.5, as printed in
# pvlib's tests
def test_solar_position_example():
    sun = position("2003-10-17 12:30:30", -7, 39.742476, -105.1786, 1830.14, pressure=82000, temperature=11, delta_t=67)
    assert sun.apparent_zenith == pytest.approx(50.11162, abs=1e-4)
    assert sun.azimuth == pytest.approx(194.340241, abs=1e-4)
    assert sun.elevation == pytest.approx(39.872046, abs=1e-4)
    assert sun.apparent_elevation == pytest.approx(39.888378, abs=1e-4)


def test_incidence_on_a_slope():
    # same example: a slope of 30 degrees that faces 170 degrees; incidence 25.18700, computed. Facing 190, the sign
    # trap, it would be 20.294. The table and its look-up must give its cosine whatever the sector's middle azimuth
    sun = Season(*(np.array([v]) for v in (194.340241, 39.888378, 1000.0)), np.array([0]), ("2003-10",))
    rise = np.tan(np.radians(30))
    east, north = (np.full((1, 1), -rise * f(np.radians(170)), dtype=np.float32) for f in (np.sin, np.cos))
    sectors = sun_sectors(sun, 64, 0.0, False)
    total = np.zeros((1, 1, 1), dtype=np.float32)
    flat, everywhere = np.zeros((1, 1), dtype=np.float32), np.ones((1, 1), dtype=bool)
    open_beam(east, north, sectors, total)
    for sector in sectors:
        turn, least = np.float32(np.radians(sector.azimuth_deg)), np.float32(sector.least)
        take_shade(flat, east, north, flat > 0, sector.beam, np.sin(turn), np.cos(turn), least, everywhere, 0, 0, total)
    cosine = total[0, 0, 0] / np.sqrt(1 + rise**2)
    assert np.degrees(np.arccos(cosine)) == pytest.approx(25.187, abs=2e-3)


# an almanac's sunrise and sunset at 39 N 105 W in 2015, MST, to the minute (as pvlib's tests print them): the sun's
# center then stands 0.8333 degrees below the horizon, refraction left out; it moves 0.2 degrees a minute
@pytest.mark.parametrize(
    ("day", "rise", "fall"),
    [
        ("2015-01-02", "07:19", "16:49"),
        ("2015-04-02", "05:43", "18:24"),
        ("2015-08-02", "05:01", "19:10"),
        ("2015-12-02", "07:01", "16:38"),
    ],
)
def test_almanac(day, rise, fall):
    for minute in (rise, fall):
        assert position(f"{day} {minute}", -7, 39, -105, 0).elevation == pytest.approx(-0.8333, abs=0.2)


def test_fao_example_9():
    assert day_length_h(-20, 246) == pytest.approx(11.7, abs=0.05)


def test_fao_example_10():
    assert day_length_h(-22.9, 135) == pytest.approx(10.90, abs=0.01)


# computed with SPA for 42.0 N 93.6 W, 300 m, 21 December 2026: elevation as seen, azimuth, shadow for each height
@pytest.mark.parametrize(
    ("clock", "elevation", "azimuth", "ratio"), [("12:00", 24.532, 176.83, 2.191), ("09:00", 10.971, 135.91, 5.159)]
)
def test_midwinter_shadow(clock, elevation, azimuth, ratio):
    sun = position(f"2026-12-21 {clock}", -6, 42.0, -93.6, 300)
    assert sun.apparent_elevation == pytest.approx(elevation, abs=0.01)
    assert sun.azimuth == pytest.approx(azimuth, abs=0.01)
    assert 1 / np.tan(np.radians(sun.apparent_elevation)) == pytest.approx(ratio, abs=0.002)


# noon shadow for each height at 42 N, computed from the geometry; our season's own highest sun of the day
@pytest.mark.parametrize(("day", "ratio"), [("2026-12-21", 2.188), ("2026-03-20", 0.900), ("2026-06-21", 0.336)])
def test_noon_shadow_of_the_season(day, ratio):
    path = season(day, day, latitude=42, longitude=-93.6, altitude_m=300, step_min=5)
    noon = path.elevation_deg.argmax()
    assert 1 / np.tan(np.radians(path.elevation_deg[noon])) == pytest.approx(ratio, abs=0.012)
    assert path.azimuth_deg[noon] == pytest.approx(180, abs=5)  # it stands in the south


# Dozier & Frew 1990's forward horizon of a profile at 30 m spacing, as the topocalc package's tests print it
PROFILES = [
    (
        "100 80 75 85 70 50 64 65 85 90",
        "0 4.764 18.435 1.591 7.595 25.017 19.290 33.690 9.462 0",
    ),
    (
        "100 80 75 85 70 80 64 65 70 90",
        "0 4.764 18.435 1.591 18.435 4.764 16.113 22.620 33.690 0",
    ),
]


@pytest.mark.parametrize(("heights", "angles"), PROFILES)
def test_horizon_of_a_profile(heights, angles):
    z = np.array(heights.split(), dtype=float)
    # the sweep that the season's sun uses, looking east along rows
    seen = np.degrees(np.arctan(horizon_of(np.tile(z, (3, 1)), 90, 30.0)))[1]
    np.testing.assert_allclose(np.maximum(seen, 0), [float(v) for v in angles.split()], atol=6e-4)


def horizon_of(ground, azimuth, cell, cover=None):
    ground = np.asarray(ground, dtype=np.float32)
    cover = np.zeros_like(ground) if cover is None else np.asarray(cover, dtype=np.float32)
    direction = Direction.of(azimuth, cell, cell)
    block = Block.of(ground, cover, tuple(slice(0, n) for n in ground.shape), (0, 0))
    block = block.turned() if direction.down else block
    out = np.full(block.ground.shape, NO_HORIZON)
    with ThreadPoolExecutor(2) as pool:
        horizon_tangents(block, direction, out, pool)
    return out.T if direction.down else out


# shadow of a 10 m tree under a sun 30 degrees high: h / (tan e + g), g the rise of the ground along it; computed
@pytest.mark.parametrize("azimuth", [90, 180, 225, 270])
@pytest.mark.parametrize(("gradient", "length"), [(0.0, 17.3205), (0.10, 14.7634), (-0.10, 20.9490)])
def test_tree_shadow_on_a_slope(azimuth, gradient, length):
    cell = 0.25
    r, c = np.mgrid[:241, :241]
    east, north = (c - 120) * cell, (120 - r) * cell
    turn = np.radians(azimuth + 180)
    along = east * np.sin(turn) + north * np.cos(turn)  # m from the tree down the shadow
    across = east * np.cos(turn) - north * np.sin(turn)
    trees = (along <= 0) & (along > -4)  # a tree line square to the sun; its edge at 0
    shaded = horizon_of(gradient * along, azimuth, cell, np.where(trees, 10, 0)) > np.tan(np.radians(30))
    strip = shaded & ~trees & (along > 0) & (np.abs(across) < 6) & (along < 26)
    edge = 0.0 if azimuth == 225 else cell / 2  # upright at the cell's edge; a slanting line has teeth about its middle
    assert along[strip].max() == pytest.approx(length + edge, abs=1.5 * cell)
