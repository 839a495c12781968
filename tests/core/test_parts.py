"""The short part of the tests tries the same examples each time, the long part others and more of them."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest

PROPERTY = "tests/report/test_ledger.py::test_shares_are_whole_and_within_one_of_their_part"


def tried(request: pytest.FixtureRequest, *options: str) -> list[str]:
    """Return the examples that a property test tries in a run of its own, as it prints them."""
    line = [sys.executable, "-m", "pytest", "-q", "-s", "-p", "no:cacheprovider", "--hypothesis-verbosity=verbose"]
    env = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")} | {"CI": ""}
    run = subprocess.run(
        [*line, *options, PROPERTY],
        capture_output=True, text=True, env=env, cwd=request.config.rootpath, timeout=120, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    return re.findall(r"^\s+(?:count|values)=(.+)$", run.stdout, re.MULTILINE)


@pytest.mark.long
def test_the_short_part_tries_the_same_examples_each_time(request: pytest.FixtureRequest) -> None:
    first = tried(request)
    assert len(set(first)) >= 40
    assert tried(request) == first


@pytest.mark.long
def test_the_long_part_tries_new_and_more_examples(request: pytest.FixtureRequest) -> None:
    first = tried(request, "--long")
    assert len(set(first)) >= 200
    assert tried(request, "--long") != first
