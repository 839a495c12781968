"""The whole package on the real field: figures beside those of its README."""

from __future__ import annotations

import pytest

from stovergeo.core.errors import Report
from stovergeo.yieldmap import boundary_from_points, clean_points, grain_surface, ground_from_points, raw_summary

pytestmark = pytest.mark.open_data


def test_raw_figures(real_points) -> None:
    # README of the real field: 9,027.2 bu on 67.45 ac, 133.8 bu/ac, 193.76 t dry
    raw = raw_summary(real_points)
    assert raw["bushels"] == pytest.approx(9027.2, abs=0.1)
    assert raw["area_ha"] / 0.40468564224 == pytest.approx(67.45, abs=0.005)
    assert raw["bu_ac"] == pytest.approx(133.8, abs=0.05)
    assert raw["dry_mg"] == pytest.approx(193.76, abs=0.005)
    # first record, README: 0.8546 bu on 0.006657 ac, 128.37 bu/ac
    assert raw_summary(real_points.iloc[:1])["bu_ac"] == pytest.approx(128.37, abs=0.01)


def test_cleaned_yield_and_counts(real_points, coefficients) -> None:
    report = Report()
    cleaned = clean_points(real_points, coefficients, report)
    assert 134 <= raw_summary(cleaned.points)["bu_ac"] <= 138
    counts = cleaned.counts.set_index("reason")["points"]
    assert counts.sum() == len(real_points) == 4949
    assert 5 <= counts["no_flow"] <= 7  # 5 rows hold no flow; moving the grain back moves one into a pass
    assert 0.85 < counts["kept"] / len(real_points) < 0.97
    # the header runs ahead of the receiver, and the export was shifted too far: as they come,
    # passes end in three records of collapsing flow; with the grain put back, in one
    delay = cleaned.corrections["delay"]["all"]
    assert delay["applied"]
    assert -8 < delay["seconds"] < -3
    assert delay["gain"] > 0.15
    assert counts["not_recorded"] > 80
    assert cleaned.corrections["ends"]["all"]["end"] <= 1
    assert counts["pass_start"] + counts["pass_end"] < 200
    assert {p.code for p in report} == {"yield.not_positive", "yield.outlier", "time.order"}


def test_outline_surface_and_ground(real_points, coefficients, grid_over) -> None:
    fields = boundary_from_points(real_points)
    nominal_ha = raw_summary(real_points)["area_ha"]
    assert len(fields) == 1
    assert fields.area_ha.sum() == pytest.approx(nominal_ha, rel=0.03)
    assert len(fields.geometry[0].interiors) >= 1  # the obstacle left unharvested
    stack = grid_over(fields)
    cleaned = clean_points(real_points, coefficients, Report())
    surface = grain_surface(cleaned.points, fields, stack, coefficients, removed=cleaned.removed)
    assert 0.98 < surface.report["known_fraction"] <= 1
    assert surface.report["mass_factor"] == pytest.approx(1, abs=0.005)
    # predicted into blocks three swaths wide, against a spread of the kept records of 0.69
    assert surface.report["cv_rmse_mg_ha"] < 0.47
    assert surface.report["cv_rmse_mg_ha"] < 0.75 * cleaned.points["grain_mg_ha"].std()
    ground = ground_from_points(real_points, stack, coefficients)
    # README: pass to pass 0.70 m, about 0.31 m without drift, slope over 40 m and more
    assert ground.raw_pass_error_m == pytest.approx(0.70, abs=0.02)
    assert ground.pass_error_m < 0.32
    assert ground.holdout_error_m < 0.35
    assert 30 <= ground.min_scale_m <= 60
