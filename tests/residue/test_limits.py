"""The stack's limits: largest rule, its name, what may leave, and what is reported when something is not known."""

from importlib.metadata import EntryPoint

import numpy as np
import pytest

from stovergeo.core import plugins
from stovergeo.core.errors import InputError, Report
from stovergeo.core.printing import render
from stovergeo.core.stack import summary
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, limits, stover


@pytest.fixture
def done(farm, options):
    return limits(farm, options, Report())


def test_stover_keep_and_removable_add_up(done):
    total = done["retention_mg_ha"] + done["removable_mg_ha"]
    known = done["stover_mg_ha"].notnull()
    assert (abs(total - done["stover_mg_ha"]).where(known, 0) < 1e-5).all()
    assert (done["removable_mg_ha"].where(known, 0) >= 0).all()
    assert np.array_equal(done["retention_mg_ha"].isnull(), done["stover_mg_ha"].isnull())


def test_stover_is_the_line_of_the_handbook(done, farm):
    line = stover(farm["grain_mg_ha"].values.astype(float), 0.85, 0.65)
    assert done["stover_mg_ha"].values == pytest.approx(line, rel=1e-6, nan_ok=True)


def test_largest_rule_binds_and_is_named(done):
    names = done["binding_rule"].attrs["rules"]
    kept = np.stack([done[f"retention_{n}_mg_ha"].values for n in names])
    known = done["stover_mg_ha"].notnull().values
    binding = np.nan_to_num(done["binding_rule"].values, nan=0).astype(int)
    asked = np.take_along_axis(kept, binding[None], axis=0)[0]
    assert asked[known] == pytest.approx(np.fmax.reduce(kept)[known], abs=1e-6)
    assert done["retention_mg_ha"].values[known] == pytest.approx(
        np.minimum(np.fmax.reduce(kept), done["stover_mg_ha"].values)[known], abs=1e-6
    )


def test_forbidden_ground_names_the_rule_that_forbids(done, farm):
    names = done["binding_rule"].attrs["rules"]
    steep = (farm["slope_pct"] > 8) & (farm["concentrated_flow"] == 0) & done["stover_mg_ha"].notnull()
    assert steep.any()
    assert (done["binding_rule"].where(steep, names.index("steep_ground")) == names.index("steep_ground")).all()
    water = (farm["concentrated_flow"] == 1) & done["stover_mg_ha"].notnull()
    assert (done["removable_mg_ha"].where(water, 0) == 0).all()


def test_rows_asked_a_few_at_a_time_give_the_same_answer(done, farm, options, monkeypatch):
    monkeypatch.setattr("stovergeo.residue.removable.CELLS_AT_ONCE", 3 * farm.sizes["x"])
    in_blocks = limits(farm, options, Report())
    assert farm.sizes["y"] % 3 != 0  # the last block is a short one
    for name, values in done.data_vars.items():
        np.testing.assert_array_equal(in_blocks[name].values, values.values, err_msg=name)


def test_every_variable_has_a_unit(done):
    assert all(unit for unit, *_ in summary(done).values())


def test_unknown_soil_takes_a_cautious_number_and_is_reported(farm, options):
    report = Report()
    done = limits(farm, options, report)
    said = [p for p in report if p.code == "residue.soil_unknown"]
    assert len(said) == 1
    assert "0.5 ha; 0.0566 t ha h/(ha MJ mm) was taken there" in render(said[0].what, "metric")
    assert "1.2 ac; 0.43 US was taken there" in render(said[0].what, "us")
    gap = farm["soil_erodibility"].isnull() & done["stover_mg_ha"].notnull()
    assert done["retention_water_erosion_mg_ha"].where(gap, 0).notnull().all()
    known = limits(farm.assign(soil_erodibility=farm["soil_erodibility"].fillna(0.32 * 0.1317)), options, Report())
    assert (
        done["retention_water_erosion_mg_ha"].where(gap, 0)
        >= known["retention_water_erosion_mg_ha"].where(gap, 0) - 1e-6
    ).all()


def test_a_rule_without_its_layer_is_left_out_and_reported(farm, options):
    report = Report()
    done = limits(farm.drop_vars(["ls_factor", "slope_pct"]), options, report)
    assert "retention_water_erosion_mg_ha" not in done
    assert "retention_steep_ground_mg_ha" not in done
    said = [p.where for p in report if p.code == "residue.rule_not_checked"]
    assert any("water_erosion" in w for w in said)
    assert any("steep_ground" in w for w in said)


def test_a_rule_known_on_part_of_the_ground_lets_the_others_stand(farm, options):
    report = Report()
    gap = farm["ls_factor"].where(farm["x"] > farm["x"].mean())
    done = limits(farm.assign(ls_factor=gap.assign_attrs(farm["ls_factor"].attrs)), options, report)
    assert done["removable_mg_ha"].notnull().sum() == done["stover_mg_ha"].notnull().sum()
    assert any("water_erosion" in p.where and " ha." in render(p.what, "metric") for p in report)


