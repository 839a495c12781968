"""The whole plan, and reading it from TOML."""

from __future__ import annotations

import re
import tomllib
import typing
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, Field, PrivateAttr, ValidationError
from pydantic_core import ErrorDetails

from stovergeo.core.errors import Report
from stovergeo.core.nearest import nearest, unknown_value
from stovergeo.inputs.place import Place
from stovergeo.inputs.plan.base import Section
from stovergeo.inputs.plan.crop import Crop, Limits, Odds, SoilTest
from stovergeo.inputs.plan.farm import Farm, Landowner, ReportOptions, checked_currency
from stovergeo.inputs.plan.gather import Bale, Gather, Storage, Wrap
from stovergeo.inputs.plan.layers import Layers, Soil
from stovergeo.inputs.plan.money import Money
from stovergeo.inputs.plan.need import Need
from stovergeo.inputs.plan.window import Window
from stovergeo.inputs.plan.yards import Yards
from stovergeo.inputs.plan.yields import Yields

MAX_BYTES = 1_000_000


class Plan(Section):
    """One season of one farm."""

    farm: Farm
    layers: Layers
    yields: Yields = Field(default_factory=Yields)
    soil: Soil | None = None
    soil_test: SoilTest = Field(default_factory=SoilTest)
    crop: Crop = Field(default_factory=Crop)
    limits: Limits = Field(default_factory=Limits)
    odds: Odds = Field(default_factory=Odds)
    gather: Gather = Field(default_factory=Gather)
    bale: Bale = Field(default_factory=Bale)
    wrap: Wrap = Field(default_factory=Wrap)
    storage: Storage = Field(default_factory=Storage)
    need: Need = Field(default_factory=Need)
    yards: Yards = Field(default_factory=Yards)
    window: Window = Field(default_factory=Window)
    money: Money = Field(default_factory=Money)
    landowner: Landowner = Field(default_factory=Landowner)
    report: ReportOptions = Field(default_factory=ReportOptions)
    handbook: dict[str, float] = Field(default_factory=dict, description="Own numbers for handbook keys.")

    _folder: Path = PrivateAttr(default_factory=Path.cwd)

    @property
    def folder(self) -> Path:
        """Folder that the paths in the plan are relative to."""
        return self._folder


def starter_text() -> str:
    """Return the commented plan file that ``stovergeo new`` writes."""
    return files("stovergeo.inputs.plan").joinpath("starter.toml").read_text("utf-8")


def read_plan(path: Path, report: Report) -> Plan:
    """Read and check a plan file.

    Parameters
    ----------
    path : Path
        The TOML file; paths in it count from its folder.
    report : Report
        Gains every problem of the file.

    Returns
    -------
    Plan
        Quantities in SI, the unit at the end of each name.

    Raises
    ------
    InputError
        With every problem of the file at once.

    Examples
    --------
    >>> from stovergeo import Report, read_plan, sample_plan_path
    >>> plan = read_plan(sample_plan_path(), Report())
    >>> plan.farm.season > 2020, plan.gather.working_width_m > 1
    (True, True)
    """
    at = Place(f"plan file {path.name}", report)
    text = ""
    try:
        if not path.is_file():
            inside = f" It is a folder; did you mean {path / 'plan.toml'}?" if (path / "plan.toml").is_file() else ""
            raise at.refuse("plan.unreadable", f"There is no regular file at {path}.{inside}")
        if path.stat().st_size > MAX_BYTES:
            raise at.refuse("plan.unreadable", f"It is over 1 MB, far more than a plan file can be.{_odd(path)}")
        # TOML is UTF-8; some editors put a mark before it or write UTF-16
        content = path.read_bytes()
        text = content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
        data = tomllib.loads(text)
    except UnicodeDecodeError as error:
        said = f"It is not text in UTF-8 (byte {error.start:,}).{_odd(path)}"
        cure = "Save it as UTF-8 in your editor; `stovergeo new FOLDER` writes a plan file to start from."
        raise at.refuse("plan.unreadable", said, cure) from None
    except (OSError, tomllib.TOMLDecodeError, RecursionError) as error:
        said = f"{error}.{hint_for(text, str(error))}{_odd(path)}"
        raise at.refuse("plan.unreadable", said, "Correct the file at the place named.") from None
    return plan_from(data, path.resolve().parent, report, at.where)


def _odd(path: Path) -> str:
    """Say that a file's name is none of a plan file."""
    return "" if path.suffix.lower() == ".toml" else f" {path.name} does not look like a plan file, which is a .toml."


def plan_from(data: dict, folder: Path, report: Report, where: str = "plan") -> Plan:
    """Make a plan from nested dictionaries; `folder` is where relative paths start."""
    try:
        plan = Plan.model_validate(data, context={"currency": _currency(data)})
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _report(detail, report, where)
        report.stop_if_refused()
        raise
    plan._folder = folder
    return plan


def _currency(data: dict) -> str:
    """Return the currency that quantities are written in, as far as the plan tells it rightly."""
    farm = data.get("farm")
    sign = farm.get("currency") if isinstance(farm, dict) else None
    try:
        return checked_currency(sign) if isinstance(sign, str) else "$"
    except ValueError:  # it is reported where it stands
        return "$"


