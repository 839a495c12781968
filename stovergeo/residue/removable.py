"""The limits: every rule's answer, the largest of them, and what may leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import xarray as xr

from stovergeo.core.errors import ContractError, Report
from stovergeo.core.nearest import unknown_value
from stovergeo.core.plugins import RETENTION_RULES, load_plugins
from stovergeo.core.stack import need, put
from stovergeo.residue.messages import catalog
from stovergeo.residue.options import RuleOptions, check_passes
from stovergeo.residue.production import stover
from stovergeo.residue.retention import Rule

#: cells for which the rules are asked at once (some 100 MB in double precision)
CELLS_AT_ONCE: Final = 250_000

#: soil variables whose unknown cells take a cautious number, by handbook key
_CAUTIOUS: Final = {
    "soil_erodibility": "retention.water.erodibility_unknown",
    "soil_loss_tolerance": "retention.water.tolerance_unknown",
    "wind_erodibility": "retention.wind.index_unknown",
}


@dataclass(frozen=True, slots=True)
class NamedRule:
    """A rule with the name of its entry point."""

    name: str
    rule: Rule
    package: str = ""  #: distribution that brings it

    def trait(self, what: str, default: Any) -> Any:
        """Return an attribute a rule need not have."""
        return getattr(self.rule, what, default)


def rules_for(options: RuleOptions, report: Report) -> list[NamedRule]:
    """Return the rules in force, rules that forbid first; broken and unknown ones are reported."""
    found = {plugin.name: plugin for plugin in load_plugins(RETENTION_RULES)}
    wanted = list(found) if options.limits.rules is None else list(dict.fromkeys(options.limits.rules))
    rules = []
    for name in wanted:
        if name not in found:
            cure = f"Use names from: {', '.join(sorted(found))}."
            report.add("residue.unknown_rule", "plan file, limits.rules", unknown_value(name, found), cure)
        elif found[name].broken:
            report.add(
                "residue.rule_broken", f"retention rule {name} of {found[name].package}", f"{found[name].broken}."
            )
        elif getattr(found[name].thing, "in_force", _always)(options):
            rules.append(NamedRule(name, found[name].thing, found[name].package))
    return sorted(rules, key=lambda r: not r.trait("forbids", False))


def check_rules(options: RuleOptions, report: Report) -> list[NamedRule]:
    """Return the rules in force; report what the plan says wrongly of crop and limits. No ground is read."""
    check_passes(options.crop, options.coefficients, report)
    _warn_of_conditioning(options, report)
    refused = len(report.refused)
    rules = rules_for(options, report)
    if not rules and len(report.refused) == refused:
        report.add("residue.no_rule", "plan file, limits.rules", "The plan puts no retention rule in force.")
    return rules


def _always(options: RuleOptions) -> bool:
    return True


def limits(stack: xr.Dataset, options: RuleOptions, report: Report) -> xr.Dataset:
    """Return the stack with what grows, what must stay by each rule, and what may leave.

    Parameters
    ----------
    stack : xarray.Dataset
        Holds ``grain_mg_ha``; every rule reads what it lists.
    options : RuleOptions
    report : Report
        Rules that cannot be checked here, and soil values that had to be assumed, are noted.

    Returns
    -------
    xarray.Dataset
        With ``stover_mg_ha``, ``retention_<rule>_mg_ha`` for every rule that could be checked, ``retention_mg_ha`` (the
        largest, at most all that stands), ``binding_rule`` (0, 1, ... into the attributes ``rules`` and ``titles``) and
        ``removable_mg_ha``.
        Limits count on ``stover_typical_mg_ha``: what stands or, where ``grain_mean_mg_ha`` tells that most years give
        less, what they give; the rest is part of ``retention_mg_ha``.

    Raises
    ------
    ContractError
        When ``grain_mg_ha`` is missing or in another unit.
    InputError
        When no rule could be checked, or the plan names a tillage pass the handbook does not know.

    Notes
    -----
    Each rule's equation, numbers and source stand on the page of the limits.

    Examples
    --------
    Ten dry Mg/ha of grain on a gentle slope; what no layer gives is reported as not checked:

    >>> import numpy as np
    >>> from odc.geo.geobox import GeoBox
    >>> from stovergeo import Report, RuleOptions, limits, load_handbook, new_stack, put
    >>> from stovergeo.inputs.plan import Crop, Limits
    >>> grid = GeoBox.from_bbox((440_000, 4_650_000, 440_300, 4_650_200), crs="EPSG:32615", resolution=10)
    >>> stack = put(new_stack(grid), grain_mg_ha=np.full((20, 30), 10.0), slope_pct=np.full((20, 30), 2.0))
    >>> report = Report()
    >>> stack = limits(stack, RuleOptions(Crop(), Limits(), load_handbook()), report)
    >>> stack["binding_rule"].attrs["rules"]
    ['steep_ground', 'ground_cover', 'soil_carbon']
    >>> bool(np.allclose(stack["removable_mg_ha"], stack["stover_mg_ha"] - stack["retention_mg_ha"]))
    True
    >>> sorted({problem.code for problem in report})
    ['residue.rule_not_checked', 'residue.soil_unknown']
    """
    need(stack, ["grain_mg_ha"], "the residue package")
    rules = check_rules(options, report)
    report.stop_if_refused()
    stack = put(stack, stover_mg_ha=expected_stover(stack["grain_mg_ha"].astype(float), options))
    stack = put(stack, stover_typical_mg_ha=_typical_or_less(stack, options))
    inputs = with_cautious_soil(stack, options, report)
    answers = answers_of(rules, inputs, options, report)
    if not answers:
        raise report.refuse("residue.no_rule", "plan file, limits.rules", "No retention rule could be checked.")
    _report_unknown(answers, inputs, report)
    if "soil_carbon" in answers:
        _report_carbon(inputs, options, report)
    _report_short(rules, answers, inputs, report)
    return _bind(stack, answers, {r.name: r for r in rules})


def removable_if(stack: xr.Dataset, options: RuleOptions) -> xr.Dataset:
    """Return a stack with what may leave (``removable_mg_ha``) under other options, for comparisons.

    Parameters
    ----------
    stack : Dataset
        As `limits` returns it. What each rule asked for and which binds stay as they are there.
    options : RuleOptions
        With the handbook's line of stover for grain that the stack was made with; nothing is reported.
    """
    silent = Report()  # what is wrong was reported by `limits`
    inputs = with_cautious_soil(stack, options, silent)
    answers = answers_of(rules_for(options, silent), inputs, options, silent)
    largest = np.full(tuple(stack.sizes[d] for d in ("y", "x")), np.nan)
    for asks in answers.values():
        np.fmax(largest, asks.transpose("y", "x", missing_dims="ignore").values, out=largest)
    return stack.assign(removable_mg_ha=(("y", "x"), _removable(stack, largest).astype(np.float32)))


def expected_stover(grain_mg_ha: xr.DataArray, options: RuleOptions) -> xr.DataArray:
    """Return the central stover for a grain surface, with the handbook's (or the plan's) line."""
    line = stover(
        grain_mg_ha, options.coefficients.value("residue.slope"), options.coefficients.value("residue.intercept")
    )
    return line * options.coefficients.value("residue.factor")


def _typical_or_less(stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return the stover of most years, at most what stands; where earlier years tell nothing, what stands."""
    standing = stack["stover_mg_ha"]
    if "grain_mean_mg_ha" not in stack:
        return standing
    typical = expected_stover(stack["grain_mean_mg_ha"].astype(float), options)
    return standing.where(~(typical < standing), typical)


