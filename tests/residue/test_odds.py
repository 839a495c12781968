"""The Monte Carlo run: reproducible, shared where the cause is shared, and honest percentiles."""

import dataclasses

import numpy as np
import pytest
from scipy.special import ndtri

from stovergeo.core import plugins
from stovergeo.core.errors import Report
from stovergeo.inputs.plan.crop import Odds
from stovergeo.residue import limits, odds_table, sample_limits, sensitivity
from stovergeo.residue.sampling import draw, stream, triangular
from stovergeo.residue.zone_cells import sample, zone_cells


@pytest.fixture(scope="module")
def drawn(done, zones, options, ways):
    return sample_limits(done, *zones, options, Odds(samples=400, seed=7), ways)


def same(a, b):
    for field in dataclasses.fields(a):
        x, y = getattr(a, field.name), getattr(b, field.name)
        if isinstance(x, np.ndarray):
            assert np.array_equal(x, y), field.name
        elif isinstance(x, dict) and x and isinstance(next(iter(x.values())), np.ndarray | tuple):
            assert all(np.array_equal(x[k], y[k]) for k in x), field.name
        else:
            assert x == y, field.name


def test_same_seed_gives_the_same_bits(done, zones, options, ways, drawn):
    same(drawn, sample_limits(done, *zones, options, Odds(samples=400, seed=7), ways))


def test_how_many_draws_are_computed_at_once_changes_no_bit(done, zones, options, ways, drawn, monkeypatch):
    monkeypatch.setattr("stovergeo.residue.monte_carlo._DRAWS_AT_ONCE", 37)
    same(drawn, sample_limits(done, *zones, options, Odds(samples=400, seed=7), ways))


def test_another_seed_gives_other_draws(done, zones, options, ways, drawn):
    other = sample_limits(done, *zones, options, Odds(samples=400, seed=8), ways)
    assert not np.array_equal(other.limit_mg_ha, drawn.limit_mg_ha)
    # stratified samples: the medians of two seeds lie close
    assert np.median(other.limit_mg_ha, axis=0) == pytest.approx(np.median(drawn.limit_mg_ha, axis=0), abs=0.25)


def test_fewer_rules_leave_every_other_draw_as_it_was(done, zones, options, ways, drawn):
    fewer = dataclasses.replace(options, limits=options.limits.model_copy(update={"rules": ("soil_carbon",)}))
    less = sample_limits(done, *zones, fewer, Odds(samples=400, seed=7), ways)
    assert set(less.inputs) < set(drawn.inputs)
    assert all(np.array_equal(v, drawn.inputs[k]) for k, v in less.inputs.items())
    assert (less.limit_mg_ha >= drawn.limit_mg_ha - 1e-9).all()


def departures(drawn):
    """What each zone's limit does that hangs on its own field and itself, beside what all zones share."""
    return {z: drawn.limit_mg_ha[:, row] for row, z in enumerate(drawn.zone_ids)}


def test_what_a_field_draws_hangs_neither_on_its_order_nor_on_other_fields(done, zones, options, ways, drawn):
    table, labels = zones
    mine = table["field_id"] == table["field_id"].iloc[-1]
    alone = np.where(np.isin(labels, np.flatnonzero(mine)), labels - np.flatnonzero(mine)[0], np.nan)
    few = sample_limits(done, table[mine], alone, options, Odds(samples=400, seed=7), ways)
    field = table["field_id"].iloc[-1]
    at = drawn.fields.index(field)
    assert np.array_equal(few.inputs["residue.factor"][:, 0], drawn.inputs["residue.factor"][:, at])
    for zone, limit in departures(few).items():
        assert limit == pytest.approx(departures(drawn)[zone], abs=1e-12)


def test_two_farms_share_what_is_common_and_no_departure_of_a_field(done, zones, options, ways):
    def of(farm):
        owner = {f: f"{farm}/{f}" for f in zones[0]["field_id"]}
        return sample_limits(done, *zones, options, Odds(samples=2000, seed=7), ways, owner).inputs

    one, two = of("Hill Farm"), of("Brook Farm")
    for key, values in one.items():
        if values.ndim == 1:
            assert np.array_equal(values, two[key])
        else:  # independent: the correlation of 2,000 pairs stays within 4 standard errors of none
            together = np.corrcoef(values.T, two[key].T)[: values.shape[1], values.shape[1] :]
            assert np.abs(together).max() < 4 / np.sqrt(2000)


