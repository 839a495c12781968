"""All results of a run, written together: each beside its final name, verified, then renamed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from stovergeo.core.errors import Report
from stovergeo.report import folder as outputs_folder
from stovergeo.report.crew import crew_sheet
from stovergeo.report.figures import as_printed, with_numbers_of
from stovergeo.report.geo_files import REMOVABLE, SITING, write_cog, write_gpkg
from stovergeo.report.map_page import landowner_page
from stovergeo.report.record import write_record
from stovergeo.report.tables import sources_table, write_csv, yards_table, zones_table
from stovergeo.report.where import as_where_it_lies
from stovergeo.result import SeasonResult

#: in the order they get their names; plan.json, which holds the checksums of the others, comes last
NAMES: Final = (
    *("map.html", "plan.gpkg", "removable.tif", "siting.tif", "zones.csv"),
    *("yards.csv", "crew.html", "sources.csv", "plan.json"),
)
#: rasters of the second and further clusters of fields
_MORE_RASTERS: Final = re.compile(r"(removable|siting)-[0-9]+\.tif")
#: what a plan with the landowner's answer writes: the layer of refused places too, see `answer.add_answer`
NO_GO_NAME: Final = "no_go.geojson"
ANSWER_NAMES: Final = (*NAMES, NO_GO_NAME)


def refuse_existing(folder: Path, overwrite: bool, report: Report, names: tuple[str, ...] = NAMES) -> None:
    """Check, before any computing, that the results may be written to a folder; clear away dead runs' left-overs.

    A folder that does not exist yet is tried and taken away again. `names` are the files the command writes:
    `NAMES`, or `ANSWER_NAMES` where an answer is taken in.

    Raises
    ------
    InputError
        ``out.exists``, ``out.permission`` or ``out.not_folder``.
    """
    held = sorted(more_rasters(Path(folder)))
    outputs_folder.prepare_folder(Path(folder), (*held, *names), overwrite, report, leave=False)


def more_rasters(folder: Path) -> set[str]:
    """Return the names of rasters of further clusters that an earlier plan left in a folder."""
    return {path.name for path in folder.glob("*.tif") if _MORE_RASTERS.fullmatch(path.name)}


def names_of(result: SeasonResult) -> tuple[str, ...]:
    """Return the names of all files of a plan, each cluster's rasters among them, ``plan.json`` last."""
    more = [_raster_name(kind, n) for n in range(1, len(result.clusters)) for kind in ("removable", "siting")]
    return (*NAMES[:-1], *more, NAMES[-1])


def _raster_name(kind: str, number: int) -> str:
    return f"{kind}.tif" if number == 0 else f"{kind}-{number + 1}.tif"


@as_where_it_lies
def write_outputs(
    result: SeasonResult, folder: Path, overwrite: bool = False, report: Report | None = None
) -> dict[str, Path]:
    """Write all results of a run, or none.

    Parameters
    ----------
    result : SeasonResult
    folder : Path
        Made if it does not exist.
    overwrite : bool
        Whether results that stand there may be replaced.
    report : Report, optional
        Gains what was cleaned in the folder.

    Returns
    -------
    dict
        Name -> final path.

    Raises
    ------
    InputError
        When the folder does not allow it or the disk is full; what stood there stays whole.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from stovergeo import Report, run_season, sample_plan_path, write_outputs
    >>> result = run_season(sample_plan_path(), Report())
    >>> with TemporaryDirectory() as folder:
    ...     written = write_outputs(result, Path(folder) / "plan")
    ...     written["map.html"].stat().st_size > 100_000, sorted(written)[0]
    (True, 'crew.html')
    """
    folder = Path(folder)
    report = Report() if report is None else report
    result, ledger = as_printed(result)
    names, held = names_of(result), more_rasters(folder)
    outputs_folder.prepare_folder(folder, (*sorted(held - {*names}), *names), overwrite, report)
    with outputs_folder.part_folder(folder, report) as part:
        _write_text(landowner_page(result, ledger), part / "map.html")
        write_gpkg(with_numbers_of(result, ledger), part / "plan.gpkg")
        for number, cluster in enumerate(result.clusters):
            write_cog(cluster.stack, REMOVABLE, part / _raster_name("removable", number))
            write_cog(cluster.stack, SITING, part / _raster_name("siting", number))
        write_csv(zones_table(result, ledger), part / "zones.csv")
        write_csv(yards_table(result, ledger), part / "yards.csv")
        _write_text(crew_sheet(result, ledger), part / "crew.html")
        write_csv(sources_table(result), part / "sources.csv")
        beside = [part / name for name in names if name != "plan.json"]
        write_record(with_numbers_of(result, ledger), part / "plan.json", beside, ledger)
        outputs_folder.publish(part, folder, names, overwrite, report)
    for stale in held - {*names}:  # of a plan with more clusters, which this one replaces
        (folder / stale).unlink(missing_ok=True)
    return {name: folder / name for name in names}


def _write_text(text: str, path: Path) -> None:
    path.write_text(text, "utf-8")
    if path.read_text("utf-8") != text:
        raise OSError(f"{path.name}: what reads back differs from what was written")
