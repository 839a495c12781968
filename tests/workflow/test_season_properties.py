"""What must hold for any farm."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from long_run import examples
from small_farm import add_surroundings, season_of, write_small_farm

few = settings(
    max_examples=examples(2),
    phases=[Phase.explicit, Phase.generate],  # a season takes a second: shrinking would take minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@few
@given(st.floats(3, 8), st.floats(3, 8))
def test_more_retention_never_gives_more_bales(tmp_path: Path, one: float, other: float) -> None:
    """With the field as one zone. Where zones are drawn anew they can fall a little better; see docs/decisions/0050."""
    plan = write_small_farm(tmp_path, relief=False)
    plan["gather"]["min_zone"] = "16 ha"  # the whole field
    bales = []
    for keep in (0.0, *sorted((one, other))):
        plan["limits"] = {"retention_min": f"{keep} Mg/ha"}
        bales.append(season_of(tmp_path, plan).totals["bales"])
    assert bales[0] > 0
    assert bales[2] <= bales[1] <= bales[0]


def test_a_farm_k_times_as_long_gives_k_squared_the_tonnes(tmp_path: Path) -> None:
    masses = []
    for k in (1, 2):
        folder = tmp_path / str(k)
        folder.mkdir()
        plan = write_small_farm(folder, side_m=400.0 * k, cell_m=5.0 * k, relief=False)
        result = season_of(folder, plan)
        masses.append((result.totals["stover_mg"], result.totals["removal_mg"]))
    assert masses[0][1] > 0
    # the projection's scale differs a little between the two squares, so not to the last digit
    assert masses[1][0] == pytest.approx(4 * masses[0][0], rel=2e-4)
    assert masses[1][1] == pytest.approx(4 * masses[0][1], rel=5e-3)


@few
@given(st.integers(0, 10_000))
def test_no_drawn_bale_comes_nearer_than_the_setbacks(tmp_path: Path, seed: int) -> None:
    """Measured with shapely on the outputs, with setbacks set in the plan."""
    plan = add_surroundings(tmp_path, write_small_farm(tmp_path), seed)
    setbacks = {"well": 60, "water": 50, "building": 35, "dwelling": 70, "road": 30, "overhead_line": 25}
    plan["yards"] = {"setbacks": {name: f"{m} m" for name, m in setbacks.items()}, "min_bales": 20}
    result = season_of(tmp_path, plan)
    layer_of = {name: f"{name}s" for name in setbacks} | {"water": "water"}
    for name, meters in setbacks.items():
        for shape in result.surroundings[layer_of[name]].geometry:
            assert (result.siting.stacks.distance(shape) >= meters - 1e-6).all(), name
    for grove in result.surroundings["trees"].geometry:
        assert (result.siting.stacks.distance(grove) > 0).all()
