"""Plots draw on the axes they are given and show what the tables hold."""

from __future__ import annotations

import pytest

matplotlib = pytest.importorskip("matplotlib", reason="matplotlib (extra `plot`) is not installed")
matplotlib.use("Agg")

import matplotlib.pyplot as plt  # noqa: E402

from stovergeo.report.plots import plot_stack, plot_yards, plot_zones  # noqa: E402


@pytest.fixture
def ax():
    figure, ax = plt.subplots()
    yield ax
    plt.close(figure)


@pytest.mark.parametrize("name", ["slope_pct", "binding_rule", "yard_reason"])
def test_stack_is_drawn_with_meaning_and_unit(result, ax, name):
    assert plot_stack(result.stack, name, ax) is ax
    bar = ax.figure.axes[1]
    if name == "slope_pct":
        assert bar.get_ylabel() == "slope of the ground, %"
    if name == "binding_rule":
        assert [t.get_text() for t in bar.get_yticklabels()] == ["cover", "carbon"]
    assert ax.get_aspect() == 1


@pytest.mark.parametrize("column", ["removal_mg_ha", "method", "binding_rule"])
def test_zones_carry_their_ids(result, ax, column):
    assert plot_zones(result, ax, column) is ax
    assert {"F1-a", "F1-b", "F2-a", "F2-b"} == {t.get_text() for t in ax.texts}


def test_yards_show_their_rows_to_scale(result, ax):
    plot_yards(result, ax, "Y1")
    _, lanes, apron, rows = ax.collections
    assert len(lanes.get_paths()) == len(apron.get_paths()) == 1
    assert len(rows.get_paths()) == 5
    (west, south), (east, north) = rows.get_paths()[0].get_extents().get_points()
    assert (east - west, north - south) == pytest.approx((2.5, 130))
    with pytest.raises(KeyError, match="Y1, Y2"):
        plot_yards(result, ax, "Y9")


def test_axes_are_made_where_none_are_given(result):
    ax = plot_yards(result)
    assert len(ax.texts) == 2
    plt.close(ax.figure)
