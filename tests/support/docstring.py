"""What a numpydoc docstring says, and what is amiss with it."""

from __future__ import annotations

import inspect
import re
from typing import Any

_HEADING = re.compile(r"^(?P<title>[A-Z][A-Za-z ]+)\n-{3,}$", re.MULTILINE)
_ENTRY = re.compile(r"^(?P<names>[*\w][*\w, ]*?)(?: : (?P<kind>.+))?$")


def sections(thing: Any) -> dict[str, str]:
    """Return the text under each heading of a docstring; what stands before the first is ''."""
    text = inspect.getdoc(thing) or ""
    found = [*_HEADING.finditer(text)]
    ends = [*(m.start() for m in found), len(text)]
    return {"": text[: ends[0]]} | {m["title"]: text[m.end() : end] for m, end in zip(found, ends[1:], strict=True)}


def entries(section: str) -> list[str]:
    """Return the names that a section lists, in order: its lines that are not indented."""
    names: list[str] = []
    for line in section.splitlines():
        match = _ENTRY.match(line)
        if match:
            names += [name.strip().lstrip("*") for name in match["names"].split(",")]
    return names


def parameters(thing: Any) -> list[str]:
    """Return the names in a signature, without self."""
    return [name for name in inspect.signature(thing).parameters if name != "self"]


def faults(thing: Any, *, public: bool) -> list[str]:
    """Return what a docstring lacks of what its signature has, in words.

    A public function has every section; elsewhere a sentence that begins with "Return" may stand for the section of
    what comes back, and parameters whose name and type say all need not be listed, but then none is.
    """
    said, wrong = sections(thing), []
    opening = said[""].strip()
    if not opening:
        return ["has no docstring"]
    listed, taken = entries(said.get("Parameters", "")), parameters(thing)
    if sorted(listed) != sorted(taken) and (public or listed):
        wrong.append(f"lists the parameters {listed}, takes {taken}")
    gives = inspect.signature(thing).return_annotation not in (None, "None", inspect.Signature.empty)
    if gives and "Returns" not in said and (public or not opening.startswith("Return")):
        wrong.append("does not say under Returns what comes back")
    if public and ">>>" not in said.get("Examples", ""):
        wrong.append("shows no example")
    return wrong
