"""The handbook: every number has a unit, a meaning, a standing, and a source where it claims one."""

from __future__ import annotations

import pytest

from stovergeo.core.coefficients import Handbook, Standing, load_handbook
from stovergeo.core.coefficients.handbook import UnknownCoefficientError, read_coefficients

TWO = """
[soil.k]
value = 0.3
low = 0.2
high = 0.5
unit = "1"
meaning = "a number"
source = "Handbook 1, table 2"
standing = "published"

[soil.t]
value = 5
unit = "Mg/ha"
meaning = "another"
standing = "judgment"
"""


def two() -> Handbook:
    return Handbook({c.key: c for c in read_coefficients(TWO)})


def test_the_shipped_handbook_reads() -> None:
    coefficients = load_handbook()
    assert len(coefficients) > 100
    assert all(c.low <= c.value <= c.high for c in coefficients.values())
    assert all(
        c.source for c in coefficients.values() if c.standing in (Standing.PUBLISHED, Standing.MEMORY, Standing.DERIVED)
    )


def test_only_what_was_looked_up_counts_as_used() -> None:
    coefficients = two()
    assert coefficients.used() == []
    assert coefficients.value("soil.t") == 5
    assert [c.key for c in coefficients.used()] == ["soil.t"]


def test_an_unknown_key_suggests_the_nearest() -> None:
    with pytest.raises(UnknownCoefficientError, match=r"did you mean 'soil.k'"):
        two()["soil.kk"]


def test_the_plans_own_number_has_no_spread_and_says_so() -> None:
    own = two().with_plan({"soil.k": 0.45})["soil.k"]
    assert (own.value, own.low, own.high, own.standing) == (0.45, 0.45, 0.45, Standing.PLAN)
    assert "0.3" in own.note


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('unit = "1"\n', ""), "unit"),
        (("low = 0.2", "low = 0.4"), "low <= value <= high"),
        (("value = 0.3", "value = nan"), "low <= value <= high"),
        (('source = "Handbook 1, table 2"\n', ""), "needs a source"),
        (('"published"', '"certain"'), "certain"),
        (("value = 5", "value = 0\npositive = true"), "a value above 0"),
    ],
)
def test_a_careless_entry_is_refused(change: tuple[str, str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read_coefficients(TWO.replace(*change))


def test_an_own_number_that_is_impossible_is_refused() -> None:
    with pytest.raises(ValueError, match=r"bale.density.round cannot be 0 kg/m3; the handbook has 117"):
        load_handbook({"bale.density.round": 0})
    with pytest.raises(ValueError, match="cannot be -1 kg/m3"):
        load_handbook({"bale.density.round": -1})
    assert load_handbook({"wrap.price.tarp": 0}).value("wrap.price.tarp") == 0
