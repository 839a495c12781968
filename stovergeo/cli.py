"""The commands. Nothing heavy is imported until one runs, so that help answers at once."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table

from stovergeo.core.errors import InputError, Problem, Report, Severity, StovergeoError
from stovergeo.core.printing import BOTH, printed_in, render

if TYPE_CHECKING:
    from stovergeo.result import SeasonResult
    from stovergeo.workflow.run_size import RunNeed

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Which ground can give up corn stover, how to gather it, and where the bales should stand.",
)


class _Printer(Console):
    """A console whose reader may leave: the rest goes nowhere, and the work goes on."""

    def on_broken_pipe(self) -> None:
        """End as a command that a closed pipe ends where it was the output; go on where it was the messages."""
        self.quiet = True
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), self.file.fileno())
        if not self.stderr:
            raise SystemExit(128 + 13)  # by SIGPIPE, as a shell says it


to_user = _Printer()
to_side = _Printer(stderr=True)

PlanPath = Annotated[
    Path | None, typer.Argument(help="Plan file (TOML). Left out: the sample farm.", show_default=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]


@app.command()
def plan(
    plan_path: PlanPath = None,
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("stovergeo-plan"),
    overwrite: Annotated[bool, typer.Option(help="Replace results that are there already.")] = False,
) -> None:
    """Do the whole job: read the layers, plan the season, write the map and the files."""
    from stovergeo.report import grower_table, refuse_existing, write_outputs
    from stovergeo.workflow import begin, run_season, sample_plan_path

    report = Report()
    refuse_existing(out, overwrite, report)
    with _progress() as step:
        result = run_season(plan_path or sample_plan_path(), report, step, _tell_need)
        step(*begin("files"))
        written = write_outputs(result, out, overwrite, report)
    _print_problems(report.by_severity(), to_side, short=True)
    for renderable in grower_table(result):
        to_user.print(renderable)
    to_user.print(f"Map: {written['map.html']}", soft_wrap=True, highlight=False, markup=False)
    _stop_where_short(result)


def _stop_where_short(result: SeasonResult) -> None:
    """Exit 3 where the need cannot be met: the outputs stand, but a script should notice."""
    if result.totals.get("short_bales", 0) > 0:
        raise typer.Exit(3)


@app.command()
def check(plan_path: PlanPath = None, as_json: AsJson = False) -> None:
    """Read everything, write nothing, list every problem."""
    from stovergeo.inputs.roles import to_paste
    from stovergeo.workflow import check_season, sample_plan_path

    report = Report()
    proposals = []
    needs: list[RunNeed] = []
    with contextlib.suppress(InputError):  # all that was found stands in the report
        proposals = check_season(plan_path or sample_plan_path(), report, needs.append)
    problems = report.by_severity()
    if as_json:
        found = {
            "problems": [p.as_dict() for p in problems],
            "proposals": [asdict(p) for p in proposals],
            "run": asdict(needs[0]) if needs else None,
        }
        to_user.out(json.dumps(found, indent=1, ensure_ascii=True), highlight=False)
    else:
        _print_problems(problems, to_user)
        if proposals:
            table = Table("column", "plays the role", "unit", "why", title="Columns of the yield points")
            for p in proposals:
                said = p.role if p.declared else f"{p.role} ?" if p.role else "not used"
                table.add_row(*map(escape, (p.column, said, p.unit or "", p.reason)))
            to_user.print(table)
            if any(p.role and not p.declared for p in proposals):
                to_user.print(
                    "A role with ? is a proposal: nothing is used before the plan file names it. To use all of"
                )
                to_user.print("them, put this into the plan file, in place of the sections of the same names:\n")
                to_user.print(to_paste(proposals) + "\n", markup=False, highlight=False, soft_wrap=True)
        if not problems:
            to_user.print("Nothing wrong was found.")
        for need in needs:
            to_user.print(render(need.as_message(), BOTH), highlight=False)
    if report.refused:
        raise typer.Exit(InputError.exit_code)


@app.command()
def window(plan_path: PlanPath = None, as_json: AsJson = False) -> None:
    """Replay past autumns for what the plan would bale: chance to be done in time, days, order, balers, waiting."""
    from stovergeo.report.json_values import json_values
    from stovergeo.workflow import bale_window, sample_plan_path

    report = Report()
    with _progress() as step:
        found = bale_window(plan_path or sample_plan_path(), report, step, _tell_need)
    _print_problems(report.by_severity(), to_side, short=True)
    if as_json:
        to_user.out(json.dumps(json_values(found.record), indent=1, ensure_ascii=True), highlight=False)
        return
    system = found.plan.farm.units
    with printed_in(found.plan.farm.currency):
        for head, lines in found.sections:
            _entry(render(head, system), *(render(line, system) for line in lines))


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder for the plan file; made where it is missing.")],
) -> None:
    """Write a starter plan file, every key explained."""
    from stovergeo.inputs.plan import starter_text

    path = folder / "plan.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(starter_text())
    except FileExistsError:
        raise Report().refuse("out.exists", str(path), "There is a plan file already; it was left as it is.") from None
    except OSError as error:
        raise Report().refuse("out.permission", str(folder), f"{error.strerror}.") from None
    to_user.print(f"Wrote {path}. Next: stovergeo check {path}", markup=False, highlight=False, soft_wrap=True)


@app.command()
def handbook(
    topic: Annotated[str, typer.Argument(help="Only keys that start with this, such as 'tillage'.")] = "",
    as_json: AsJson = False,
) -> None:
    """Print the coefficients with their spread, source and standing."""
    from stovergeo.core.coefficients import load_handbook

    rows = [c for key, c in load_handbook().items() if key.startswith(topic)]
    if as_json:
        to_user.out(json.dumps([asdict(c) for c in rows], indent=1), highlight=False)
        return
    for c in rows:
        unit = "" if c.unit == "1" else f" {c.unit}"
        numbers = f"{c.value:g}{unit} ({c.low:g} to {c.high:g}), {c.standing}"
        _entry(c.key, numbers, " ".join(part for part in (c.source, c.note) if part))


@app.command()
def rules(as_json: AsJson = False) -> None:
    """List the retention rules and site criteria that are installed, broken ones too."""
    from stovergeo.core.plugins import RETENTION_RULES, SITE_CRITERIA, load_plugins

    rows = [(group, p) for group in (RETENTION_RULES, SITE_CRITERIA) for p in load_plugins(group)]
    if as_json:
        keys = ("group", "name", "package", "title", "source", "broken")
        found = [
            (g, p.name, p.package, getattr(p.thing, "title", ""), getattr(p.thing, "source", ""), p.broken)
            for g, p in rows
        ]
        to_user.out(json.dumps([dict(zip(keys, row, strict=True)) for row in found], indent=1), highlight=False)
        return
    for group, p in rows:
        what = f"BROKEN: {p.broken}" if p.broken else p.thing.title
        kind = {RETENTION_RULES: "retention rule", SITE_CRITERIA: "site criterion"}[group]
        _entry(f"{p.name}  ({kind}, {p.package})", what, getattr(p.thing, "source", ""))


def _entry(name: str, *lines: str) -> None:
    """Print a name whole, whatever the window's width, so that it can be copied, and what there is to say below it."""
    to_user.print(name, markup=False, highlight=False, soft_wrap=True)
    for line in filter(None, lines):
        to_user.print(Padding(escape(line), (0, 0, 0, 4), expand=False), highlight=False)


