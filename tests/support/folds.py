"""The map's folded parts, opened."""

from __future__ import annotations

_OPEN = "all => all.forEach(d => { d.open = true; })"
_DRAWN = """() => ['tables', 'choice', 'storage', 'sources', 'cautions'].map(id => document.getElementById(id))
    .every(part => part.closest('[hidden]') || part.children.length)"""


def unfold(page) -> None:
    """Open every fold, and wait for what is only drawn then: the page hears of the opening a moment later."""
    page.eval_on_selector_all("details", _OPEN)
    page.wait_for_function(_DRAWN)


def open_tables(page) -> None:
    """Open the tables as a reader does, and wait until they are drawn."""
    page.click("summary:has-text('Everything on the map')")
    page.wait_for_selector("#tables caption", state="attached")
