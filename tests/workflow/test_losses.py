"""What cleaning leaves out is counted by field and machine, told with its cause, and refused where it is most."""

from __future__ import annotations

import numpy as np
import pytest
from long_run import first_short
from spoilt_farm import outcome

FIELD = "Knoll Field"


def spoil(column: str, value: object, share: float, key: str = "field", name: str = FIELD):
    """Return a change of the points that sets a column in a share of a field's or machine's records."""

    def change(points):
        mine = (points[key] == name).to_numpy() & (np.random.default_rng(1).random(len(points)) < share)
        points[column] = points[column].where(~mine, value)
        return points

    return change


@pytest.mark.parametrize(
    ("column", "value", "words"),
    first_short(
        [
            ("moist_pct", 0.0, "units.moisture"),
            ("head", "up", "header_down"),
            ("sec", 30, "columns.seconds"),
            ("width_ft", 10, "columns.swath"),
            ("grain_lb_s", 0.0, "columns.flow"),
        ],
        2,
    ),
)
def test_losses_above_a_fifth_are_told_and_above_half_refused(tmp_path, column, value, words) -> None:
    some = outcome(tmp_path, spoil(column, value, 0.3), limits=False)
    told = [p for p in some.problems if p.code in ("yield.left_out", "yield.lost") and f"field {FIELD!r}" in p.where]
    assert told
    assert words in told[0].what_in("us")
    most = outcome(tmp_path, spoil(column, value, 0.9), limits=False)
    assert most.removable_mg is None
    refused = [p for p in most.problems if p.code == "yield.lost"]
    assert f"yield points, field {FIELD!r}" in {p.where for p in refused}
    assert all(words in p.what_in("us") for p in refused)


def test_a_machines_losses_are_told_by_its_name(tmp_path) -> None:
    found = outcome(tmp_path, spoil("moist_pct", 0.0, 0.9, "combine", "B"), limits=False)
    assert "yield points, machine 'B'" in {p.where for p in found.problems if p.code == "yield.lost"}


def test_an_accepted_loss_is_only_told(tmp_path) -> None:
    def accept(data: dict) -> None:
        data["yields"] = {"accept_losses": [FIELD]}

    found = outcome(tmp_path, spoil("moist_pct", 0.0, 0.9), accept, limits=False)
    assert found.removable_mg is not None
    assert "yield.left_out" in found.codes
    assert "yield.lost" not in found.codes


def test_the_sound_sample_loses_little(tmp_path) -> None:
    assert not outcome(tmp_path, limits=False).codes & {"yield.left_out", "yield.lost"}