@app.command()
def answer(
    plan_path: Annotated[Path, typer.Argument(help="The plan file the map was made from.")],
    answer_path: Annotated[Path, typer.Argument(help="The answer file the landowner sent back (GeoJSON).")],
    out: Annotated[Path, typer.Option(help="Folder for the new results.")] = Path("stovergeo-answer"),
    overwrite: Annotated[bool, typer.Option(help="Replace results that are there already.")] = False,
) -> None:
    """Take in the landowner's answer, plan again, and make a map that shows what changed."""
    from stovergeo.report import grower_table, write_outputs
    from stovergeo.workflow import begin, replan_with_answer

    report = Report()
    with _progress() as step:
        result = replan_with_answer(plan_path, answer_path, report, out, step, _tell_need, overwrite=overwrite)
        step(*begin("files"))
        written = write_outputs(result, out, overwrite, report)
    _print_problems(report.by_severity(), to_side, short=True)
    with printed_in(result.plan.farm.currency):
        for line in result.words.get("changed", []):
            to_user.print(render(line, result.plan.farm.units), markup=False, highlight=False)
    for renderable in grower_table(result):
        to_user.print(renderable)
    to_user.print(f"Map: {written['map.html']}", soft_wrap=True, highlight=False, markup=False)
    _stop_where_short(result)