def test_only_the_rules_of_the_plan_are_used(farm, coefficients):
    told = RuleOptions(Crop(rotation="continuous corn"), Limits(rules=("soil_carbon",)), coefficients)
    done = limits(farm, told, Report())
    assert done["binding_rule"].attrs["rules"] == ["soil_carbon"]


def test_fewer_rules_never_ask_for_more(farm, coefficients, done):
    for rule in done["binding_rule"].attrs["rules"]:
        told = RuleOptions(
            Crop(rotation="continuous corn", tillage=("chisel_straight", "planter")),
            Limits(rules=(rule,), take_erodible=True),
            coefficients,
        )
        alone = limits(farm, told, Report())
        assert (alone["retention_mg_ha"].fillna(0) <= done["retention_mg_ha"].fillna(0) + 1e-6).all()


@pytest.mark.parametrize(
    ("crop", "limit", "code", "said"),
    [
        ({"tillage": ("chisel", "planter")}, {}, "residue.unknown_pass", "chisel"),
        ({}, {"rules": ("soil_carbn",)}, "residue.unknown_rule", "soil_carbn"),
    ],
)
def test_unknown_names_are_refused(farm, coefficients, crop, limit, code, said):
    report = Report()
    with pytest.raises(InputError):
        limits(farm, RuleOptions(Crop(**crop), Limits(**limit), coefficients), report)
    assert [p.code for p in report.refused] == [code]
    assert report.refused[0].what.values["value"] == said


def test_no_rule_at_all_is_refused(farm, coefficients):
    bare = farm[["cell_area_ha", "grain_mg_ha"]]
    with pytest.raises(InputError, match="No retention rule could be checked"):
        limits(bare, RuleOptions(Crop(), Limits(rules=("water_erosion",)), coefficients), Report())


def test_low_conditioning_index_warns(farm, coefficients):
    report = Report()
    limits(farm, RuleOptions(Crop(soil_conditioning_index=0.1), Limits(), coefficients), report)
    assert "residue.conditioning_low" in [p.code for p in report]


class Failing:
    """A plug-in rule that fails when it is asked."""

    title, reads, source = "Failing", ("stover_mg_ha",), "none"

    def keep(self, stack, options):
        raise RuntimeError("out of order")


class Endless:
    """A plug-in rule that answers with infinity."""

    title, reads, source = "Endless", ("stover_mg_ha",), "none"

    def keep(self, stack, options):
        return stack["stover_mg_ha"] * np.inf


FAILING, ENDLESS = Failing(), Endless()


@pytest.mark.parametrize("thing", ["FAILING", "ENDLESS"])
def test_a_broken_plug_in_rule_stops_no_other(farm, options, monkeypatch, thing, done):
    plugin = plugins.Plugin("another_rule", "elsewhere", globals()[thing])
    monkeypatch.setattr(
        "stovergeo.residue.removable.load_plugins", lambda group: [*plugins.load_plugins(group), plugin]
    )
    report = Report()
    with_it = limits(farm, options, report)
    assert any(p.code == "residue.rule_broken" and "another_rule" in p.where for p in report)
    assert "retention_another_rule_mg_ha" not in with_it
    assert with_it["retention_mg_ha"].identical(done["retention_mg_ha"])


def test_a_rule_that_cannot_be_loaded_is_listed(farm, options, monkeypatch):
    entry = EntryPoint("lost", "stovergeo.residue.retention.no_such_rule", plugins.RETENTION_RULES)
    every = tuple(plugins.entry_points(group=plugins.RETENTION_RULES))
    monkeypatch.setattr(plugins, "entry_points", lambda group: [*every, entry])
    monkeypatch.setattr("stovergeo.residue.removable.load_plugins", plugins.load_plugins.__wrapped__)
    report = Report()
    limits(farm, options, report)
    assert any(p.code == "residue.rule_broken" and "lost" in p.where for p in report)


def test_ground_that_cannot_meet_a_limit_is_reported_in_hectares(farm, options):
    steep = farm.assign(ls_factor=(farm["ls_factor"] * 0 + 20).assign_attrs(farm["ls_factor"].attrs))
    report = Report()
    done = limits(steep, options, report)
    assert (done["removable_mg_ha"].fillna(0) == 0).all()
    said = next(p for p in report if p.code == "residue.all_must_stay")
    grown = float(done["cell_area_ha"].where(done["stover_mg_ha"].notnull()).sum())
    assert f"on {grown:.1f} ha" in render(said.what, "metric")
    usual = Report()
    limits(farm, options, usual)
    assert "residue.all_must_stay" not in [p.code for p in usual]
