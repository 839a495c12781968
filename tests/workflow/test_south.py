"""South of the equator: the seasons lie half a year on, and the sun stands in the north."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from placed_farm import placed_season

from stovergeo.core.printing import render
from stovergeo.inputs.plan.gather import Storage
from stovergeo.report.first_screen import first_screen
from stovergeo.report.plan_numbers import ledger_of
from stovergeo.terrain import SunOptions, season_sun


@pytest.mark.parametrize(
    ("latitude", "given", "start", "end"),
    [
        (42, {}, date(2026, 11, 5), date(2027, 8, 10)),
        (-33, {}, date(2026, 5, 5), date(2027, 2, 10)),
        (-33, {"baled": "04-20", "last_used": "11-10"}, date(2026, 4, 20), date(2026, 11, 10)),
        (-33, {"baled": "04-20", "last_used": "02-28"}, date(2026, 4, 20), date(2027, 2, 28)),
        (-33, {"baled": "09-10", "last_used": "03-01"}, date(2026, 9, 10), date(2027, 3, 1)),
        (-33, {"baled": "04-20"}, date(2026, 4, 20), date(2027, 2, 10)),
        # north, over New Year and within the fall
        (42, {"baled": "12-20", "last_used": "02-01"}, date(2026, 12, 20), date(2027, 2, 1)),
        (42, {"baled": "10-05", "last_used": "12-20"}, date(2026, 10, 5), date(2026, 12, 20)),
        # a whole year outside
        (42, {"baled": "11-05", "last_used": "11-10"}, date(2026, 11, 5), date(2027, 11, 10)),
        (-33, {"baled": "05-05", "last_used": "05-05"}, date(2026, 5, 5), date(2027, 5, 5)),
        # left over winter
        (42, {"baled": "04-10", "last_used": "11-10"}, date(2027, 4, 10), date(2027, 11, 10)),
        (0, {}, date(2026, 11, 5), date(2027, 8, 10)),
    ],
)
def test_storage_runs_from_baling_to_the_next_such_day(
    latitude: float, given: dict[str, str], start: date, end: date
) -> None:
    assert Storage(**given).at_latitude(latitude).span(2026) == (start, end)


@pytest.mark.parametrize(
    ("place", "fall", "sunny"),
    [("Pampas", "north", True), ("Pampas", "south", False), ("Hungary", "south", True), ("Hungary", "north", False)],
)
def test_the_sunny_side_is_named_as_such_and_the_other_as_late(
    tmp_path: Path, place: str, fall: str, sunny: bool
) -> None:
    result, _ = placed_season(tmp_path, place, fall=fall)
    ratings = result.siting.ratings
    direction = ratings[ratings["criterion"] == "slope_direction"].iloc[0]
    said = render(direction["message"], "metric")
    sun = float(result.yards["sun_fraction"].iloc[0])
    assert said == f"The ground falls to the {fall}; {'the sun dries it' if sunny else 'it dries late'}."
    assert (sun > 1) == sunny
    assert (direction["score"] > 0.9) == sunny


@pytest.mark.parametrize("fall", ["north", "south"])
def test_near_the_equator_neither_side_is_better(tmp_path: Path, fall: str) -> None:
    result, _ = placed_season(tmp_path, "Kenya", fall=fall)
    ratings = result.siting.ratings
    direction = ratings[ratings["criterion"] == "slope_direction"].iloc[0]
    assert direction["score"] > 0.97
    assert "late" not in render(direction["message"], "metric")


def test_the_page_of_a_southern_farm_names_the_days_of_one_year(tmp_path: Path) -> None:
    storage = {"storage": {"baled": "04-20", "last_used": "11-10"}}
    result, _ = placed_season(tmp_path, "Pampas", storage)
    time = next(s for s in first_screen(result, ledger_of(result)) if s["id"] == "time")
    assert "November 10, 2026" in str(time["lines"])
    assert "April 20, 2026" in str(time["lines"])
    assert set(result.siting.sun["year"]) == {2026}


def test_sun_of_a_slope_is_that_of_its_mirror_image_half_a_year_on() -> None:
    """A north slope in the southern winter is a south slope in the northern winter (within the orbit's 7 %)."""

    def share(latitude: float, epsg: int, fall_north: float, days: tuple[str, str]) -> float:
        y = np.arange(3_705.0, 3_605.0, -10) + 6_000_000
        x = np.arange(500_005.0, 500_105.0, 10)
        heights = 100 - fall_north * (y - y.mean())
        ground = xr.DataArray(np.tile(heights[:, None], 10), coords={"y": y, "x": x}, dims=("y", "x"))
        place = SunOptions(latitude=latitude, longitude=0.0, altitude_m=100.0)
        sun = season_sun(None, ground.rio.write_crs(epsg), *days, place)
        return float(sun.sun_fraction[5, 5])

    north = share(35, 32631, -0.05, ("2026-11-05", "2027-02-10"))
    south = share(-35, 32731, 0.05, ("2026-05-05", "2026-08-10"))
    assert south > 1.04
    assert south == pytest.approx(north, abs=0.01)
