"""Write ``docs/limits.md``: every retention rule with its numbers, and how the odds are computed.

Run ``python docs/write_limits.py``; a test fails when the page no longer matches the rules and the handbook.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Coefficient, Handbook, load_handbook
from stovergeo.core.plugins import RETENTION_RULES, load_plugins
from stovergeo.core.stack import VARIABLES
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue import RuleOptions, methods

PAGE = Path(__file__).with_name("limits.md")

EQUATIONS = {
    "concentrated_flow": "keep = all where `concentrated_flow` is 1",
    "erodible_ground": """keep = all where R K LS / T >= 8 by cell
keep = all where the survey lists the soil as highly or potentially highly erodible""",
    "ground_cover": """before = cover / product of passes                   cover there must be before the passes
flat   = -ln(1 - before) / k / overwinter            kg/ha at harvest
keep   = flat + what stands; all where before >= 95 %: no amount suffices, change the passes""",
    "nutrient_floor": "keep = stover - most of a nutrient / content",
    "plan_floor": """keep = max(retention_min, stover - removal_max)
keep = all where the grain is under harvest_from_bu_ac""",
    "soil_carbon": """required = factor x table(rotation, tillage) - (manure C x worth + cover-crop C x worth) / content
table    = (required - (1 - f) x stover) / f          harvest in a fraction f of the corn years
goal     = stover - (G SOC / 20 + r (manure C x worth + cover-crop C x worth)) / (content x r x f x corn share)
keep     = max(table, goal)    G: the plan's goal; r: share of carbon missing after 20 years; SOC: carbon to 30 cm""",
    "soil_conditioning": "keep = all where the plan's index is below 0",
    "steep_ground": "keep = all where the slope is over the plan's limit",
    "water_erosion": """bare  = R K LS P C0                                 Mg/(ha yr)
cover = ln(bare / T) / (b (6.096 mm / roughness)^0.08)   %, 0 where bare <= T
keep  = as for ground cover""",
    "water_plus_wind": """solve  water exp(-b cover) + wind exp(-0.0438 cover) = T    for cover, by Newton's method
keep   = as for ground cover""",
    "wind_erosion": """\
ratio = T / bare loss where the plan gives it, else the allowed ratio on wind-prone soils, else 1
ratio = exp(-0.0438 cover) x exp(-0.0344 silhouette^0.6413)
keep  = as for ground cover""",
}


def one_cell() -> xr.Dataset:
    """Return a stack of one ordinary cell that holds every variable."""
    return xr.Dataset({name: (("y", "x"), np.array([[1.0]]), {"units": v.unit}) for name, v in VARIABLES.items()})


def asked_of(name: str, coefficients: Handbook) -> list[Coefficient]:
    """Return the coefficients a rule asks for, over rotations, tillage and methods."""
    rule = next(p.thing for p in load_plugins(RETENTION_RULES) if p.name == name)
    floors = Limits.model_validate({"potash_max": "50 lb/ac", "phosphate_max": "10 lb/ac"})
    keys: set[str] = set()
    for rotation in ("continuous corn", "corn-soybean"):
        for passes in (("moldboard",), ("chisel_straight",), ("planter_no_till",)):
            for wind in ({}, {"wind_loss": "5 ton/ac/yr"}):
                crop = Crop.model_validate({"rotation": rotation, "tillage": passes, **wind})
                options = RuleOptions(crop, floors, coefficients, asked=set())
                stack = one_cell() if rotation == "continuous corn" else one_cell() * np.nan
                for way in (None, *methods(coefficients).values()):
                    rule.keep(stack, replace(options, method=way))
                keys |= options.asked
    # passes are listed once, below
    return [coefficients[k] for k in sorted(keys) if not k.startswith(("tillage.", "flattening."))]


def coefficient_rows(coefficients: list[Coefficient]) -> list[str]:
    """Return a table of coefficients."""
    lines = ["| coefficient | value (low to high) | unit | standing | source |", "| --- | --- | --- | --- | --- |"]
    for c in coefficients:
        spread = f"{c.value:g}" if c.low == c.high else f"{c.value:g} ({c.low:g} to {c.high:g})"
        source = f"{c.source}{'; ' if c.source and c.note else ''}{c.note}"
        lines.append(f"| `{c.key}`: {c.meaning} | {spread} | {c.unit} | {c.standing} | {source or '–'} |")
    return lines


def page() -> str:
    """Return the whole page."""
    coefficients = load_handbook()
    lines = [INTRODUCTION]
    for plugin in load_plugins(RETENTION_RULES):
        if plugin.package != "stovergeo":
            continue
        rule = plugin.thing
        lines += [
            f"### {rule.title} (`{plugin.name}`)",
            "",
            *(f"    {line}" for line in EQUATIONS[plugin.name].splitlines()),
            "",
            f"Reads {', '.join(f'`{v}`' for v in rule.reads)}. Source: {rule.source}.",
            f"Holds for {rule.valid}. {rule.lift}",
            "",
        ]
        asked = asked_of(plugin.name, coefficients)
        lines += [*coefficient_rows(asked), ""] if asked else []
    lines += [
        "### Passes",
        "",
        *coefficient_rows([*_group(coefficients, "tillage"), *_group(coefficients, "flattening")]),
        "",
    ]
    lines += [ERODIBLE_LAND, "", *coefficient_rows(_group(coefficients, "retention.erodible_field")), ""]
    lines += [COUNTS, "", *coefficient_rows([coefficients["retention.cover.count_error"]]), ""]
    lines += [GATHERING, "", *coefficient_rows(_group(coefficients, "methods")), "", ODDS]
    return "\n".join(lines)


