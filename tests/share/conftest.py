"""The made-up result, once a session."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("made_up", Path(__file__).with_name("made_up.py"))
made_up = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made_up)


@pytest.fixture(scope="session")
def farm():
    """The module that makes the made-up season."""
    return made_up


@pytest.fixture(scope="session")
def result(tmp_path_factory):
    return made_up.made_result(tmp_path_factory.mktemp("plan"))


@pytest.fixture(scope="session")
def hostile_strings() -> list[str]:
    spec = importlib.util.spec_from_file_location("hostile", Path(__file__).with_name("hostile.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.HOSTILE
