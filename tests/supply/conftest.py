"""A made-up season's supply question of any size; all numbers invented."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from stovergeo.supply import Prices, SupplyProblem

METHODS = {  # share, moisture, ash
    "single_pass": (0.22, 38.0, 5.0),
    "second_pass": (0.30, 20.0, 7.0),
    "rake_bale": (0.45, 18.0, 11.0),
    "chop_and_rake": (0.50, 18.0, 10.0),
}


def made_season(
    zones: int = 8,
    yards: int = 4,
    months: int = 4,
    seed: int = 0,
    *,
    need_fraction: float = 0.5,
    needs: int = 2,
    wraps: tuple[str, ...] = ("net", "full_cover"),
    room: float = 2.0,
    **parts,
) -> SupplyProblem:
    """`need_fraction`: what is needed over the most that may be taken; `room`: all yards over that most."""
    rng = np.random.default_rng(seed)
    ground = pd.DataFrame(
        {
            "zone_id": [f"F{i // 3 + 1}-{'abc'[i % 3]}" for i in range(zones)],
            "field_id": [f"F{i // 3 + 1}" for i in range(zones)],
            "area_ha": rng.uniform(2, 15, zones),
            "stover_mg_ha": rng.uniform(7, 10, zones),
            "removable_mg_ha": rng.uniform(2.2, 5, zones),
        }
    )
    offers = pd.DataFrame(
        [
            (z.zone_id, m, share * z.stover_mg_ha, wet, ash, share * z.stover_mg_ha <= z.removable_mg_ha, 470.0)
            for z in ground.itertuples()
            for m, (share, wet, ash) in METHODS.items()
        ],
        columns=["zone_id", "method", "removal_mg_ha", "moisture_pct", "ash_pct", "allowed", "bale_dry_kg"],
    )
    dry = offers[offers["allowed"] & (offers["moisture_pct"] <= 25)].merge(ground, on="zone_id")
    most = float((dry["removal_mg_ha"] * dry["area_ha"]).groupby(dry["zone_id"]).max().sum())
    share = rng.dirichlet(np.full(yards, 5.0))
    yard = pd.DataFrame(
        {
            "yard_id": [f"Y{i + 1}" for i in range(yards)],
            "capacity_bales": (room * share * most / 0.47).astype(int) + 1,
            "base": "gravel",
            "base_cost": rng.uniform(200, 900, yards),
            "ground": rng.choice(["soil", "clay"], yards),
        }
    )
    calendar = [(11 + i, 2025) if i < 2 else (i - 1, 2026) for i in range(months)]
    need = pd.DataFrame(
        [(f"need {n}", m, y, need_fraction * most / needs / months) for n in range(needs) for m, y in calendar],
        columns=["need", "month", "year", "dry_mg"],
    )
    terms = pd.DataFrame(
        [
            (f"need {n}", "herd", np.inf, np.inf, np.nan, 3.5)
            if n % 2 == 0
            else (f"need {n}", "contract", 20, 12, 90, 9)
            for n in range(needs)
        ],
        columns=["need", "kind", "moisture_max_pct", "ash_max_pct", "price_per_mg", "out_per_bale"],
    ).astype({"moisture_max_pct": float, "ash_max_pct": float})
    storage = pd.DataFrame(
        [
            (m, y, w, b, i + 0.5, rate * wet * (i + 0.5), cost, 1.5 if b == "gravel" else 0.0, 0.8)
            for i, (m, y) in enumerate(calendar)
            for w, cost, rate in [("net", 1.75, 1.0), ("full_cover", 8.0, 0.5), ("twine", 0.8, 1.4)]
            if w in wraps
            for b, wet in [("soil", 1.0), ("clay", 1.6), ("gravel", 0.5)]
        ],
        columns=["month", "year", "wrap", "base", "months_stored", "loss_pct", "wrap_cost", "base_cost", "time_cost"],
    )
    prices = Prices(
        method_per_ha={"single_pass": 25.0, "second_pass": 12.0, "rake_bale": 20.0, "chop_and_rake": 54.0},
        method_per_bale=dict.fromkeys(METHODS, 13.7),
        method_setup=dict.fromkeys(METHODS, 60.0),
        stage_per_bale=4.5,
        move_per_bale_m=2.2e-4,
        yard_opening=150.0,
        nutrient_per_mg=dict.fromkeys(METHODS, 18.0),
    )
    far = rng.uniform(100, 3000, (zones, yards))
    return SupplyProblem(ground, offers, yard, far, need, terms, storage, prices, **parts)


@pytest.fixture(scope="session")
def season() -> Callable[..., SupplyProblem]:
    """Makes a season."""
    return made_season
