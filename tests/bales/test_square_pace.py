"""A large square baler's pace is the one published for the moisture of its bales."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stovergeo.bales.bale import bale_of
from stovergeo.bales.making import pace
from stovergeo.core.coefficients import load_handbook
from stovergeo.inputs.plan.gather import Bale


@pytest.mark.parametrize(
    ("moisture", "dry_mg_h"),
    # Engineering and Science of Biomass Feedstock Production and Provision, Table 5.10, all stops counted
    [(14.6, 14.0), (24.0, 13.1), (39.9, 20.9), (19.3, 13.55), (10.0, 14.0), (45.0, 20.9)],
)
def test_the_pace_follows_the_published_rows(moisture: float, dry_mg_h: float) -> None:
    coefficients = load_handbook()
    bale = replace(bale_of(Bale(size="3x4x8"), None, coefficients), moisture_pct=moisture)
    assert pace(bale, "net", 0.0, coefficients) * bale.dry_kg / 1000 == pytest.approx(dry_mg_h)
