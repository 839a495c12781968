"""Planning again with the landowner's answer."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from stovergeo.core.errors import Report
from stovergeo.report import ANSWER_NAMES, NO_GO_NAME, add_answer, plan_key, read_answer, refuse_existing
from stovergeo.result import SeasonResult
from stovergeo.workflow import story
from stovergeo.workflow.progress import Step, part_of, quiet
from stovergeo.workflow.run import run_season
from stovergeo.workflow.run_size import ReportSize, no_progress


def replan_with_answer(
    plan_path: Path,
    answer_path: Path,
    report: Report,
    out: Path,
    step: Step = quiet,
    tell: ReportSize = no_progress,
    *,
    overwrite: bool = False,
) -> SeasonResult:
    """Plan again with the landowner's answer; the result's words say what changed.

    What the landowner refuses is written as a layer beside the results, and the plan used names it.

    Parameters
    ----------
    plan_path, answer_path : Path
        The plan file the map was made from; the answer file (GeoJSON).
    report : Report
    out : Path
        Folder that gains ``no_go.geojson``; made where it is missing.
    step : callable, optional
        Told what is being done and the share done before it.
    tell : callable, optional
        Told what each run will need, before any raster is read.
    overwrite : bool
        Whether a layer and results that stand in `out` may be replaced.

    Returns
    -------
    SeasonResult
        Of the second plan; nothing else is written.

    Raises
    ------
    InputError
        When the plan, its layers or the answer file cannot be used; ``out.exists`` before any work.
    """
    refuse_existing(out, overwrite, report, ANSWER_NAMES)
    before = run_season(plan_path, report, part_of(step, 0.0, 0.55), tell)
    step("Reading the landowner's answer", 0.4)
    answer = read_answer(answer_path, report, near=before.fields, plan_key=plan_key(before))
    layer = out / NO_GO_NAME
    with _put_back_if_it_fails(layer):
        out.mkdir(parents=True, exist_ok=True)
        plan = add_answer(before.plan, answer, layer, report)
        after = run_season(plan, Report(), part_of(step, 0.4, 1.0), yards_before=before.yards)
    after.words["changed"] = story.changed_messages(before, after)
    after.words["grower"] = [*story.changed_cost_messages(before, after), *after.words["grower"]]
    after.words["answer"] = answer.messages()
    if len(answer.pins):
        after.surroundings["pins"] = answer.pins.rename(columns={"note": "name"}).to_crs(after.crs)
    return replace(after, yards_before=story.yards_before(before, after, answer.yards))


@contextmanager
def _put_back_if_it_fails(path: Path) -> Iterator[None]:
    """Leave a file, and the folder made for it, as they were where the plan that needs it fails or is stopped."""
    stood = path.read_bytes() if path.is_file() else None
    made = not path.parent.exists()
    try:
        yield
    except BaseException:  # Ctrl-C too
        if stood is None:
            path.unlink(missing_ok=True)
        else:
            path.write_bytes(stood)
        if made:
            with suppress(OSError):
                path.parent.rmdir()
        raise
