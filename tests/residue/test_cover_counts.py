"""Cover counted in spring: fields whose passes keep more or less than the handbook says, found again from a count."""

import geopandas as gpd
import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, check_counts, cover_counts, limits, methods
from stovergeo.residue.production import cover_after
from stovergeo.residue.retention import ground_cover, water_erosion

COEFFICIENTS = load_handbook()
K, WINTER = (COEFFICIENTS.value(f"retention.cover.{key}") for key in ("k", "overwinter"))
PASSES = st.lists(st.sampled_from(list(COEFFICIENTS.group("tillage"))), min_size=1, max_size=5)
FIELDS = gpd.GeoDataFrame({"name": ["Home", "North"]})


def ground(stover=9.0, grain=9.8) -> xr.Dataset:
    """Return one cell of each field."""
    shape = ("y", "x")
    return xr.Dataset(
        {
            "stover_mg_ha": (shape, [[stover, stover]]),
            "grain_mg_ha": (shape, [[grain, grain]]),
            "field_number": (shape, [[0.0, 1.0]]),
        }
    )


def counted(cover_pct, left="8 t/ha", planned=("chisel_straight", "planter"), cover_goal=30.0, report=None, **more):
    """Return the options of a plan with a count on Home."""
    entry = {"field": "Home", "cover_pct": cover_pct, "stover_left": left, **more}
    crop = Crop.model_validate({"tillage": planned, "cover_counts": [entry]})
    counts = cover_counts(crop, FIELDS, ground(), COEFFICIENTS, Report() if report is None else report)
    return RuleOptions(crop, Limits(cover_pct=cover_goal), COEFFICIENTS, counts=counts)


def asked(options, **values) -> tuple[float, float]:
    home, north = ground_cover.keep(ground(**values), options).values[0]
    return float(home), float(north)


@settings(max_examples=examples(50))
@given(kept=st.floats(0.05, 1.0), left=st.floats(2, 12), goal=st.floats(5, 60), passes=PASSES)
def test_a_count_finds_what_the_passes_truly_keep(kept, left, goal, passes):
    cover = 100 * cover_after(1000 * left, K, WINTER, kept)
    told = counted(cover, f"{left} t/ha", tuple(passes), goal)
    home, north = asked(told)
    without = RuleOptions(told.crop, told.limits, COEFFICIENTS)
    assert north == asked(without)[1], "the other field is judged as before"
    if goal / kept < 94.9:
        assert 100 * cover_after(1000 * home, K, WINTER, kept) == pytest.approx(goal, abs=1e-6)
    else:
        assert home >= 9.0


@settings(max_examples=examples(50))
@given(a=st.floats(1, 99), b=st.floats(1, 99))
def test_more_counted_never_asks_for_more(a, b):
    less, more = sorted((a, b))
    assert asked(counted(more))[0] <= asked(counted(less))[0] + 1e-9


@settings(max_examples=examples(50))
@given(passes=PASSES, extra=st.sampled_from(list(COEFFICIENTS.group("tillage"))), mass=st.floats(0, 15_000))
def test_a_pass_more_never_leaves_more_cover_and_never_asks_for_less(passes, extra, mass):
    few, many = (RuleOptions(Crop(tillage=tuple(p)), Limits(), COEFFICIENTS) for p in (passes, [*passes, extra]))
    assert cover_after(mass, K, WINTER, many.kept(ground())) <= cover_after(mass, K, WINTER, few.kept(ground()))
    assert asked(many)[0] >= asked(few)[0] - 1e-9


@pytest.mark.parametrize("pass_more", ["disk_shallow", "field_cultivator"])
def test_a_plan_with_another_pass_than_was_counted_asks_for_more(pass_more):
    same = counted(40.0, tillage=["chisel_straight", "planter"])
    more = counted(40.0, planned=("chisel_straight", pass_more, "planter"), tillage=["chisel_straight", "planter"])
    home, _ = ground_cover.keep(ground(), more).values[0]
    assert home > asked(same)[0]
    kept = same.kept(ground()).values[0, 0] * COEFFICIENTS.value(f"tillage.{pass_more}")
    assert more.kept(ground()).values[0, 0] == pytest.approx(kept)


def test_the_count_holds_for_every_rule_that_asks_for_cover():
    stack = ground().assign(
        ls_factor=(("y", "x"), [[0.9, 0.9]]),
        soil_erodibility=(("y", "x"), [[0.042, 0.042]]),
        soil_loss_tolerance=(("y", "x"), [[9.0, 9.0]]),
    )
    home, north = water_erosion.keep(stack, counted(20.0)).values[0]
    assert home > north > 0


def test_samples_carry_the_error_of_the_count_and_not_the_spread_of_the_passes():
    def spread(**drawn):
        few = counted(25.0, marks=100)
        samples = {key: xr.DataArray(values, dims="draw") for key, values in drawn.items()}
        options = RuleOptions(few.crop, few.limits, COEFFICIENTS, counts=few.counts, drawn=samples)
        return np.ptp(options.kept(ground()).isel(x=0).values)

    assert spread(**{"tillage.chisel_straight": [0.6, 0.9]}) < 1e-12
    error = np.sqrt(0.25 * 0.75 / 100)
    before = 1 - np.exp(-K * WINTER * 8000)
    assert spread(**{"retention.cover.count_error": [-1.0, 1.0]}) == pytest.approx(2 * error / before)


