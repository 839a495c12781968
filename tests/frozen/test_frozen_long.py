"""As `test_frozen`, on farms that take longer."""

from __future__ import annotations

from pathlib import Path

import pytest
from frozen_farms import computed, frozen_path, season_of_sample
from frozen_values import differences, read_values, values_of


@pytest.mark.long
def test_the_answered_sample_computes_what_it_computed(tmp_path: Path) -> None:
    assert differences(read_values(frozen_path("sample_answered")), computed("sample_answered", tmp_path)) == []


@pytest.mark.long
def test_metric_units_change_no_value_of_the_sample(tmp_path: Path) -> None:
    metric = values_of(season_of_sample(tmp_path, {"farm": {"units": "metric"}}))
    assert differences(read_values(frozen_path("sample")), metric) == []


@pytest.mark.open_data
@pytest.mark.usefixtures("real_field")
def test_the_real_field_adds_up_to_what_it_did(tmp_path: Path) -> None:
    assert differences(read_values(frozen_path("real_field")), computed("real_field", tmp_path)) == []