def test_percentiles_are_in_order_and_odds_between_0_and_1(drawn, zones):
    table = odds_table(drawn, 10, dict.fromkeys(zones[0]["zone_id"], "single_pass"))
    assert list(table["zone_id"]) == list(zones[0]["zone_id"])
    assert (table["p10_mg_ha"] <= table["p50_mg_ha"]).all()
    assert (table["p50_mg_ha"] <= table["p90_mg_ha"]).all()
    assert (table["cautious_mg_ha"] == table["p10_mg_ha"]).all()
    assert table[["compliance_probability", "odds_any"]].stack().between(0, 1).all()
    assert (odds_table(drawn, 10)["compliance_probability"] == 1).all()  # what is left alone keeps every limit


def test_lighter_methods_hold_more_often(drawn, zones):
    by_way = {
        w: odds_table(drawn, 10, dict.fromkeys(zones[0]["zone_id"], w))["compliance_probability"].to_numpy()
        for w in ("single_pass", "rake_bale")
    }
    assert (by_way["single_pass"] >= by_way["rake_bale"]).all()


def test_without_draws_the_run_gives_the_central_answer(done, zones, options, ways):
    table = odds_table(sample_limits(done, *zones, options, Odds(samples=0), ways), 10)
    cells = zone_cells(zones[1], done, 4)
    few = sample(cells, cells.of(done["removable_mg_ha"]), 60)
    central = few.mean(done["removable_mg_ha"].values.ravel()[few.cells].astype(float))
    assert table["p50_mg_ha"].to_numpy() == pytest.approx(central, abs=1e-5)
    assert (table["p10_mg_ha"] == table["p90_mg_ha"]).all()


def test_season_is_shared_within_a_field_and_not_between(drawn):
    assert drawn.inputs["residue.factor"].shape == (400, 2)
    across = np.corrcoef(drawn.inputs["residue.factor"].T)[0, 1]
    assert abs(across) < 0.2
    # two zones of one field move together more than zones of two fields
    r = np.corrcoef(drawn.limit_mg_ha.T)
    assert r[2, 3] > r[2, 0]
    assert r[2, 3] > 0.8


def test_coefficients_of_rules_are_one_draw_for_the_farm(drawn):
    assert drawn.inputs["retention.carbon.factor"].shape == (400,)
    assert drawn.inputs["retention.cover.k"].shape == (400,)


def test_a_number_set_in_the_plan_is_not_drawn(done, zones, options, ways):
    own = dataclasses.replace(
        options, coefficients=options.coefficients.with_plan({"retention.carbon.factor": 1.0, "residue.factor": 1.0})
    )
    run = sample_limits(done, *zones, own, Odds(samples=50), ways)
    assert "retention.carbon.factor" not in run.inputs
    assert (run.inputs["residue.factor"] == 1).all()


def test_sensitivity_ranks_what_moves_the_limit(drawn):
    table = sensitivity(drawn)
    assert set(table["field_id"]) == {"F1", "F2"}
    for _, rows in table.groupby("field_id"):
        assert rows["share"].sum() == pytest.approx(1)
        assert rows["share"].is_monotonic_decreasing
        assert list(rows["rank"]) == list(range(1, len(rows) + 1))
    first = table[table["rank"] == 1].set_index("field_id")
    assert set(first["input"]) <= {"retention.carbon.factor", "residue.factor"}
    signs = table.set_index("input")["direction"]
    assert (signs.loc[["retention.carbon.factor"]] == -1).all()
    assert (signs.loc[["residue.factor"]] == 1).all()


def test_more_spread_makes_the_cautious_limit_lower(done, zones, options, ways, drawn):
    certain = options.coefficients.with_plan({"retention.carbon.factor": 1.0})
    narrow = sample_limits(
        done, *zones, dataclasses.replace(options, coefficients=certain), Odds(samples=400, seed=7), ways
    )
    assert (np.percentile(narrow.limit_mg_ha, 10, axis=0) >= np.percentile(drawn.limit_mg_ha, 10, axis=0)).all()