def answers_of(
    rules: list[NamedRule], inputs: xr.Dataset, options: RuleOptions, report: Report
) -> dict[str, xr.DataArray]:
    """Return each rule's answer (Mg/ha), leaving out, and reporting, those that cannot be checked or fail.

    Rules are asked for some rows of the grid after the other, in double precision: they invert exponentials,
    and a copy of the whole stack in it would be the largest thing of a run.
    """
    able = []
    for named in rules:
        missing = [v for v in named.rule.reads if v not in inputs]
        if missing:
            report.add(
                "residue.rule_not_checked",
                f"retention rule {named.name}",
                f"It reads {', '.join(missing)}, not known here.",
            )
            continue
        need(inputs, named.rule.reads, f"the rule {named.name}")
        able.append(named)
    parts: dict[str, list[xr.DataArray]] = {named.name: [] for named in able}
    for rows in _rows_at_once(inputs):
        # without coordinates, which arithmetic would line up anew each time: most of the time of a small farm
        block = inputs.isel(y=rows).astype(float).drop_vars(list(inputs.coords))
        for named in [n for n in able if n.name in parts]:
            try:
                parts[named.name].append(asked(named, block, options))
            except Exception as error:  # a plug-in must not stop the others; a built-in rule must not fail unseen
                if named.package == "stovergeo":
                    raise
                report.add("residue.rule_broken", f"retention rule {named.name}", f"{type(error).__name__}: {error}.")
                del parts[named.name]
    # an answer that is the same everywhere has no rows to join
    return {name: xr.concat(found, "y") if "y" in found[0].dims else found[0] for name, found in parts.items()}


