"""The two parts of the tests, places they read from, and the rule that nothing important is skipped in silence."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path

import long_run
import pytest
from hypothesis import settings

settings.register_profile("short", derandomize=True, database=None, deadline=None, max_examples=100)
settings.register_profile("long", derandomize=False, print_blob=True, deadline=None, max_examples=500)

CHECKOUT = Path(__file__).resolve().parents[1]


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("stovergeo")
    group.addoption(
        "--long",
        action="store_true",
        help="run the long part: tests marked long, and property tests on three times as many, fresh examples",
    )
    group.addoption(
        "--fuzz-minutes",
        type=float,
        default=0.0,
        metavar="N",
        help="run each test of spoiled files for N minutes, with fresh examples",
    )
    group.addoption(
        "--all-parts",
        action="store_true",
        help="fail a browser, open_data or published test that would be skipped for lack of a part",
    )


def pytest_configure(config: pytest.Config) -> None:
    long_run.long_part = config.getoption("--long")
    settings.load_profile("long" if long_run.long_part else "short")
    long_run.minutes = config.getoption("--fuzz-minutes")


def pytest_report_header(config: pytest.Config) -> str:
    if config.getoption("--long"):
        return "part: long; tests marked long, and property tests on fresh examples"
    return "part: short; tests marked long are left out, --long runs them"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the tests of the part that is asked for."""
    long = config.getoption("--long")
    out = [item for item in items if not (_in_long_part(item) if long else _in_short_part(item))]
    if out:
        config.hook.pytest_deselected(items=out)
        items[:] = [item for item in items if item not in set(out)]


def _in_short_part(item: pytest.Item) -> bool:
    return item.get_closest_marker("long") is None


def _in_long_part(item: pytest.Item) -> bool:
    return not _in_short_part(item) or getattr(getattr(item, "obj", None), "is_hypothesis_test", False)


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
    if item.config.getoption("--all-parts") and report.skipped and important and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although every part should be here: {report.longrepr}"
    return report
