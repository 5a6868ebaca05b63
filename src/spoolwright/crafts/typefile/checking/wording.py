"""What a field's validation error means, in the words of a type file."""

from __future__ import annotations

import re
from typing import Any

from spoolwright.crafts.typefile.checking.mistake import choice

_EXPECTED = {
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "date_type": "a date such as 2026-05-14, without quotes",
    "date_from_datetime_inexact": "a date such as 2026-05-14",
    "tuple_type": "a list in square brackets",
    "dict_type": "a table",
}

_NUMBER_RULES = {
    "greater_than": ("gt", "must be greater than"),
    "greater_than_equal": ("ge", "must not be less than"),
    "less_than": ("lt", "must be less than"),
    "less_than_equal": ("le", "must not be greater than"),
}


def explain(error: Any, found: str) -> tuple[str, str]:
    """What is wrong, and how to mend it where that differs from giving the field anew."""
    kind, context = error["type"], error.get("ctx") or {}
    if kind in _NUMBER_RULES:
        key, rule = _NUMBER_RULES[kind]
        return f"{found} {rule} {context[key]:g}.", ""
    if kind == "literal_error":
        words = re.findall(r"'([^']*)'", context["expected"])
        return f"{found} is not one of the words allowed here.", choice(str(error["input"]), words, "words")
    if kind == "string_pattern_mismatch":
        return (
            f"{found} cannot be an id.",
            "An id starts with a small letter and goes on with small letters, digits and underscores.",
        )
    if kind in ("too_short", "missing", "too_long"):
        return f"{found} has the wrong number of elements.", ""
    if kind in ("string_too_short", "string_too_long"):
        return f"{found} is {'empty' if kind == 'string_too_short' else 'too long'}.", ""
    expected = _EXPECTED.get(kind)
    if expected:
        return f"expected {expected}, found {found}.", ""
    return f"{found}: {error['msg']}.", ""
