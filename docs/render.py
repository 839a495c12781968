"""Write the pages that are made from tables in the code: problems and glossary.

Run ``python docs/render.py``; a test fails when a page no longer matches its table.
"""

from __future__ import annotations

from pathlib import Path

from stovergeo.errors import problem_table
from stovergeo.schemas import TABLES
from stovergeo.stack import VARIABLES

HERE = Path(__file__).parent
ACTIONS = {"refuse": "refused: nothing is written", "warn": "kept, and said", "fix": "repaired, counted and said"}


def problems_page() -> str:
    """Return the page of problems and cures."""
    lines = [
        "# Problems and cures",
        "",
        "Every problem the tool can report, by its code. Made from `stovergeo/problems.toml`; do not edit here.",
        "",
        "| code | what is wrong | what the tool does | why it matters | cure |",
        "| --- | --- | --- | --- | --- |",
    ]
    for code, entry in sorted(problem_table().items()):
        cells = (f"`{code}`", entry["title"], ACTIONS[entry["severity"]], entry["why"], entry["cure"])
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"


def glossary_page() -> str:
    """Return the page of names, units and meanings."""
    lines = [
        "# Glossary",
        "",
        "The single authority for names and units, made from `stovergeo/stack.py` and `stovergeo/schemas.py`;",
        "do not edit here. Masses are oven-dry unless the name says `as_is`.",
        "",
        "## The field stack",
        "",
        "| variable | unit | meaning |",
        "| --- | --- | --- |",
    ]
    lines += [f"| `{name}` | {v.unit} | {v.long_name} |" for name, v in VARIABLES.items()]
    lines += [
        "| `keep_<rule>_mg_ha` | Mg/ha | dry stover asked for by a retention rule |",
        "| `score_<criterion>` | 1 | score of the ground for a site criterion |",
    ]
    for name, table in TABLES.items():
        lines += ["", f"## The table `{name}`", "", "| column | kind | unit | meaning |", "| --- | --- | --- | --- |"]
        for column, c in table.items():
            meaning = f"{c.meaning} (may be missing)" if c.optional else c.meaning
            lines.append(f"| `{column}` | {c.kind} | {c.unit} | {meaning} |")
    return "\n".join(lines) + "\n"


PAGES = {"problems.md": problems_page, "glossary.md": glossary_page}


def main() -> None:
    """Write every page."""
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