def _group(coefficients: Handbook, name: str) -> list[Coefficient]:
    return list(coefficients.group(name).values())


INTRODUCTION = """# Removable stover and its limits

*Written by `docs/write_limits.py`; a test keeps it current. Masses are oven-dry; "all" means all standing stover.*

Planning guidance, not a conservation plan. The rules below are screens: one number for a year, a field's rotation or a
soil. Only the conservation office finds land highly erodible, and steep or gullied ground needs a planner's eye.

## From grain to limit

    stover    = 0.85 x grain + 0.65                 dry Mg/ha (Wilhelm et al. 2011 for the slope; intercept fitted)
    keep      = the largest value of all rules      in each cell, at most all standing stover
    removable = stover - keep

The name of the largest rule is kept with each cell (`binding_rule`). A zone's table gives the mean
retention of every rule, on what share of the zone it binds, and how much more could be removed without it.

Where the soil's K, T or wind erodibility is not known, a cautious number takes its place and the hectares are reported.
A rule without its layer is left out and reported as not checked. A rule the plan does not ask for (a floor that is
not set, a wind loss that is not given) is neither run nor listed.

## The rules
"""

ERODIBLE_LAND = """### Highly erodible land

Erodible ground, above, is a screen by cell. Highly erodible land in law goes by soil map unit and field (7 CFR 12.21
and 12.22), with values frozen on 1 January 1990 that no survey file carries. The plan says of each field only this, and
that the conservation office decides; no limit follows from it beyond those of the rules:

    water = R K LS / T   LS = (length / 22.13)^m (65.41 sin^2 + 4.56 sin + 0.065), steepest and longest of the unit
    wind  = C I / T      C in percent (`wind_climate_pct` of the plan); the two are not added
    map unit   as the survey lists it; unlisted: may be where either index can reach 8, below where neither can
    field      listed, may be, not known or below, where such map units are a third of it, or 50 acres"""

COUNTS = """### Cover counts

The plan can give the cover counted in a field after planting (`[[crop.cover_counts]]`). It then says what the passes
keep there, for all rules that ask for cover:

    counted = cover + error x sqrt(cover (1 - cover) / marks)
    passes  = counted / (1 - exp(-k x overwinter x stover left))     at most 1
              x product of the plan's passes / product of the passes before the count

A pass keeps a share of cover, not of mass. As a share of mass, g, the same share f is the smaller the more lies there:
g = -ln(1 - f (1 - exp(-k M))) / (k M)."""

GATHERING = """## Methods of gathering

A method takes a share of the standing stover, made up of stalk, leaf, cob and husk. Another cut height changes the
stalk and leaf above the cut; cob and husk hang on the ear. Stalk below the cut stands, unless shredded, and each later
pass lays its share of it down. Standing stalks do not count as ground cover; they do count against wind. Soil in the
bale follows from its ash: bale = plant x (1 - plant ash) / (1 - bale ash).

A method is allowed in a zone if its removal fits under three limits: the mean of the cells' removable stover with that
method's stubble, the zone's even-take limit (at most a tenth of its ground short of retention), and the cautious
percentile of the sampled limit."""

ODDS = """## The odds

Every coefficient with a spread is sampled from the triangle (low, value, high), stratified, from a random stream made
of the seed and its name: adding a rule changes no other sample, and a seed gives the same bits again. Sampled once for
the farm: coefficients of rules, the winter, the passes. For each field: the season's stover for the grain, the share a
machine takes. For each zone: its own departure, and the part of the grain map's error its cells share. A number set in
the plan has no spread and is not sampled.

Rules run on at most 60 cells a zone, taken evenly along the rank of their removable stover. `compliance_probability` is
the share of samples in which the removal, itself sampled, fits under every limit. The ranked inputs are squared
standard coefficients of a regression on ranks, without those that lie within three standard errors of zero.

## Known slips of the sources

* Stover as bushels x 56 lb / 2,000 forgets to dry the grain and is 18 % too high (two extension bulletins).
* Michigan 2007 prints nitrogen at $9.85 a ton: the mass of potash at the price of nitrogen. It is $6.80; the sum of
  $12.47 is right.
* Ohio prints 25 lb of phosphate in 4.5 ton at 6 lb; it is 27. NRCS Iowa prints $185 for 4 x $46. North Dakota rounds
  potash up to $0.46/lb and prints $24.04 for $23.98.
* NRCS Iowa's 37 lb of nitrogen a ton is twice anyone else's and is not used.
* Johnson et al. 2014 is quoted with 6.38 and with 8.07 Mg/ha; the spread of the carbon requirement is kept wide.
* The 1985 curve of flat cover and wind exceeds bare ground below 8.24 % cover; it is held at 1 there.
"""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