def _rows_at_once(inputs: xr.Dataset) -> list[slice]:
    rows, cols = inputs.sizes["y"], inputs.sizes["x"]
    step = max(CELLS_AT_ONCE // max(cols, 1), 1)
    return [slice(start, start + step) for start in range(0, max(rows, 1), step)]


def asked(named: NamedRule, inputs: xr.Dataset, options: RuleOptions) -> xr.DataArray:
    """Return a rule's answer, checked against the contract.

    Raises
    ------
    ContractError
        When it is not an array over the dims it was given, or is negative or infinite anywhere.
    """
    answer = named.rule.keep(inputs, options)
    allowed = set(inputs.dims) | {d for n in options.drawn.values() if isinstance(n, xr.DataArray) for d in n.dims}
    if not isinstance(answer, xr.DataArray) or not set(answer.dims) <= allowed:
        raise ContractError("its answer is not an array over the dims it was given")
    if bool((answer < 0).any()) or bool(np.isinf(answer).any()):
        raise ContractError("its answer is negative or infinite somewhere")
    return answer


def with_cautious_soil(stack: xr.Dataset, options: RuleOptions, report: Report) -> xr.Dataset:
    """Return the stack with cautious numbers where the soil is not known, reported with its area."""
    inputs = stack.copy()
    grown = inputs["stover_mg_ha"].notnull()
    for name, key in _CAUTIOUS.items():
        if name not in inputs:
            continue
        unknown = grown & inputs[name].isnull()
        if bool(unknown.any()):
            number = options.coefficients.value(key)
            taken = catalog(f"unknown.{name}", area=_hectares(inputs, unknown), taken=number)
            report.add("residue.soil_unknown", "soils", taken)
            inputs[name] = inputs[name].astype(float).where(~unknown, number).assign_attrs(inputs[name].attrs)
    return inputs


def _report_carbon(inputs: xr.Dataset, options: RuleOptions, report: Report) -> None:
    """Report ground whose stock of carbon is not known: the goal for it is judged with a stock from the handbook."""
    grown = inputs["stover_mg_ha"].notnull()
    unknown = grown & inputs["soil_carbon"].isnull() if "soil_carbon" in inputs else grown
    ha = _hectares(inputs, unknown)
    if ha > 0:
        taken = catalog("unknown.soil_carbon", area=ha, taken=options.coefficients.value("carbon.stock_unknown"))
        report.add("residue.soil_unknown", "soils", taken)


def _hectares(inputs: xr.Dataset, where: xr.DataArray) -> float:
    return float(inputs["cell_area_ha"].where(where).sum(dtype=np.float64))


def _report_unknown(answers: dict[str, xr.DataArray], inputs: xr.Dataset, report: Report) -> None:
    """Report rules that are known on part of the ground only; where another rule keeps all, nothing is missed."""
    stover = inputs["stover_mg_ha"]
    open_ground = stover.notnull()
    for answer in answers.values():
        open_ground = open_ground & ~(answer >= stover)
    for name, answer in answers.items():
        ha = _hectares(inputs, open_ground & answer.isnull())
        if ha > 0:
            report.add("residue.rule_not_checked", f"retention rule {name}", catalog("unknown.reads", area=ha))


def _report_short(rules: list[NamedRule], answers: dict[str, xr.DataArray], inputs: xr.Dataset, report: Report) -> None:
    """Report where a rule asks for more than stands: no amount suffices, and nothing may leave."""
    stover = inputs["stover_mg_ha"]
    for named in rules:
        if named.name in answers and not named.trait("forbids", False):
            short = (answers[named.name] >= stover) & (stover > 0)
            ha = _hectares(inputs, short)
            if ha > 0:
                asks_all = catalog("unknown.all_must_stay", area=ha)
                report.add("residue.all_must_stay", f"retention rule {named.name}", asks_all)


def _bind(stack: xr.Dataset, answers: dict[str, xr.DataArray], rules: dict[str, NamedRule]) -> xr.Dataset:
    """Put the answers, the largest of them and what it leaves to take into the stack."""
    grown = stack["stover_mg_ha"].notnull()
    maps = {n: a.broadcast_like(stack["stover_mg_ha"]).transpose("y", "x").where(grown) for n, a in answers.items()}
    binding, highest = np.zeros(grown.shape, dtype=np.int16), np.full(grown.shape, -np.inf)
    largest = np.full(grown.shape, np.nan)
    for number, (name, asks) in enumerate(maps.items()):
        # all-or-nothing rules come first in the order and win where they forbid; of two alike the first stands
        forbidding = rules[name].trait("forbids", False)
        height = np.where(forbidding & (asks.values > 0), np.inf, np.nan_to_num(asks.values, nan=-1.0))
        binding[height > highest] = number
        np.maximum(highest, height, out=highest)
        # fmax: a rule that is not known in a cell leaves the others standing there
        np.fmax(largest, asks.values, out=largest)
    removable = _removable(stack, largest)
    standing = stack["stover_mg_ha"].values
    named = {"rules": list(maps), "titles": [str(rules[name].rule.title) for name in maps]}
    binding_rule = xr.DataArray(np.where(np.isfinite(removable), binding, np.nan), dims=("y", "x"), attrs=named)
    return put(
        stack,
        # a rule answers in Mg/ha; arithmetic may have carried along the unit of something it read
        **{f"retention_{name}_mg_ha": m.values for name, m in maps.items()},
        retention_mg_ha=standing - removable,
        binding_rule=binding_rule,
        removable_mg_ha=removable,
    )


def _removable(stack: xr.Dataset, largest: np.ndarray) -> np.ndarray:
    """Return what the largest answer leaves to take, Mg/ha; NaN where no rule or no stover is known."""
    counted = stack["stover_typical_mg_ha"].values
    known = stack["stover_mg_ha"].notnull().values & np.isfinite(largest)
    return np.where(known, counted - np.minimum(largest, counted), np.nan)


def _warn_of_conditioning(options: RuleOptions, report: Report) -> None:
    index, low = options.crop.soil_conditioning_index, options.coefficients.value("retention.conditioning_low")
    if index is not None and 0 <= index < low:
        report.add(
            "residue.conditioning_low",
            "plan file, crop.soil_conditioning_index",
            f"The index is {index:g}, under {low:g}.",
        )
