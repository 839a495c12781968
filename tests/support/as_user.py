"""The command as a user meets it, run inside the test's own process: its exit code, what it prints, what it writes."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
from pathlib import Path
from unittest import mock

from stovergeo import cli


def ask(*words: object) -> tuple[int, str, str]:
    """Run the command; return its exit code, standard output and standard error."""
    out, err = io.StringIO(), io.StringIO()
    line = ["stovergeo", *map(str, words)]
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "argv", line),
        mock.patch.dict(os.environ, {"STOVERGEO_DEBUG": "1"}),  # a fault of ours is raised
        mock.patch.object(cli.to_user, "_width", 400),  # so that no word is broken over two lines
        mock.patch.object(cli.to_side, "_width", 400),
    ):
        try:
            cli.main()
            code = 0
        except SystemExit as stopped:
            code = int(stopped.code or 0)
    return code, out.getvalue(), err.getvalue()


def write_plan(data: dict, folder: Path) -> Path:
    """Write a plan given as nested dictionaries as the TOML file a user would have."""
    path = folder / "plan.toml"
    path.write_text("\n".join(_lines(data, ())), "utf-8")
    return path


def _lines(table: dict, at: tuple[str, ...]) -> list[str]:
    lines = [f"[{'.'.join(json.dumps(part) for part in at)}]"] if at else []
    lines += [f"{json.dumps(k)} = {_value(v)}" for k, v in table.items() if v is not None and not isinstance(v, dict)]
    for name, below in table.items():
        if isinstance(below, dict):
            lines += _lines(below, (*at, name))
    return lines


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    return json.dumps(value)


def standing(folder: Path) -> dict[str, int]:
    """Return every file below a folder with its size: what a refused run must leave as it was."""
    return {str(p.relative_to(folder)): p.stat().st_size for p in folder.rglob("*") if p.is_file()}
