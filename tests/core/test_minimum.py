"""The constraints of the minimum-versions run are the bounds that pyproject.toml gives."""

from __future__ import annotations

import importlib.util
from pathlib import Path

CI = Path(__file__).parents[2] / ".ci"


def test_the_oldest_versions_tested_are_the_oldest_allowed() -> None:
    spec = importlib.util.spec_from_file_location("minimum", CI / "minimum.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    written = (CI / "minimum.txt").read_text("utf-8")
    assert written == module.oldest(), "run `python .ci/minimum.py` to renew .ci/minimum.txt"
    assert len(written.splitlines()) > 20
