"""All benchmarks in one run, one table: ``python tests/benchmarks/run.py`` on an idle machine.

``--full`` takes the largest sizes (8,192 cells a side, a million points), ``--small`` only proves that every benchmark
runs; its figures mean nothing. A row whose reference is not installed is missing; pytest says so above the table.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

HERE = Path(__file__).parent
#: STOVERGEO_BENCH_* of each size
SIZES = {
    "small": {"CELLS": "500", "POINTS": "20000", "ZONES": "60", "SEEDS": "1", "DRAWS": "60"},
    "usual": {},
    "full": {"CELLS": "8192", "POINTS": "1000000", "ZONES": "1000", "SEEDS": "3"},
}


def main() -> int:
    """Run every file of this folder, print the table; return pytest's verdict."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_const", const="full", dest="size", help="the sizes asked for")
    parser.add_argument("--small", action="store_const", const="small", dest="size", help="only prove that it runs")
    parser.add_argument("-k", default="", help="only these, as for pytest")
    asked = parser.parse_args()
    size = asked.size or "usual"
    with tempfile.TemporaryDirectory() as folder:
        rows = Path(folder) / "rows.jsonl"
        chosen = {f"STOVERGEO_BENCH_{key}": value for key, value in SIZES[size].items()}
        environment = {**os.environ, **chosen, "STOVERGEO_BENCH_ROWS": str(rows)}
        files = [str(path) for path in sorted(HERE.glob("bench_*.py"))]
        line = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-k", asked.k, *files]
        verdict = subprocess.run(line, env=environment, cwd=HERE.parents[1], check=False).returncode
        found = [json.loads(text) for text in rows.read_text("utf-8").splitlines()] if rows.is_file() else []
    table = Table("measured", "figures", title=f"Benchmarks, {size} sizes, {os.cpu_count()} threads", show_lines=True)
    for measured in found:
        table.add_row(measured["name"], "\n".join(f"{key}: {value}" for key, value in measured["figures"].items()))
    Console(width=140).print(table)
    return verdict


if __name__ == "__main__":
    sys.exit(main())