def test_stover_that_is_not_given_is_taken_as_all_of_it_and_asks_for_no_less():
    report = Report()
    unknown = counted(45.0, None, report=report)
    assert unknown.counts[0].stover_mg_ha == pytest.approx(0.85 * 9.8 + 0.65)
    assert [p.code for p in report] == ["residue.count_assumed"]
    assert asked(unknown)[0] >= asked(counted(45.0, "5 t/ha"))[0]


def test_a_count_without_stover_or_yield_is_reported_and_not_used():
    report, crop = Report(), Crop.model_validate({"cover_counts": [{"field": "Home", "cover_pct": 20}]})
    assert cover_counts(crop, FIELDS, ground(grain=np.nan), COEFFICIENTS, report) == ()
    assert [p.code for p in report] == ["residue.count_unused"]


@pytest.mark.parametrize(("cover", "codes"), [(35.0, []), (66.0, []), (8.0, ["residue.count_far"])])
def test_a_count_far_from_the_handbook_is_reported(cover, codes):
    report = Report()
    counted(cover, report=report)
    assert [p.code for p in report] == codes


@pytest.mark.parametrize(
    ("entries", "codes"),
    [
        ([{"field": "Hoem", "cover_pct": 20}], ["residue.count_nowhere"]),
        ([{"field": "Home", "cover_pct": 20}] * 2, ["residue.count_twice"]),
        ([{"field": "North", "cover_pct": 20, "tillage": ["chisel"]}], ["residue.unknown_pass"]),
        ([{"field": "Home", "cover_pct": 20}, {"field": "North", "cover_pct": 30}], []),
    ],
)
def test_slips_in_counts_are_reported(entries, codes):
    report = Report()
    check_counts(Crop.model_validate({"cover_counts": entries}), FIELDS["name"], COEFFICIENTS, report)
    assert [p.code for p in report] == codes


@pytest.mark.parametrize(
    "wrong", [{"cover_pct": 0.3}, {"cover_pct": 0}, {"cover_pct": 100}, {"marks": 3}, {"stover_left": 3}, {"hits": 25}]
)
def test_counts_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match="cover_counts"):
        Crop.model_validate({"cover_counts": [{"field": "Home", "cover_pct": 20, **wrong}]})


# the passes leave at most 0.8 x 0.5 x 0.8 x 0.9 = 29 % of the ground covered
DISKED = ("chisel_straight", "disk_shallow", "field_cultivator", "planter")


@pytest.mark.parametrize("stover", [3.0, 9.0, 20.0])
def test_passes_that_cannot_leave_the_cover_let_nothing_leave_and_say_what_to_change(stover):
    told = RuleOptions(Crop(tillage=DISKED), Limits(), COEFFICIENTS)
    assert asked(told, stover=stover)[0] >= stover
    said = render(ground_cover.message(stover, stover, told), "us")
    assert "leave at most 27% of the ground covered" in said
    assert said.endswith("for 30%, change the passes.")
    gentle = RuleOptions(Crop(tillage=("planter_no_till",)), Limits(), COEFFICIENTS)
    assert "change the passes" not in render(ground_cover.message(0.9 * stover, stover, gentle), "us")
    assert "change the passes" not in render(ground_cover.message(stover, stover, gentle), "us")


def test_where_cob_and_husk_are_baled_what_stays_covers_less():
    told = RuleOptions(Crop(tillage=("planter_no_till",)), Limits(), COEFFICIENTS)
    ratio = {n: told.with_method(m).cover_k() / K for n, m in methods(COEFFICIENTS).items()}
    assert told.cover_k() == K
    # stalk .56 of the plant; .22 of it baled, .02 of that stalk: (.56 - .0044) / .78 of what stays is stalk. Stalk
    # covers .72 of what the plant does, the rest (1 - .56 x .72) / .44 = 1.3564: .7123 x .72 + .2877 x 1.3564 = .9031
    assert ratio["single_pass"] == pytest.approx(0.9031, abs=1e-4)
    assert 0.72 < ratio["single_pass"] < ratio["second_pass"] < ratio["rake_bale"] <= 1


def test_limits_of_a_farm_use_the_count(farm, options):
    fields = gpd.GeoDataFrame({"name": ["Home", "North"]})
    crop = options.crop.model_copy(update={"cover_counts": counted(12.0).crop.cover_counts})
    counts = cover_counts(crop, fields, farm, COEFFICIENTS, Report())
    before = limits(farm, options, Report())["retention_ground_cover_mg_ha"]
    after = limits(farm, RuleOptions(crop, options.limits, COEFFICIENTS, counts=counts), Report())
    more = after["retention_ground_cover_mg_ha"] > before
    home = (farm["field_number"] == 0) & before.notnull()
    assert bool(more.where(home, True).all())
    assert not bool(more.where(farm["field_number"] == 1, False).any())
