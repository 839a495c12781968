"""What was promised to go goes: a test that fails by itself when the version comes."""

from __future__ import annotations

import doctest
import pkgutil
from importlib import import_module

import pytest

import stovergeo
from stovergeo.core import deprecation
from stovergeo.core.deprecation import Promise, StovergeoDeprecationWarning, deprecated, outlived, renamed_argument


@pytest.fixture(autouse=True)
def _own_promises(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test here starts with what the package itself promised, and leaves nothing behind."""
    for module in pkgutil.walk_packages(stovergeo.__path__, "stovergeo."):
        import_module(module.name)
    monkeypatch.setattr(deprecation, "PROMISES", list(deprecation.PROMISES))


def test_nothing_outlives_its_promise() -> None:
    assert outlived(stovergeo.__version__) == [], "take these away, they were promised to be gone by now"


def test_the_test_above_fails_once_the_version_comes() -> None:
    before = len(outlived("0.9"))

    @deprecated(instead="new", gone="0.9")
    def old() -> None:
        """Go."""

    assert len(outlived("0.8.12")) == before == len(outlived("0.8"))
    assert [p.gone for p in outlived("0.9")][before:] == ["0.9"]
    assert Promise("tests", "0.9") not in outlived("0.9.0")
    assert len(outlived("0.10.1")) == before + 1  # numbers, not text


def test_a_function_that_goes_still_works_and_warns_at_the_call() -> None:
    @deprecated(instead="stovergeo.put", gone="99.0")
    def lay(number: int) -> int:
        """Lay."""
        return number + 1

    with pytest.warns(StovergeoDeprecationWarning, match=r"lay will go in version 99.0; call stovergeo.put") as said:
        assert lay(1) == 2
    assert said[0].filename == __file__
    assert lay.__doc__ == "Lay."


def test_an_old_argument_is_handed_on_under_its_new_name() -> None:
    @renamed_argument("width", "width_m", gone="99.0")
    def zone(width_m: float) -> float:
        return width_m

    assert zone(width_m=2.0) == 2.0
    with pytest.warns(StovergeoDeprecationWarning, match="'width' of zone is called 'width_m'"):
        assert zone(width=3.0) == 3.0
    with pytest.raises(TypeError, match="'width_m' is the name now"):
        zone(width=3.0, width_m=3.0)


def test_its_example_runs() -> None:
    result = doctest.testmod(deprecation)
    assert (result.attempted > 3, result.failed) == (True, 0)
