"""Write the page of what was tried with wrong inputs, from the tests themselves.

Run ``python docs/write_tried.py``; a test fails when the page no longer matches. A test counts for a problem when the
problem's code stands in it; for a row of the list when it carries the row's mark; what long runs and trials found and
was fixed carries the mark `surprise`.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from stovergeo.core.errors import problem_table

HERE = Path(__file__).parent
TESTS = HERE.parent / "tests"
PACKAGES = ("inputs", "workflow", "report", "core")
ACTIONS = {"refuse": "error", "warn": "warning", "fix": "repaired"}


@dataclass
class Tried:
    """One test, as far as this page shows it."""

    name: str
    file: str
    rows: list[int] = field(default_factory=list)
    codes: set[str] = field(default_factory=set)
    surprises: list[str] = field(default_factory=list)

    @property
    def words(self) -> str:
        """The test's name as words."""
        return self.name.removeprefix("test_").replace("_", " ")


def tests() -> list[Tried]:
    """Return every test of the packages that read what users bring, in the order of files and lines."""
    known = set(problem_table())
    found = []
    for package in PACKAGES:
        for path in sorted((TESTS / package).glob("test_*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            shared = _lists(tree)
            for node in tree.body:
                if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                    found.append(_tried(node, f"{package}/{path.name}", known, shared))
    return found


def _lists(tree: ast.Module) -> dict[str, ast.AST]:
    """Return a module's named lists: what a test is parametrized with counts as standing in it."""
    return {t.id: n.value for n in tree.body if isinstance(n, ast.Assign) for t in n.targets if isinstance(t, ast.Name)}


def _tried(node: ast.FunctionDef, file: str, known: set[str], shared: dict[str, ast.AST]) -> Tried:
    tried = Tried(node.name, file)
    parts: list[ast.AST] = [node]
    parts += [
        shared[n.id] for d in node.decorator_list for n in ast.walk(d) if isinstance(n, ast.Name) and n.id in shared
    ]
    # what only follows from the fault that is tried stands behind `also`
    follow = {
        id(n) for p in parts for c in ast.walk(p) if isinstance(c, ast.keyword) and c.arg == "also" for n in ast.walk(c)
    }
    for part in parts:
        for inner in ast.walk(part):
            if id(inner) in follow:
                continue
            if isinstance(inner, ast.Constant) and isinstance(inner.value, str) and inner.value in known:
                tried.codes.add(inner.value)
            if isinstance(inner, ast.Call) and isinstance(inner.func, ast.Attribute):
                given = [a.value for a in inner.args if isinstance(a, ast.Constant)]
                if inner.func.attr == "row":
                    tried.rows += given
                elif inner.func.attr == "surprise":
                    tried.surprises += given
    return tried


def page() -> str:
    """Return the page."""
    found = tests()
    table = problem_table()
    rows: dict[int, list[Tried]] = defaultdict(list)
    for tried in found:
        for row in tried.rows:
            rows[row].append(tried)
    own = [t for t in found if t.codes and not t.rows]
    surprises = [(words, t) for t in found for words in t.surprises]
    codes = {code for t in found for code in t.codes}
    done = {a: sum(table[c]["severity"] == a for c in codes) for a in ACTIONS}
    lines = [
        "# What was tried with wrong inputs",
        "",
        "Made from the tests by `python docs/write_tried.py`; do not edit here. Each line is a test that runs with",
        "every change: a file or a key is spoiled on purpose, and the tool must report it with its code, place,",
        "reason and cure, repair and report it, or give the right result all the same.",
        "",
        "| what | count |",
        "| --- | --- |",
        f"| rows of the list of wrong inputs that are tried | {len(rows)} |",
        f"| tests of those rows | {sum(len(t) for t in rows.values())} |",
        f"| further tests that bring about a problem by its code | {len(own)} |",
        f"| problems of the table that some test brings about | {len(codes)} of {len(table)} |",
        f"| of these errors, warnings, repairs | {done['refuse']}, {done['warn']}, {done['fix']} |",
        f"| surprises that trials and long runs found, fixed and kept as tests | {len(surprises)} |",
        "",
        "## Rows of the list",
        "",
        "| row | tried | reported as | action |",
        "| --- | --- | --- | --- |",
    ]
    for row in sorted(rows):
        for tried in rows[row]:
            codes_found = sorted(tried.codes)
            action = (
                ", ".join(dict.fromkeys(ACTIONS[table[c]["severity"]] for c in codes_found))
                or "none needed: the result is right"
            )
            lines.append(f"| {row} | {tried.words} | {_codes(codes_found)} | {action} |")
    lines += ["", "## Surprises, fixed", "", "| what happened | kept as |", "| --- | --- |"]
    lines += [f"| {words} | `{t.file}`: {t.words} |" for words, t in surprises]
    lines += ["", "## Further tests, by problem", "", "| problem | action | tried |", "| --- | --- | --- |"]
    for code in sorted(codes):
        by = [t.words for t in own if code in t.codes]
        if by:
            lines.append(f"| `{code}` | {ACTIONS[table[code]['severity']]} | {'; '.join(dict.fromkeys(by))} |")
    return "\n".join(lines) + "\n"


def _codes(codes: list[str]) -> str:
    return ", ".join(f"`{c}`" for c in codes) or "-"


if __name__ == "__main__":
    (HERE / "what-was-tried.md").write_text(page(), "utf-8")
