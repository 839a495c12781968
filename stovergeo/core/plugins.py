"""The two kinds of plug-in, retention rules and site criteria, found by entry points.

The built-in ones are loaded the same way, so the mechanism is always exercised. An
entry that cannot be loaded, or lacks a part that its kind must have, is listed as broken and
stops nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Final

RETENTION_RULES: Final = "stovergeo.retention_rules"
SITE_CRITERIA: Final = "stovergeo.site_criteria"

#: what a plug-in of each entry-point group must have
_ASKED: Final = {
    RETENTION_RULES: ("title", "reads", "source", "keep"),
    SITE_CRITERIA: ("title", "reads", "source", "rate", "message"),
}


@dataclass(frozen=True, slots=True)
class Plugin:
    """One plug-in: a working object, or the reason it is broken."""

    name: str
    package: str  #: distribution that brings it
    thing: Any  #: None when broken
    broken: str = ""


@cache
def load_plugins(group: str) -> tuple[Plugin, ...]:
    """Return every plug-in of a group, working and broken, sorted by name; looked for once in a process.

    Two entries of one name: the built-in one stays, the other is listed as broken.
    """
    found: dict[str, Plugin] = {}
    clashing: list[Plugin] = []
    # built-in entries first, so that nothing installed later can take their names
    for entry in sorted(entry_points(group=group), key=lambda e: (_package(e) != "stovergeo", e.name, _package(e))):
        plugin = _load(entry, group)
        if entry.name in found:
            reason = f"the name is taken by {found[entry.name].package}"
            clashing.append(Plugin(entry.name, plugin.package, None, reason))
        else:
            found[entry.name] = plugin
    return tuple(sorted([*found.values(), *clashing], key=lambda p: p.name))


def _package(entry: EntryPoint) -> str:
    return entry.dist.name if entry.dist else "unknown package"


def _load(entry: EntryPoint, group: str) -> Plugin:
    package = _package(entry)
    try:
        thing = entry.load()
    except Exception as error:  # whatever the module of a plug-in raises must not stop the others
        return Plugin(entry.name, package, None, f"{type(error).__name__}: {error}")
    lacking = [asked for asked in _ASKED[group] if not hasattr(thing, asked)]
    if lacking:
        return Plugin(entry.name, package, None, f"lacks {', '.join(lacking)}")
    return Plugin(entry.name, package, thing)
