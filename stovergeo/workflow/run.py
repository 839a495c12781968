"""The whole way, step by step.

`run_season` is a pure function of the plan file and its layers.
"""

from __future__ import annotations

from contextlib import suppress
from importlib.resources import files
from pathlib import Path

import geopandas as gpd

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.plan import Plan, read_plan
from stovergeo.inputs.roles import Proposal, propose_roles
from stovergeo.result import SeasonResult
from stovergeo.workflow import steps
from stovergeo.workflow.assemble import season_result
from stovergeo.workflow.checks import get_ready
from stovergeo.workflow.not_known import refuse_if_nothing_is_known
from stovergeo.workflow.progress import Step, begin, quiet
from stovergeo.workflow.run_size import ReportSize, no_progress


def sample_plan_path() -> Path:
    """Return the plan file of the sample farm, from the installed package or from a checkout.

    Returns
    -------
    Path

    Examples
    --------
    >>> from stovergeo import sample_plan_path
    >>> sample_plan_path().name
    'plan.toml'
    """
    shipped = Path(str(files("stovergeo"))) / "sample_layers" / "plan.toml"
    return shipped if shipped.is_file() else Path(__file__).parents[2] / "sample_layers" / "plan.toml"


def check_season(plan_path: Path, report: Report, tell: ReportSize = no_progress) -> list[Proposal]:
    """Read the plan and every layer, compute nothing, list all problems; `tell` is called with what a run will need.

    Returns
    -------
    list of Proposal
        What each column of the yield points may mean.

    Raises
    ------
    InputError
        When the plan file cannot be read; the report holds every problem met.
    """
    plan = read_plan(plan_path, report)
    with suppress(InputError):  # what forbids a season stands in the report
        get_ready(plan, report, tell)
    return propose_roles(plan, Report())  # what is wrong with the points stands in the report already


def run_season(
    plan: Plan | Path,
    report: Report,
    step: Step = quiet,
    tell: ReportSize = no_progress,
    *,
    yards_before: gpd.GeoDataFrame | None = None,
) -> SeasonResult:
    """Plan one season.

    Parameters
    ----------
    plan : Plan or Path
        A plan, or the path of a plan file.
    report : Report
        Collects every problem met on the way.
    step : callable, optional
        Told what is being done and the share of the run done before it, for a progress line.
    tell : callable, optional
        Told what the run will need, before any raster is read.
    yards_before : GeoDataFrame, optional
        Yards of the plan before, in the same working CRS: a place keeps its name, a new one gets a new name.

    Returns
    -------
    SeasonResult
        The field stack and the tables of every package; nothing is written.

    Raises
    ------
    InputError
        When what was brought cannot be used; carries every problem found up to there.

    Examples
    --------
    The sample farm, whole:

    >>> from stovergeo import Report, run_season, sample_plan_path
    >>> report = Report()
    >>> result = run_season(sample_plan_path(), report)
    >>> result.stack["removable_mg_ha"].attrs["units"]
    'Mg/ha'
    >>> len(result.zones) > 0, len(result.yards) > 0, report.refused
    (True, True, [])
    """
    return season_result(worked_out(plan, report, step, tell, yards_before), report)


def worked_out(
    plan: Plan | Path, report: Report, step: Step, tell: ReportSize, yards_before: gpd.GeoDataFrame | None = None
) -> steps.Season:
    """Return all that the steps of a season make, before it is put together; see `run_season`."""
    step(*begin("layers"))
    ready = get_ready(plan if isinstance(plan, Plan) else read_plan(plan, report), report, tell)
    clusters = ready.clusters
    step(*begin("yields"))
    yields = [steps.map_yields(cluster, report) for cluster in clusters]
    steps.compare_clusters(yields, report)
    refuse_if_nothing_is_known([y.no_yield for y in yields], ready.fields, report)
    step(*begin("terrain"))
    terrain = [steps.map_terrain(*both) for both in zip(clusters, yields, strict=True)]
    step(*begin("removable"))
    removable = [steps.find_removable(*both, report) for both in zip(clusters, terrain, strict=True)]
    step(*begin("offers"))
    offers = [steps.offer_zones(*both) for both in zip(clusters, removable, strict=True)]
    grounds = [steps.Ground(*made) for made in zip(clusters, yields, terrain, removable, offers, strict=True)]
    step(*begin("sites"))
    sites = steps.find_sites(ready, grounds, report, yards_before)
    step(*begin("choice"))
    chosen = steps.choose_supply(ready, grounds, sites)
    step(*begin("counts"))
    counts = steps.count(ready, grounds, sites, chosen)
    return steps.Season(ready, grounds, sites, chosen, counts)
