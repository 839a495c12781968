"""The sample farm, run once through the command."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from small_farm import command


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess]:
    """The sample farm's outputs, and what the command said."""
    out = tmp_path_factory.mktemp("sample") / "plan"
    return out, command("plan", "--out", out)


@pytest.fixture(scope="session")
def sample_record(sample_run: tuple[Path, subprocess.CompletedProcess]) -> dict:
    """The sample farm's ``plan.json``."""
    return json.loads((sample_run[0] / "plan.json").read_text("utf-8"))
