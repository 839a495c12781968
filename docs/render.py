"""Write the pages that are made from tables in the code: problems, glossary, contracts and the handbook's numbers.

Run ``python docs/render.py``; a test fails when a page no longer matches its table.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from importlib.resources import files
from pathlib import Path

from stovergeo.core.coefficients import Coefficient
from stovergeo.core.coefficients.handbook import read_coefficients
from stovergeo.core.contracts import STEPS
from stovergeo.core.errors import problem_table
from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, Plugin, load_plugins
from stovergeo.core.schemas import TABLES
from stovergeo.core.stack import BY_PACKAGE, VARIABLES, Variable

HERE = Path(__file__).parent
ACTIONS = {
    "refuse": "error: nothing is written",
    "warn": "kept, with a warning",
    "fix": "repaired, counted and reported",
}


def problems_page() -> str:
    """Return the page of problems and cures."""
    lines = [
        "# Problems and cures",
        "",
        "Every problem the tool can report, by its code. Made from `stovergeo/core/problems.toml`; do not edit here.",
        "",
        "| code | what is wrong | what the tool does | why it matters | cure |",
        "| --- | --- | --- | --- | --- |",
    ]
    for code, entry in sorted(problem_table().items()):
        cells = (f"`{code}`", entry["title"], ACTIONS[entry["severity"]], entry["why"], entry["cure"])
        lines.append(_row(cells))
    return "\n".join(lines) + "\n"


def glossary_page() -> str:
    """Return the page of names, units and meanings."""
    lines = [
        "# Glossary",
        "",
        "All names and units, made from `stovergeo/core/stack.py` and",
        "`stovergeo/core/schemas.py`; do not edit here. Masses are oven-dry unless the name says `as_is`.",
        "",
        "## The field stack",
        "",
        "| variable | unit | meaning |",
        "| --- | --- | --- |",
    ]
    lines += [f"| `{name}` | {v.unit} | {v.long_name} |" for name, v in VARIABLES.items()]
    lines += [
        "| `keep_<rule>_mg_ha` | Mg/ha | dry stover that a retention rule asks for |",
        "| `score_<criterion>` | 1 | score of the ground for a site criterion |",
    ]
    for name, table in TABLES.items():
        lines += ["", f"## The table `{name}`", "", "| column | kind | unit | meaning |", "| --- | --- | --- | --- |"]
        for column, c in table.items():
            meaning = f"{c.meaning} (may be missing)" if c.optional else c.meaning
            lines.append(f"| `{column}` | {c.kind} | {c.unit} | {meaning} |")
    return "\n".join(lines) + "\n"


def contracts_page() -> str:
    """Return the page of what each package, rule and criterion reads and makes."""
    lines = [
        "# Contracts",
        "",
        "What each package, rule and criterion reads and makes, as the code declares it; made by `docs/render.py`, do",
        "not edit here. A variable enters the field stack only under a name of this page, as float32 on the stack's",
        "grid, with its unit. A step that lacks what it reads, or a step or rule that finds it in another unit, stops",
        "with a `ContractError` that names the variable, both units and who asked. A rule or criterion whose variables",
        "are not known on a farm is left out and shown on the map as not checked. The columns of the tables between",
        "the packages are listed in the [glossary](glossary.md).",
    ]
    lines += [
        "",
        "## The steps",
        "",
        "In the order of a run. A test runs those that take a stack on only what they read.",
    ]
    lines += ["`residue.limits` and `siting.rate_ground` also use what rules and criteria read.", ""]
    lines += ["| step | reads | uses where known | makes |", "| --- | --- | --- | --- |"]
    for step in STEPS:
        makes = [_names(step.makes)] * bool(step.makes) + [f"table `{table}`" for table in step.tables]
        lines.append(_row((f"`{step.name}`", _names(step.reads), _names(step.uses), ", ".join(makes) or "routes")))
    for package, made in BY_PACKAGE.items():
        lines += [
            "",
            f"## What `{package}` makes",
            "",
            "| variable | unit | range | meaning |",
            "| --- | --- | --- | --- |",
        ]
        lines += [f"| `{name}` | {v.unit} | {_range(v)} | {v.long_name} |" for name, v in made.items()]
        if package == "residue":
            lines.append("| `keep_<rule>_mg_ha` | Mg/ha | 0 and more | dry stover that a retention rule asks for |")
        if package == "siting":
            lines.append("| `score_<criterion>` | 1 | 0 to 1 | score of the ground for a site criterion |")
    lines += [
        "",
        "## Retention rules",
        "",
        f"Entry-point group `{RETENTION_RULES}`. Each makes `keep_<name>_mg_ha`.",
        "",
    ]
    lines += ["| rule | what it is | reads | holds for | source |", "| --- | --- | --- | --- | --- |"]
    for rule in _built_in(RETENTION_RULES):
        cells = (f"`{rule.name}`", rule.thing.title, _names(rule.thing.reads), rule.thing.valid, rule.thing.source)
        lines.append(_row(cells))
    lines += [
        "",
        "## Site criteria",
        "",
        f"Entry-point group `{SITE_CRITERIA}`. Each makes `score_<name>`; some forbid.",
        "",
    ]
    lines += ["| criterion | what it is | reads | source |", "| --- | --- | --- | --- |"]
    for criterion in sorted(_built_in(SITE_CRITERIA), key=lambda p: (getattr(p.thing, "order", 50), p.name)):
        layer = getattr(criterion.thing, "layer", "")
        reads = f"layer `{layer}`" if layer else _names(criterion.thing.reads)
        lines.append(_row((f"`{criterion.name}`", criterion.thing.title, reads, criterion.thing.source)))
    return "\n".join(lines) + "\n"


def _built_in(group: str) -> list[Plugin]:
    """Return the built-in plug-ins of a group, whatever else is installed here."""
    return [plugin for plugin in load_plugins(group) if plugin.package == "stovergeo"]


def _names(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names) or "–"


def _range(kind: Variable) -> str:
    if kind.low == -float("inf"):
        return "any"
    return f"{kind.low:g} and more" if kind.high == float("inf") else f"{kind.low:g} to {kind.high:g}"


def handbook_page(topic: str) -> str:
    """Return the page of one topic's coefficients."""
    text = _topic_text(topic)
    said = [line.removeprefix("#").strip() for line in text.splitlines() if line.startswith("#")]
    opening = said[: next((k for k, line in enumerate(text.splitlines()) if not line.startswith("#")), 0)]
    lines = [
        f"# Handbook: {topic.replace('_', ' ')}",
        "",
        f"Made from `stovergeo/core/coefficients/data/{topic}.toml`; do not edit here. A number set under",
        "`[handbook]` in the plan file replaces a default and its spread.",
        "",
        *([" ".join(opening), ""] if opening else []),
        "| key | value (low to high) | unit | what it is | standing | source and note |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for c in read_coefficients(text):
        source = "; ".join(part for part in (c.source, c.note) if part) or "–"
        lines.append(_row((f"`{c.key}`", _spread(c), c.unit, c.meaning, str(c.standing), source)))
    return "\n".join(lines) + "\n"


def handbook_index() -> str:
    """Return the page that lists the topics."""
    lines = [
        "# The handbook",
        "",
        "Every coefficient with its spread, source and standing, one page a topic. Standings: published (the figure",
        "was seen in the source), derived (our arithmetic from published figures), from memory (the document is named",
        "but was not read again), common practice (a fact of the trade, no source), judgment (ours).",
        "",
        "| topic | numbers | published | derived | from memory | common practice | judgment |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for topic in TOPICS:
        standings = [str(c.standing) for c in read_coefficients(_topic_text(topic))]
        kinds = ("published", "derived", "from memory", "common practice", "judgment")
        counts = [str(standings.count(kind)) for kind in kinds]
        lines.append(_row((f"[{topic.replace('_', ' ')}]({topic}.md)", str(len(standings)), *counts)))
    lines += ["", "```{toctree}", ":hidden:", "", *TOPICS, "```"]
    return "\n".join(lines) + "\n"


def _topic_text(topic: str) -> str:
    return (files("stovergeo.core.coefficients") / "data" / f"{topic}.toml").read_text("utf-8")


def _spread(c: Coefficient) -> str:
    kind = ", eight in ten of a lognormal" if c.sd_ln else ""
    return f"{c.value:.6g}" if c.low == c.high else f"{c.value:.6g} ({c.low:.6g} to {c.high:.6g}{kind})"


def _row(cells: tuple[str, ...]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


TOPICS = sorted(
    entry.name.removesuffix(".toml")
    for entry in (files("stovergeo.core.coefficients") / "data").iterdir()
    if entry.name.endswith(".toml")
)
PAGES = {
    "problems.md": problems_page,
    "glossary.md": glossary_page,
    "contracts.md": contracts_page,
    "handbook/index.md": handbook_index,
    **{f"handbook/{topic}.md": partial(handbook_page, topic) for topic in TOPICS},
}


def main() -> None:
    """Write every page."""
    (HERE / "handbook").mkdir(exist_ok=True)
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
