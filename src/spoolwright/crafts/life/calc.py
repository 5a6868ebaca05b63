"""Exact arithmetic of lives."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction


def cycles_used(flown: Mapping[str, Fraction], rates: Mapping[str, Fraction]) -> Fraction:
    """Full cycles that the flown cycles of each kind use up, by the manual's exchange rates.

    Parameters
    ----------
    flown : mapping
        Number flown of each kind of cycle [cycles].
    rates : mapping
        Full cycles for one cycle of each kind [-].

    Returns
    -------
    Fraction
        Sum over the kinds of number by rate, exact [cycles].

    Raises
    ------
    KeyError
        A kind has no rate.

    Examples
    --------
    >>> cycles_used({"full": Fraction(412), "partial": Fraction(98)},
    ...             {"full": Fraction(1), "partial": Fraction("0.3")})
    Fraction(2207, 5)
    """
    return sum((n * rates[kind] for kind, n in flown.items()), Fraction(0))


def months_left(left: Fraction, per_month: Fraction) -> Fraction | None:
    """How long what is left of a limit lasts at a steady rate.

    Parameters
    ----------
    left : Fraction
        Limit less used; negative when the limit is passed [hours or cycles].
    per_month : Fraction
        Use in a month, in the same measure [hours or cycles per month].

    Returns
    -------
    Fraction or None
        Months; negative when the limit is passed, None when nothing is used [month].

    Examples
    --------
    >>> months_left(Fraction(90), Fraction(60))
    Fraction(3, 2)
    """
    return left / per_month if per_month > 0 else None
