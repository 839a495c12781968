"""Fields on which a crop still stands when bales are carried."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
from small_farm import write_small_farm

from stovergeo.core.errors import Report
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers


@pytest.mark.parametrize(("said", "stands"), [("yes", True), ("Y ", True), ("no", False), (None, False), ("1", True)])
def test_the_named_column_says_where_a_crop_stands(tmp_path: Path, said: str | None, stands: bool) -> None:
    plan = write_small_farm(tmp_path, relief=False)
    fields = gpd.read_file(tmp_path / "fields.gpkg").assign(standing=said)
    fields.to_file(tmp_path / "fields.gpkg")
    plan["layers"]["fields"]["standing_column"] = "standing"
    farm = read_layers(plan_from(plan, tmp_path, Report()), Report())
    assert list(farm.fields["crop_stands"]) == [stands]


def test_a_column_that_is_not_there_is_refused(tmp_path: Path) -> None:
    plan = write_small_farm(tmp_path, relief=False)
    plan["layers"]["fields"]["standing_column"] = "standing"
    report = Report()
    read_layers(plan_from(plan, tmp_path, Report()), report)
    assert [p.code for p in report.refused] == ["column.missing"]
