"""A real field on heavy clay: no stack yard inside it, and what a base would have to be, in plain words."""

from __future__ import annotations

from pathlib import Path

import pytest

from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.workflow import run_season

pytestmark = pytest.mark.open_data


def test_heavy_clay_leaves_no_good_ground(real_field) -> None:
    # its README: "The ground is heavy clay lake plain: an honest answer may be that no good stack yard lies inside it."
    result = run_season(Path(__file__).parents[1] / "real_field.toml", Report())
    text = render(result.words["yards"], "us")
    assert len(result.yards) == 0
    assert "No ground on this farm is allowed for a stack." in text
    assert "Poorly drained soil" in text
    assert "Heavy clay (50%)" in text
    assert "least bad ground is" in text
    assert "thick base of stone" in text
    assert not any(
        "Hollows" in words for words in text.split("What forbids")[1:]
    )  # its heights are too coarse for that
    assert any("well" in what.lower() for what in result.not_checked)
