"""Plug-ins: built-in ones are loaded like others, a broken one is listed and stops nothing."""

from __future__ import annotations

import sys
from importlib.metadata import EntryPoint
from types import SimpleNamespace

import pytest

from stovergeo.core import plugins
from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, load_plugins


@pytest.mark.parametrize("group", [RETENTION_RULES, SITE_CRITERIA])
def test_the_built_in_ones_are_loaded_as_plug_ins(group: str) -> None:
    found = load_plugins(group)
    assert len(found) >= 5
    assert {p.package for p in found} == {"stovergeo"}
    assert [p.broken for p in found] == [""] * len(found)
    assert all(p.thing.title and p.thing.source for p in found)


def test_a_broken_one_is_listed_and_the_others_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    class Quail:
        title, reads, source = "Cover for quail", (), "common practice, no source"

        def keep(self, stack: object, options: object) -> float:
            return 1.0

    monkeypatch.setitem(sys.modules, "quail_rules", SimpleNamespace(whole=Quail(), half=object()))
    entries = [
        EntryPoint("quail", "quail_rules:whole", RETENTION_RULES),
        EntryPoint("half", "quail_rules:half", RETENTION_RULES),
        EntryPoint("gone", "no_such_module_here:rule", RETENTION_RULES),
        EntryPoint("quail", "quail_rules:half", RETENTION_RULES),
    ]
    monkeypatch.setattr(plugins, "entry_points", lambda group: entries)
    said = [(p.name, p.broken) for p in load_plugins.__wrapped__(RETENTION_RULES)]
    assert ("quail", "") in said
    assert ("half", "lacks title, reads, source, keep") in said
    assert any(name == "gone" and "ModuleNotFoundError" in why for name, why in said)
    assert any(name == "quail" and "taken" in why for name, why in said)
