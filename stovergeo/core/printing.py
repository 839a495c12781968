"""The one place where values become text: convert, then round, then print.

`KINDS` says what a kind of quantity is in SI; each unit system of ``unit_systems.toml`` says how it is printed.
"""

from __future__ import annotations

import math
import tomllib
from calendar import month_name
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from stovergeo.core.messages import Field, Message, Reader, is_date, is_text
from stovergeo.core.units import Quantity, per_si_unit

#: text whose quantities differ by unit system: plain strings, and one string for each system by its name
Parts = list[str | dict[str, str]]
UNKNOWN: Final = "not known"
_CURRENCY: ContextVar[str] = ContextVar("currency", default="$")
_ELSEWHERE: ContextVar[bool] = ContextVar("elsewhere", default=False)
#: for a reader whose units are not known yet: a quantity as it was given, or in US units with metric in brackets
BOTH: Final = "both"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its SI unit, and the ending of columns that hold it."""

    si_unit: str
    column: str = ""
    dimension: str = ""  #: of `stovergeo.core.units`; "" where every system prints it alike


@dataclass(frozen=True, slots=True)
class Printed:
    """How a kind is printed in one system: SI value x factor + offset, rounded, with its unit."""

    factor: float
    unit: str
    decimals: int
    label: str
    one: str
    offset: float = 0.0
    column: str = ""
    trimmed: bool = False  #: without the zeros at its end


#: kinds that every system prints alike
_SAME: Final = {
    "count": ("", Printed(1, "", 0, "", "")),
    "plain": ("", Printed(1, "", 2, "", "", trimmed=True)),
    "number1": ("", Printed(1, "", 1, "", "")),
    "number2": ("", Printed(1, "", 2, "", "")),
    "degrees": ("", Printed(1, "", 5, "", "")),
    "percent": ("_pct", Printed(1, "%", 0, "%", "%")),
    "percent1": ("_pct", Printed(1, "%", 1, "%", "%")),
    "fraction": ("_fraction", Printed(100, "%", 0, "%", "%")),
    "fraction1": ("_fraction", Printed(100, "%", 1, "%", "%")),
    "money": ("", Printed(1, "$", 0, "$", "$")),
    "money2": ("", Printed(1, "$", 2, "$", "$")),
}
KINDS: Final[dict[str, Kind]] = {
    **{name: Kind("1", column) for name, (column, _) in _SAME.items()},
    "area": Kind("ha", "_ha", "area"),
    "area2": Kind("ha", "_ha", "area"),
    "mass": Kind("Mg", "_mg", "mass"),
    "mass1": Kind("Mg", "_mg", "mass"),
    "rate": Kind("Mg/ha", "_mg_ha", "mass per area"),
    "grain": Kind("Mg/ha", "_mg_ha", "grain per area"),
    "bale_mass": Kind("kg", "_kg", "mass"),
    "nutrient_rate": Kind("kg/ha", "_kg_ha", "mass per area"),
    "content": Kind("kg/Mg", "_kg_mg", "mass per mass"),
    "density": Kind("kg/m3", "_kg_m3", "density"),
    "length": Kind("m", "_m", "length"),
    "length1": Kind("m", "_m", "length"),
    "depth": Kind("m", "_m", "length"),
    "road": Kind("km", "_km", "length"),
    "per_mass": Kind("$/Mg", "_per_mg", "money per mass"),
    "per_area": Kind("$/ha", "_per_ha", "money per area"),
    "temperature": Kind("°C", "_c", "temperature"),
    "erosivity": Kind("MJ mm/(ha h yr)", "", "rainfall erosivity"),
    "erodibility": Kind("Mg ha h/(ha MJ mm)", "", "soil erodibility"),
    "soil_loss": Kind("Mg/ha/yr", "", "soil loss"),
}


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """One way to print every kind of quantity."""

    title: str
    kinds: dict[str, Printed]


def read_unit_system(table: dict[str, Any]) -> UnitSystem:
    """Return a unit system from its table in ``unit_systems.toml``.

    Raises
    ------
    ValueError
        When a kind is missing or unknown, or a unit does not belong to its kind.
    """
    given = table["kinds"]
    wanted = {name for name, kind in KINDS.items() if kind.dimension}
    if given.keys() != wanted:
        raise ValueError(f"unit system {table['title']!r} lacks or does not know {sorted(given.keys() ^ wanted)}")
    kinds = {name: printed for name, (_, printed) in _SAME.items()}
    for name, how in given.items():
        kind, unit = KINDS[name], how["unit"]
        factor, offset = per_si_unit(kind.si_unit, unit, kind.dimension)
        label = how.get("label", unit)
        kinds[name] = Printed(
            factor, unit, how["decimals"], label, how.get("one", label), offset, how.get("column", "")
        )
    return UnitSystem(table["title"], kinds)


def _shipped() -> dict[str, UnitSystem]:
    table = tomllib.loads(files("stovergeo.core").joinpath("unit_systems.toml").read_text("utf-8"))
    return {name: read_unit_system(entry) for name, entry in table.items()}


#: every unit system by the name a plan file gives it
UNIT_SYSTEMS: Final = _shipped()


def how_printed(kind: str, system: str) -> Printed:
    """Return how a kind of quantity is printed in a unit system."""
    return UNIT_SYSTEMS[system].kinds[kind]


def number(kind: str, value: float, system: str) -> str:
    """Return the number alone, converted, rounded and with its thousands marked; "not known" unless finite."""
    if not math.isfinite(value):
        return UNKNOWN
    if isinstance(value, Quantity) and (own := value.printed.get(system)) is not None:
        return own
    how = how_printed(kind, system)
    text = f"{value * how.factor + how.offset:,.{how.decimals}f}"
    if how.trimmed:
        text = text.rstrip("0").rstrip(".")
    return text if text.strip("-0.,") else text.lstrip("-")  # no "-0"


def quantity(kind: str, value: float, system: str) -> str:
    """Return a quantity with its unit: ``250 ft``, ``$12.50/ton``, ``14 %`` as ``14%``.

    A `Quantity` that was given in a unit of this system prints as it was given; one that was given in another
    prints converted, with what was given behind it.
    """
    if system == BOTH:
        if isinstance(value, Quantity) and value.given is not None:
            return quantity(kind, value, "us" if value.unit in _units_of("us") else "metric")
        us, metric = (quantity(kind, value, name) for name in ("us", "metric"))
        return us if us == metric else f"{us} ({metric})"
    how = how_printed(kind, system)
    if isinstance(value, Quantity) and value.given is not None:
        as_given = _as_given(value.given, value.unit, kind, how)
        if value.unit in _units_of(system):
            return as_given
        return f"{_with_unit(number(kind, value, system), how)} ({as_given})"
    return _with_unit(number(kind, value, system), how)


def _as_given(given: float, unit: str, kind: str, how: Printed) -> str:
    text = f"{given:,.10g}"
    if unit.startswith("$"):
        return f"{money_sign()}{text if given == int(given) else f'{given:,.2f}'}{unit[1:]}"
    if unit == how.unit:
        return _with_unit(text, how)
    # the grain of another system's unit counts at another moisture, which its label says
    labels = [other.label for s in UNIT_SYSTEMS.values() if (other := s.kinds[kind]).unit == unit and kind == "grain"]
    return f"{text} {labels[0] if labels else unit}"


def _with_unit(text: str, how: Printed) -> str:
    if text == UNKNOWN or not how.label:
        return text
    if how.label.startswith("$"):
        minus = "-" if text.startswith("-") else ""
        return f"{minus}{money_sign()}{text.removeprefix('-')}{how.label[1:]}"
    if how.label == "%":
        return f"{text}%"
    return f"{text} {how.one if text.strip('-') == '1' else how.label}"


@contextmanager
def printed_in(currency: str, elsewhere: bool = False) -> Iterator[None]:
    """Print money with this sign or code while the block runs; `elsewhere`: outside the United States."""
    before, place = _CURRENCY.set(currency), _ELSEWHERE.set(elsewhere)
    try:
        yield
    finally:
        _CURRENCY.reset(before)
        _ELSEWHERE.reset(place)


def money_sign() -> str:
    """Return what stands before an amount of money: a sign, or a code and a space."""
    sign = _CURRENCY.get()
    return f"{sign} " if sign[-1].isalpha() else sign


def unit_of_money(unit: str) -> str:
    """Return a unit such as "$/Mg" in the currency that is printed."""
    return unit.replace("$", _CURRENCY.get())


@cache
def _units_of(system: str) -> frozenset[str]:
    """Return the units a system prints in, with those of the same family that a plan file may use."""
    families = (frozenset({"ft", "in", "mi", "ac", "lb", "ton", "ton/ac", "lb/ac", "bu/ac"}),)
    printed = {p.unit for p in UNIT_SYSTEMS[system].kinds.values()}
    return frozenset(printed | {u for family in families if family & printed for u in family})


def listing(texts: Sequence[str], word: str = "and") -> str:
    """Return ``a``, ``a and b`` or ``a, b and c``."""
    return f"{', '.join(texts[:-1])} {word} {texts[-1]}" if len(texts) > 1 else "".join(texts)


def render(text: Any, system: str, reader: Reader = "grower") -> str:
    """Return a message, or several one after the other, as text in one unit system, or `BOTH`."""
    return "".join(_pieces(text, system, reader))


def parts(text: Any, reader: Reader = "grower") -> Parts:
    """Return a message as text that a page can show in any unit system."""
    by_system = {name: _pieces(text, name, reader) for name in UNIT_SYSTEMS}
    found: Parts = []
    for pieces in zip(*by_system.values(), strict=True):
        alike = pieces.count(pieces[0]) == len(pieces)
        if not alike:
            found.append(dict(zip(by_system, pieces, strict=True)))
        elif found and isinstance(found[-1], str):
            found[-1] += pieces[0]
        elif pieces[0]:
            found.append(pieces[0])
    return found


def _pieces(text: Any, system: str, reader: Reader) -> list[str]:
    """Return plain text and printed fields in turn: as many, in the same order, for every system."""
    if isinstance(text, str):
        return [text]
    if isinstance(text, Message):
        pieces: list[str] = []
        for part in text.template.parts(reader, _ELSEWHERE.get()):
            if isinstance(part, Field):
                pieces += _field(part, text.values[part.name], system, reader)
            else:
                pieces.append(part)
        return pieces
    if isinstance(text, Iterable):
        pieces = []
        for one in text:
            said = _pieces(one, system, reader)
            pieces += [" ", *said] if pieces and said else said
        return pieces
    raise TypeError(f"a message, or text, is needed, not {type(text).__name__}")


def _field(field: Field, value: Any, system: str, reader: Reader) -> list[str]:
    if field.words is not None:
        return [field.words[value != 1]]
    if field.spec in KINDS:
        return [quantity(field.spec, value, system)]
    if field.spec in ("and", "or"):
        return [listing([render(v, system, reader) for v in value], field.spec)]
    if field.spec in ("capital", "lower"):
        said = render(value, system, reader)
        return [(said[:1].upper() if field.spec == "capital" else said[:1].lower()) + said[1:]]
    if field.spec == "month":
        return [month_name[int(value)]]
    if field.spec:
        raise ValueError(f"no kind of quantity and no way to write text: {field.spec!r}")
    if is_text(value) or value == ():
        return _pieces(value, system, reader)
    if is_date(value):
        return [f"{month_name[value.month]} {value.day}, {value.year}"]
    if isinstance(value, float):
        return [f"{value:,g}"]
    return [f"{value:,}"]
