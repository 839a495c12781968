"""What a run will need, reported before it starts, and an error where this machine does not have it.

The memory is that of the whole process at its peak; the figures were measured with `tests/workflow/test_run_size.py`,
which holds them against the true peak. The time is rough: another machine is faster or slower.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from stovergeo.core.errors import Report
from stovergeo.core.messages import Catalog, Message
from stovergeo.inputs.farm_layers import FarmSize
from stovergeo.inputs.plan import Plan

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

message = Catalog("stovergeo.workflow")
# Peak of resident memory, measured on Linux with Python 3.11: 0.6 GB for the libraries, the kernels and a farm of
# nothing; then by what there is to work on
BASE_BYTES: Final = 630e6
BYTES_A_CELL: Final = 1_200.0
BYTES_A_RECORD: Final = 2_500.0
BYTES_A_RASTER_CELL: Final = 20.0
# Processor time on the same machine, its kernels compiled
BASE_S: Final = 6.0
S_A_CELL: Final = 25e-6
S_A_RECORD: Final = 1e-4
GB: Final = 1e9


@dataclass(frozen=True, slots=True)
class RunNeed:
    """What a run will need."""

    cells: int
    cell_m: float
    records: int
    raster_cells: int  #: read from rasters of other cells than the grid's
    memory_bytes: float  #: of the whole process at its peak
    seconds: float  #: rough, kernels compiled

    def as_message(self) -> Message:
        """Return it as a line to show."""
        if self.seconds < 90:
            time = message("run.seconds", seconds=round(self.seconds))
        else:
            time = message("run.minutes", minutes=round(self.seconds / 60))
        size = {"cells": self.cells, "cell": self.cell_m, "memory": self.memory_bytes / GB, "time": time}
        return (
            message("run.size_with_records", **size, records=self.records)
            if self.records
            else message("run.size", **size)
        )


ReportSize = Callable[[RunNeed], None]


def no_progress(need: RunNeed) -> None:
    """Take note of no need: the default for callers that show none."""


def need_of(size: FarmSize, cell_m: float) -> RunNeed:
    """Return what a run on a farm of this size will need."""
    memory = BYTES_A_CELL * size.cells + BYTES_A_RECORD * size.records + BYTES_A_RASTER_CELL * size.raster_cells
    seconds = BASE_S + S_A_CELL * size.cells + S_A_RECORD * size.records
    return RunNeed(size.cells, cell_m, size.records, size.raster_cells, BASE_BYTES + memory, seconds)


def fits(need: RunNeed, plan: Plan, report: Report) -> bool:
    """Whether a run fits into the memory there is; where not, it is refused with the numbers and the ways out."""
    room = free_memory_bytes() if plan.farm.memory_max_gb is None else plan.farm.memory_max_gb * GB
    if room is None or need.memory_bytes <= room:
        return True
    given = "run.machine_has" if plan.farm.memory_max_gb is None else "run.plan_allows"
    said = message(
        "run.too_big",
        cells=need.cells,
        cell=need.cell_m,
        records=need.records,
        raster_cells=need.raster_cells,
        memory=need.memory_bytes / GB,
        room=message(given, memory=room / GB),
    )
    report.add("grid.too_big", "plan file, farm.cell", said, _ways_out(need, room))
    return False


def _ways_out(need: RunNeed, room: float) -> str:
    override = "If you know that there is more, say so with farm.memory_max_gb."
    spare = room - BASE_BYTES
    if spare < 0.05 * BASE_BYTES:
        return f"Close other programs, or use a machine with more memory. {override}"
    over = (need.memory_bytes - BASE_BYTES) / spare
    # the yield records stay as many as they are whatever the cell: half a step coarser than cells alone ask for
    coarser = math.ceil(2 * need.cell_m * math.sqrt(over) * 1.05) / 2
    return (
        f'Use a larger cell (cell = "{coarser:g} m" would do), or split the farm into {math.ceil(over)} plans of '
        f"neighboring fields. {override}"
    )


def free_memory_bytes() -> float | None:
    """Return how large this process may become, bytes; None where the system does not say.

    The least of: what the machine has free, what the process's group may use, and what its own limits allow.
    """
    own = _own_bytes("VmRSS")
    rooms = [own + free for free in (_machine_free(), _group_free()) if free is not None]
    if resource is not None:
        limit = resource.getrlimit(resource.RLIMIT_AS)[0]
        if limit != resource.RLIM_INFINITY:
            rooms.append(own + limit - _own_bytes("VmSize"))
    return min(rooms, default=None)


def _own_bytes(name: str) -> float:
    return _kilobytes(Path("/proc/self/status"), name) or 0.0


def _machine_free() -> float | None:
    return _kilobytes(Path("/proc/meminfo"), "MemAvailable")


def _kilobytes(path: Path, name: str) -> float | None:
    try:
        lines = path.read_text("ascii", "replace").splitlines()
    except OSError:  # not Linux
        return None
    return next((1024.0 * int(line.split()[1]) for line in lines if line.startswith(f"{name}:")), None)


def _group_free() -> float | None:
    """Return what the control group and those above it leave, as containers and batch systems set it."""
    free = []
    for limit, used, cache in _group_files():
        try:
            most = float(limit.read_text("ascii"))
            taken = float(used.read_text("ascii"))
            kept = next((float(line.split()[1]) for line in cache.read_text("ascii").splitlines()
                         if line.startswith(("inactive_file ", "total_inactive_file "))), 0.0)  # fmt: skip
        except (OSError, ValueError):  # no such group, or "max"
            continue
        free.append(most - taken + kept)
    return min(free, default=None)


def _group_files() -> list[tuple[Path, Path, Path]]:
    root = Path("/sys/fs/cgroup")
    try:
        lines = Path("/proc/self/cgroup").read_text("utf-8").splitlines()
    except OSError:
        return []
    found = []
    for line in lines:
        _, kinds, path = line.split(":", 2)
        if kinds == "":
            base, names = root, ("memory.max", "memory.current", "memory.stat")
        elif "memory" in kinds.split(","):
            base, names = root / "memory", ("memory.limit_in_bytes", "memory.usage_in_bytes", "memory.stat")
        else:
            continue
        here = base / path.lstrip("/")
        folders = [here, *here.parents[: len(here.relative_to(base).parts)]]
        found += [tuple(folder / name for name in names) for folder in folders]
    return found  # type: ignore[return-value]
