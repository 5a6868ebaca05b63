"""Figures as they stand on a card, and exact arithmetic with them.

A figure stays the text that was entered: `1234.5`, or hours and minutes `1234:30`. Sums are fractions, so
nothing is lost between two lines. Hours in decimals and in minutes can be added to each other only as closely
as the decimals were written; `slack` says how closely.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from typing import Annotated

from pydantic import Field

from spoolwright.errors import InputError

Figure = Annotated[str, Field(pattern=r"^(\d{1,9}(\.\d{1,6})?|\d{1,9}:[0-5]\d)?$")]
"""A count or hours as written on the card; empty where the card says nothing."""

_CLOCK = re.compile(r"(\d{1,9}):([0-5]\d)")
_DECIMAL = re.compile(r"(\d{1,9})(\.(\d{1,6}))?")


def exact(text: str, where: str = "") -> Fraction | None:
    """The value of a figure; None where nothing is written.

    Raises
    ------
    InputError
        The text is no figure.
    """
    plain = text.strip()
    if not plain:
        return None
    value = _value(plain)
    if value is None:
        raise InputError(
            f"'{plain[:40]}' is no figure.",
            where=where,
            mend="Write 1234.5, or hours and minutes as 1234:30.",
        )
    return value


@lru_cache(maxsize=50_000)
def _value(plain: str) -> Fraction | None:
    if clock := _CLOCK.fullmatch(plain):
        return Fraction(60 * int(clock[1]) + int(clock[2]), 60)
    return Fraction(plain) if _DECIMAL.fullmatch(plain) else None


def slack(figures: Iterable[str]) -> Fraction:
    """How far a sum of these figures may be off for rounding: nothing, unless minutes meet decimals."""
    written = [f.strip() for f in figures if f.strip()]
    if not any(":" in f for f in written):
        return Fraction(0)
    decimals = [d[3] or "" for f in written if (d := _DECIMAL.fullmatch(f))]
    return sum((Fraction(1, 2 * 10 ** len(d)) for d in decimals), Fraction(0))


def shown(value: Fraction | None) -> str:
    """A sum as a text: in decimals where it ends, in hours and minutes where it does so there."""
    if value is None:
        return "unknown"
    sign, size, parts = ("−" if value < 0 else ""), abs(value.numerator), value.denominator
    for places in range(7):
        if 10**places % parts == 0:
            whole, part = divmod(size * 10**places // parts, 10**places)
            return f"{sign}{whole:,}" + (f".{part:0{places}d}" if places else "")
    if 60 % parts == 0:
        hours, minutes = divmod(size * 60 // parts, 60)
        return f"{sign}{hours:,}:{minutes:02d}"
    return f"{sign}{size / parts:,.4f} (rounded)"
