"""What is wrong with a plan file, in words of whoever wrote it rather than of the library that read it."""

from __future__ import annotations

import re
from typing import Any, Final

#: what the validation library calls a fault -> what to say; {limit} and the like come from its own details
_SAID: Final = {
    "greater_than": "Must be more than {gt}",
    "greater_than_equal": "Must be at least {ge}",
    "less_than": "Must be less than {lt}",
    "less_than_equal": "Must be at most {le}",
    "finite_number": "Must be a finite number",
    "literal_error": "Must be one of {expected}",
    "string_type": "Needs text in quotes",
    "int_type": "Needs a whole number",
    "int_parsing": "Needs a whole number",
    "int_from_float": "Needs a whole number",
    "int_parsing_size": "Needs a smaller number",
    "float_type": "Needs a number without quotes",
    "float_parsing": "Needs a number without quotes",
    "bool_type": "Needs true or false",
    "bool_parsing": "Needs true or false",
    "tuple_type": "Needs a list in square brackets; a section of which there may be several is headed [[...]]",
    "model_type": "Needs a section of its own, headed [...]",
    "model_attributes_type": "Needs a section of its own, headed [...]",
    "dict_type": "Needs a section of its own, headed [...]",
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


def literals_in(expected: str) -> list[str]:
    """Return the values that the validation library lists as ``'a', 'b' or 'c'``."""
    return re.findall(r"'([^']*)'", expected)


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
