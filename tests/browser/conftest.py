"""A headless browser without a network, and the made-up season as a page in it."""

from __future__ import annotations

import shutil
from pathlib import Path

import hostile
import made_up
import pytest

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@pytest.fixture(scope="session")
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    with playwright_api.sync_playwright() as running:
        opened = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """Paths of the plain map, the map of hostile strings, and both crew sheets."""
    from stovergeo.report.crew import crew_sheet
    from stovergeo.report.map_page import landowner_page
    from stovergeo.report.plan_numbers import ledger_of

    folder = tmp_path_factory.mktemp("pages")
    plain = made_up.made_result(folder)
    joined = " ".join(hostile.HOSTILE)
    wild = made_up.made_result(folder, lambda text: f"{text} {joined}")
    for result in (plain, wild):
        result.words["changed"] = ["No longer a stack yard: Y3 of the plan before."]
        result.words["answer"] = [f"Yard Y3: no ({'<b>too wet</b>' if result is plain else joined})."]
    for name, result in (("plain", plain), ("wild", wild)):
        (folder / f"{name}.html").write_text(landowner_page(result, ledger_of(result)), "utf-8")
        (folder / f"{name}-crew.html").write_text(crew_sheet(result, ledger_of(result)), "utf-8")
    return folder


class Visit:
    """A page opened with the network cut, with all it asked for and complained of."""

    def __init__(self, context, path: Path) -> None:
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.context = context
        self.page = context.new_page()
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("console", lambda m: self.complaints.append(f"{m.type}: {m.text}"))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("dialog", lambda d: (self.complaints.append(f"dialog: {d.message}"), d.dismiss()))
        self.url = path.as_uri()
        self.page.goto(self.url)

    def check_quiet(self) -> None:
        """Assert that nothing but the file itself was asked for, and nothing was complained of."""
        asked = [url for url in self.requests if not url.startswith("data:") and url.split("#")[0] != self.url]
        assert asked == []
        assert self.complaints == []


@pytest.fixture
def visit(browser):
    """Open a page: ``visit(path, width=..., height=..., **context options)``; it must have stayed quiet at the end."""
    opened: list[Visit] = []

    def open_page(path: Path, width: int = 1280, height: int = 850, **options) -> Visit:
        context = browser.new_context(viewport={"width": width, "height": height}, offline=True, **options)
        opened.append(Visit(context, path))
        return opened[-1]

    yield open_page
    for one in opened:
        one.check_quiet()
        one.context.close()
