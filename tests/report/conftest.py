"""The made-up result, and small farms that are planned: each once a session."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import ModuleType

import hostile
import made_up
import pytest
from frozen_farms import SHORT, write_made_farm

from stovergeo.result import SeasonResult


@pytest.fixture(scope="session")
def farm() -> ModuleType:
    """The module that makes the made-up season."""
    return made_up


@pytest.fixture(scope="session")
def result(tmp_path_factory):
    return made_up.made_result(tmp_path_factory.mktemp("plan"))


@pytest.fixture(scope="session")
def season_of(tmp_path_factory) -> Callable[[str], SeasonResult]:
    """The season of one of the frozen farms, by its name."""

    @cache
    def season(name: str) -> SeasonResult:
        folder = tmp_path_factory.mktemp("farm")
        write_made_farm(folder)
        return SHORT[name](folder)

    return season


@pytest.fixture(scope="session")
def hostile_strings() -> list[str]:
    return hostile.HOSTILE
