"""The made-up result, once a session."""

from __future__ import annotations

from types import ModuleType

import hostile
import made_up
import pytest


@pytest.fixture(scope="session")
def farm() -> ModuleType:
    """The module that makes the made-up season."""
    return made_up


@pytest.fixture(scope="session")
def result(tmp_path_factory):
    return made_up.made_result(tmp_path_factory.mktemp("plan"))


@pytest.fixture(scope="session")
def hostile_strings() -> list[str]:
    return hostile.HOSTILE