def test_grain_error_spreads_the_limit(done, zones, options, ways, drawn):
    sure = done.assign(grain_error_mg_ha=done["grain_error_mg_ha"] * 0)
    narrow = sample_limits(sure, *zones, options, Odds(samples=400, seed=7), ways)
    assert (narrow.limit_mg_ha.std(axis=0) <= drawn.limit_mg_ha.std(axis=0) + 1e-9).all()


@pytest.mark.parametrize(
    ("low", "mode", "high"), [(0.0, 0.3, 1.0), (0.66, 1.0, 1.34), (2.0, 2.0, 5.0), (2.0, 5.0, 5.0)]
)
def test_triangular_quantiles_have_the_right_mean_and_ends(low, mode, high):
    p = (np.arange(20_000) + 0.5) / 20_000
    values = triangular(p, low, mode, high)
    assert values.mean() == pytest.approx((low + mode + high) / 3, rel=1e-4)
    variance = (low**2 + mode**2 + high**2 - low * mode - low * high - mode * high) / 18
    assert values.var() == pytest.approx(variance, rel=1e-3)
    assert low <= values.min() < values.max() <= high
    assert (np.diff(values) >= 0).all()


def test_draws_are_stratified(options):
    c = options.coefficients["retention.carbon.content"]
    edges = triangular(np.linspace(0, 1, 101), c.low, c.value, c.high)
    assert (np.histogram(draw(c, 3, 100), edges)[0] == 1).all()
    c = options.coefficients["retention.carbon.factor"]
    edges = c.value * np.exp(c.sd_ln * ndtri(np.linspace(0, 1, 101)))
    assert (np.histogram(draw(c, 3, 100), edges)[0] == 1).all()


def test_streams_depend_on_the_name_and_the_seed():
    a = stream(1, "retention.cover.k").random()
    assert a == stream(1, "retention.cover.k").random()
    assert a != stream(2, "retention.cover.k").random()
    assert a != stream(1, "residue.factor").random()


def test_sample_keeps_each_zone_s_mean_and_area(done, zones):
    cells = zone_cells(zones[1], done, 4)
    few = sample(cells, cells.of(done["removable_mg_ha"]), 60)
    assert np.bincount(few.zone).max() <= 60
    assert few.total(few.weight_ha) == pytest.approx(cells.total(cells.weight_ha), rel=1e-12)
    layer = done["removable_mg_ha"]
    assert few.mean(few.of(layer)) == pytest.approx(cells.mean(cells.of(layer)), abs=0.05)


def test_a_zone_without_known_cells_is_unknown(done, zones, options, ways):
    table, labels = zones
    gone = np.where(labels == 1, np.nan, labels)
    frame = odds_table(sample_limits(done, table, gone, options, Odds(samples=20), ways), 10)
    assert np.isnan(frame["p50_mg_ha"].to_numpy()).tolist() == [False, True, False, False]


class MapOnly:
    """A plug-in rule that works on maps alone."""

    title, reads, source = "Map only", ("stover_mg_ha",), "none"

    def keep(self, stack, options):
        if "y" not in stack.dims:
            raise ValueError("maps only")
        return stack["stover_mg_ha"] * 0 + 7.5


def test_a_plug_in_rule_that_cannot_be_drawn_is_held_to_its_map(farm, zones, options, ways, drawn, monkeypatch):
    plugin = plugins.Plugin("map_only", "elsewhere", MapOnly())
    monkeypatch.setattr(
        "stovergeo.residue.removable.load_plugins", lambda group: [*plugins.load_plugins(group), plugin]
    )
    stack = limits(farm, options, Report())
    assert (stack["retention_map_only_mg_ha"].where(stack["stover_mg_ha"].notnull(), 7.5) == 7.5).all()
    run = sample_limits(stack, *zones, options, Odds(samples=400, seed=7), ways)
    # other cells stand for a zone: they are taken along what can be spared
    assert (run.limit_mg_ha - drawn.limit_mg_ha).max() < 0.05
    assert (run.limit_mg_ha.mean(axis=0) < drawn.limit_mg_ha.mean(axis=0)).all()


def test_a_built_in_rule_may_not_fail_unseen(farm, options, monkeypatch):
    monkeypatch.setattr(
        "stovergeo.residue.retention.soil_carbon.required", lambda *options: (_ for _ in ()).throw(ZeroDivisionError)
    )
    with pytest.raises(ZeroDivisionError):
        limits(farm, options, Report())