def _report(detail: ErrorDetails, report: Report, where: str) -> None:
    key = _cut(".".join(str(part) for part in detail["loc"]), 120)
    place = f"{where}, {key}" if key else where
    if detail["type"] == "extra_forbidden":
        near = nearest(str(detail["loc"][-1]), _known_keys(detail["loc"][:-1]))
        hint = f" Did you mean '{near}'?" if near else ""
        report.add("plan.unknown_key", place, f"No such key is known here.{hint}")
    elif detail["type"] == "missing":
        report.add("plan.missing_key", place, "This key is missing.")
    elif detail["type"] == "literal_error" and isinstance(detail["input"], str):
        known = re.findall(r"'([^']*)'", detail["ctx"]["expected"])  # listed as 'a', 'b' or 'c'
        report.add("plan.bad_value", place, unknown_value(detail["input"], known), f"Use one of: {', '.join(known)}.")
    else:
        plain = said_of(detail["type"], detail["msg"], detail.get("ctx", {}), _attribute_at(detail["loc"]))
        said = _cut(plain, 400)
        report.add("plan.bad_value", place, f"{said[:1].upper()}{said[1:]} (found: {_cut(str(detail['input']), 80)}).")


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[:most]} ..."


def _attribute_at(loc: tuple[int | str, ...]) -> str:
    """Return the name in the code of the key at a place in the plan, which ends in its unit; "" where there is none."""
    model, name = _model_at(loc[:-1]), str(loc[-1]) if loc else ""
    fields = model.model_fields if model else {}
    return next((n for n, f in fields.items() if name in (n, f.alias)), "")


def _known_keys(loc: tuple[int | str, ...]) -> list[str]:
    """Return the keys of the section at a place in the plan."""
    model = _model_at(loc)
    return [f.alias or n for n, f in model.model_fields.items()] if model else []


def _model_at(loc: tuple[int | str, ...]) -> type[BaseModel] | None:
    model: type[BaseModel] | None = Plan
    for part in loc:
        if isinstance(part, int) or model is None:
            continue
        field = next((f for n, f in model.model_fields.items() if part in (n, f.alias)), None)
        model = _section_in(field.annotation) if field else None
    return model


def _section_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in typing.get_args(annotation) if (found := _section_in(part))), None)


#: what the validation library calls a fault -> what to say; {limit} and the like come from its own details
_SAID: Final = {
    "greater_than": "Must be more than {gt}",
    "greater_than_equal": "Must be at least {ge}",
    "less_than": "Must be less than {lt}",
    "less_than_equal": "Must be at most {le}",
    "finite_number": "Must be a finite number",
    "literal_error": "Must be one of {expected}",
    "string_type": "Needs text in quotes",
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float"), "Needs a whole number"),
    "int_parsing_size": "Needs a smaller number",
    **dict.fromkeys(("float_type", "float_parsing"), "Needs a number without quotes"),
    **dict.fromkeys(("bool_type", "bool_parsing"), "Needs true or false"),
    "tuple_type": "Needs a list in square brackets; a section of which there may be several is headed [[...]]",
    **dict.fromkeys(("model_type", "model_attributes_type", "dict_type"), "Needs a section of its own, headed [...]"),
    "too_short": "Needs at least {min_length} entries",
    "too_long": "May have at most {max_length} entries",
}
#: unit at the end of an attribute's name -> as it is written
_UNITS: Final = {"m": "m", "ha": "ha", "mg": "Mg", "s": "s", "kg_m3": "kg/m3", "mg_ha": "Mg/ha"}


def said_of(kind: str, message: str, context: dict[str, Any], attribute: str) -> str:
    """Return what to say of a faulty value, a sentence without its stop.

    Parameters
    ----------
    kind, message, context
        Of the validation library.
    attribute : str
        Name of the field in the code, which ends in its unit.
    """
    words = _SAID.get(kind)
    if words is None:
        return message.removeprefix("Value error, ")
    bounded = kind.startswith(("greater", "less"))
    unit = next((u for end, u in sorted(_UNITS.items(), key=lambda e: -len(e[0])) if attribute.endswith(f"_{end}")), "")
    numbers = {k: f"{v:g}" if isinstance(v, float) else v for k, v in context.items()}
    return words.format(**numbers) + (f" {unit}" if bounded and unit else "")


def hint_for(text: str, message: str) -> str:
    """Return how to mend the line that a TOML parser stopped at, as far as its look tells; "" where it does not."""
    found = re.search(r"at line (\d+)", message)
    if found is None:
        return ""
    lines = text.splitlines()
    number = int(found[1])
    line = lines[number - 1].strip() if number <= len(lines) else ""
    shown = f" Line {number} is: {line[:80]}" if line else ""
    if re.search("[\u201c\u201d\u2018\u2019]", line):
        return f'{shown} - write straight quotes (") in place of the curled ones.'
    if "\\" in line:
        return f"{shown} - in double quotes a backslash means something else: write paths with / instead."
    if re.match(r'["\w.-]+\s*:', line):
        return f"{shown} - a key and its value are joined by = and not by a colon."
    if re.search(r"=\s*\d+,\d", line):
        return f"{shown} - write a decimal point, not a comma."
    if re.match(r"[\"\w.-]+\s*=\s*(?!true\b|false\b)[^\W\d_]", line):
        return f"{shown} - text must stand in quotes."
    if "twice" in message or "overwrite" in message.lower():
        return f"{shown} - this section or key stands in the file once already."
    return shown and f"{shown}."
