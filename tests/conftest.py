"""Places the tests read from, and the rule that nothing important is skipped in silence."""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

# the same examples each time where a change is judged, new ones wherever a developer runs the tests
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("developer", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "developer")

CHECKOUT = Path(__file__).resolve().parents[1]

#: set by `.ci/run`: a test that a missing part would skip then fails instead
ALL_PARTS_ARE_HERE = os.environ.get("STOVERGEO_ALL_PARTS") == "1"


@pytest.fixture(scope="session")
def sample_farm() -> Path:
    """Folder of the sample farm's layers."""
    return CHECKOUT / "sample_layers"


@pytest.fixture(scope="session")
def real_field() -> Path:
    """Folder of a real field's raw points and soil polygons, which stands beside the project where it is lent."""
    folder = CHECKOUT.parent / "shared" / "real_field"
    if not folder.is_dir():
        pytest.skip("the real field is not beside this checkout; see DEVELOPERS.md")
    return folder


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail a skipped browser, open-data or published test where every part was installed."""
    report = yield
    important = {"browser", "open_data"} & {m.name for m in item.iter_markers()} or "published" in item.path.parts
    if ALL_PARTS_ARE_HERE and report.skipped and important and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although every part should be here: {report.longrepr}"
    return report