@app.command()
def compare(
    one: Annotated[Path, typer.Argument(help="Results folder, or its plan.json.", show_default=False)],
    two: Annotated[Path, typer.Argument(help="The other, read after it.", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="Page (.html) with the table and two maps.")] = None,
    overwrite: Annotated[bool, typer.Option(help="Replace a page that is there already.")] = False,
    as_json: AsJson = False,
) -> None:
    """Set two plans already made side by side, in the first one's units."""
    from stovergeo.report import (
        compare_plans,
        comparison_page,
        comparison_table,
        read_two,
        refuse_page_place,
        write_comparison,
    )

    report = Report()
    if out is not None:
        refuse_page_place(out, overwrite, report)
    records = read_two(one, two, report)
    lines = compare_plans(*records)
    if out is not None:
        write_comparison(comparison_page(lines, records), out, overwrite, report)
    _print_problems(report.by_severity(), to_side)
    if as_json:
        with printed_in(records[0].farm.currency):
            rows = [line.as_dict() for line in lines]
        to_user.out(json.dumps(rows, indent=1, ensure_ascii=True, allow_nan=False), highlight=False)
        return
    to_user.print(comparison_table(lines, records))
    if out is not None:
        to_user.print(f"Page: {out}", soft_wrap=True, highlight=False, markup=False)


@app.command()
def versions() -> None:
    """Print the versions a bug report needs."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    names = ("stovergeo", "geopandas", "shapely", "pyproj", "pyogrio", "rasterio", "numpy", "pandas", "scipy", "xarray",
             "numba", "pvlib", "folium", "pyarrow", "matplotlib")  # fmt: skip
    to_user.out(f"python {platform.python_version()} on {platform.system()} {platform.machine()}", highlight=False)
    for name in names:
        try:
            to_user.out(name, version(name), highlight=False)
        except PackageNotFoundError:
            to_user.out(name, "not installed", highlight=False)


def _tell_need(need: RunNeed) -> None:
    to_side.print(render(need.as_message(), BOTH), highlight=False, soft_wrap=True)


def _print_problems(problems: list[Problem], console: Console, *, short: bool = False) -> None:
    """Print problems, most serious first; `short` gives what was repaired one line each."""
    color = {Severity.REFUSE: "bold red", Severity.WARN: "yellow", Severity.FIX: "cyan"}
    for p in problems:
        console.print(
            f"[{color[p.severity]}]{p.severity}[/]  [bold]{escape(p.code)}[/]  {escape(p.where)}",
            highlight=False,
        )
        more = "" if short and p.severity is Severity.FIX else f" {escape(p.why)} {escape(p.cure)}"
        console.print(f"    {escape(p.what_in(BOTH))}{more}", highlight=False)


class _progress:  # noqa: N801  reads as a verb at the call
    """Show on stderr what is being done, the share done and the time left: one line on a terminal, else plain lines."""

    def __enter__(self) -> _progress:
        self._began = time.monotonic()
        self._status = to_side.status("Starting") if to_side.is_terminal else None
        if self._status:
            self._status.__enter__()
        return self

    def __call__(self, what: str, done: float) -> None:
        if self._status is None:
            to_side.print(f"{done:4.0%}  {what}", markup=False, highlight=False, soft_wrap=True)
            return
        passed = time.monotonic() - self._began
        left = f", about {passed * (1 - done) / done:.0f} s left" if done > 0.05 else ""
        self._status.update(escape(f"{done:.0%}  {what}{left}"))

    def __exit__(self, *error: object) -> None:
        if self._status:
            self._status.__exit__(*error)  # type: ignore[arg-type]


def _hold_standard_streams() -> None:
    """Open to nowhere what is closed of the three standard streams, and keep the output for the commands.

    A file opened later would get the number of a closed stream, and what a library prints would go into it. HiGHS,
    told to be silent, prints a line of its own to number 1 when it repairs a whole plan: commands print to a copy.
    """
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    try:
        is_ours = sys.stdout is not None and sys.stdout.fileno() == 1
    except OSError:  # something in memory took its place
        is_ours = False
    if is_ours:
        sys.stdout.flush()
        copy = open(os.dup(1), "w", encoding=sys.stdout.encoding, errors=sys.stdout.errors)  # noqa: SIM115  until exit
        os.dup2(number, 1)
        sys.stdout = copy
    os.close(number)


def main() -> None:
    """Run the command line; every expected failure ends in one clear message and its exit code."""
    _hold_standard_streams()
    try:
        app()
    except InputError as error:
        _print_problems(error.problems, to_side)
        sys.exit(error.exit_code)
    except StovergeoError as error:
        to_side.print(str(error), markup=False, highlight=False)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        to_side.print("Stopped; nothing was left half-written.")
        sys.exit(130)
    except SystemExit as end:
        if end.code == 130:  # the library of the command line had the interruption first, and said nothing
            to_side.print("Stopped; nothing was left half-written.")
        raise
    except Exception as error:
        if os.environ.get("STOVERGEO_DEBUG"):
            raise
        said = f"This is a fault of the tool, not of your files: {type(error).__name__}: {error}"
        to_side.print(said, markup=False, highlight=False)
        to_side.print("Nothing was left half-written. Set STOVERGEO_DEBUG=1 and run again to see where it arose.")
        sys.exit(1)


if __name__ == "__main__":
    main()
