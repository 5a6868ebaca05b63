"""What a reading is worth against a limit, in exact arithmetic, and its value in the other unit system."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from spoolwright.errors import InputError
from spoolwright.units import Unit, unit_named

NAME, VERSION = "card_reading", "1"

_COUNTERPART = {
    "mm": "in", "in": "mm", "um": "mil", "mil": "um", "m": "ft", "ft": "m",
    "N m": "lbf in", "lbf in": "N m", "lbf ft": "N m",
    "degC": "degF", "degF": "degC", "kPag": "psig", "psig": "kPag", "barg": "psig",
    "kPa": "psia", "psia": "kPa", "bar": "psia",
    "mm2": "in2", "in2": "mm2", "kg": "lb", "lb": "kg", "L": "US qt", "US qt": "L",
    "kW": "hp", "hp": "kW", "mm/s": "in/s", "in/s": "mm/s",
}  # fmt: skip

_PLAIN = re.compile(r"[+-]?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})", re.ASCII)


def read_value(entered: str) -> Fraction:
    """The number that a person wrote, exactly as written.

    Parameters
    ----------
    entered : str
        Decimal number with a point, in whatever unit is named beside it [-].

    Returns
    -------
    Fraction
        The same number, exact [-].

    Raises
    ------
    InputError
        It is no plain decimal number. A comma is refused: it may mean a decimal or a thousand.

    Examples
    --------
    >>> read_value("0.35")
    Fraction(7, 20)
    """
    text = entered.strip()
    if "," in text:
        raise InputError(
            f"'{text}' holds a comma, which may mean a decimal or a thousand.", mend="Write a point."
        )
    if not _PLAIN.fullmatch(text):
        raise InputError(f"'{text[:40]}' is not a number.", mend="Write digits and at most one point.")
    return Fraction(text)


def _exact(figure: float) -> Fraction:
    """The fraction that a unit's factor stands for: 5/9 for a degree Fahrenheit, 127/5000 for an inch."""
    simple = Fraction(figure).limit_denominator(1000)
    return simple if float(simple) == figure else Fraction(str(figure))


def _inner(value: Fraction, unit: Unit) -> Fraction:
    return value * _exact(unit.factor) + _exact(unit.offset)


def converted(entered: str, unit: str, wanted: str) -> float:
    """A written value in another unit of the same dimension.

    Parameters
    ----------
    entered : str
        The value as written, in `unit` [-].
    unit : str
        Name of its unit [-].
    wanted : str
        Name of the unit asked for [-].

    Returns
    -------
    float
        The value, in `wanted` [-].

    Raises
    ------
    InputError
        The two units measure different things.

    Examples
    --------
    >>> converted("0.5", "in", "mm")
    12.7
    """
    given, other = unit_named(unit), unit_named(wanted)
    if given.dimension != other.dimension:
        raise InputError(
            f"'{unit}' is a unit of {given.dimension}; the limit is a {other.dimension} in {wanted}.",
            mend=f"Give the value in {wanted} or another unit of {other.dimension}.",
        )
    inner = _inner(read_value(entered), given)
    return float((inner - _exact(other.offset)) / _exact(other.factor))


def counterpart(unit: str) -> str:
    """The unit of the other system in which a value is shown beside.

    Parameters
    ----------
    unit : str
        Name of a unit [-].

    Returns
    -------
    str
        Name of the other unit; empty where both systems use the same [-].
    """
    return _COUNTERPART.get(unit_named(unit).name, "")


def judge_entered(
    entered: str, unit: str, least: float | None, most: float | None, limit_unit: str
) -> dict[str, Any]:
    """Whether a written value lies within its limits; both ends belong to them.

    Parameters
    ----------
    entered : str
        The value as written, in `unit` [-].
    unit : str
        Name of its unit [-].
    least : float or None
        Lower limit, in `limit_unit` [-].
    most : float or None
        Upper limit, in `limit_unit` [-].
    limit_unit : str
        Name of the limits' unit [-].

    Returns
    -------
    dict of str
        `verdict` (meets, does not meet, no limit) and the value in the limits' unit [-].

    Raises
    ------
    InputError
        The value is no number, or its unit measures something else.

    Notes
    -----
    Values are compared as exact fractions, so that 300 um meets a least value of 0.3 mm.
    """
    value = converted(entered, unit, limit_unit)
    exact, own = _inner(read_value(entered), unit_named(unit)), unit_named(limit_unit)
    if least is None and most is None:
        verdict = "no limit"
    else:
        low = least is not None and exact < _inner(Fraction(str(least)), own)
        high = most is not None and exact > _inner(Fraction(str(most)), own)
        verdict = "does not meet" if low or high else "meets"
    return {"verdict": verdict, "value": value}


def recompute_reading(inputs: dict[str, Any], _read: Callable[[str], bytes]) -> dict[str, Any]:
    """The stored calculation of a reading, run again.

    Parameters
    ----------
    inputs : dict of str
        The arguments of `judge_entered` by name [-].
    _read : callable
        Reader of attachments; this calculation has none [-].

    Returns
    -------
    dict of str
        As `judge_entered` gives it [-].
    """
    return judge_entered(**inputs)
