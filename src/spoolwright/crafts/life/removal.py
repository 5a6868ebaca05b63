"""The next forced removal: which part of a build reaches a limit first, at the rate the operator states."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from spoolwright.crafts.life.calc import cycles_used, months_left
from spoolwright.crafts.life.exchange import Exchange, rates_of
from spoolwright.crafts.life.figure import exact, shown
from spoolwright.crafts.life.model import RateStated
from spoolwright.crafts.life.rules import Against, Standing

DAYS_A_MONTH = Fraction(146097, 4800)
"""Mean month of the Gregorian calendar: 146,097 days in 400 years."""


@dataclass(frozen=True)
class Due:
    """When a part reaches a limit, at the stated rate. `months` is None where nothing tells it."""

    standing: Standing
    against: Against
    per_month: Fraction | None
    months: Fraction | None
    on: date | None
    hours: Fraction | None

    @property
    def how(self) -> str:
        """The arithmetic in words."""
        if self.against.left is None or self.per_month is None or self.months is None:
            return "not computed"
        return (
            f"{shown(self.against.left)} {self.against.limit.measure} ÷ {shown(self.per_month)} a month "
            f"= {float(self.months):.1f} months"
        )


@dataclass(frozen=True)
class NextRemoval:
    """Parts of a build, soonest first; those that cannot be told stand first of all, by serial."""

    unproven: tuple[Standing, ...]
    due: tuple[Due, ...]
    rate: RateStated | None

    @property
    def first(self) -> Due | None:
        return self.due[0] if self.due else None


def next_forced_removal(
    standings: Sequence[Standing], rate: RateStated | None, exchange: Exchange, on: date
) -> NextRemoval:
    """Every limit of every proven part, soonest first.

    Without a rate the order is by the share of the limit that is left.
    """
    proven = [s for s in standings if s.ledger.proven and s.limits]
    unproven = tuple(s for s in standings if not (s.ledger.proven and s.limits))
    due = [_due(s, a, rate, exchange, on) for s in proven for a in s.limits]
    return NextRemoval(unproven, tuple(sorted(due, key=_order)), rate)


def _order(due: Due) -> tuple[bool, Fraction]:
    left = due.against.left or Fraction(0)
    if due.months is None:
        return True, left / Fraction(due.against.limit.limit)
    return False, due.months


def _due(standing: Standing, against: Against, rate: RateStated | None, exchange: Exchange, on: date) -> Due:
    per_month = _per_month(standing, against, rate, exchange, on) if rate else None
    if per_month is None or against.left is None:
        return Due(standing, against, None, None, None, None)
    months = months_left(against.left, per_month)
    if months is None:
        return Due(standing, against, per_month, None, None, None)
    hours_a_month = exact(rate.hours_per_month) if rate else None
    return Due(
        standing,
        against,
        per_month,
        months,
        _after(on, months),
        months * hours_a_month if hours_a_month is not None else None,
    )


def _after(on: date, months: Fraction) -> date | None:
    """The day, rounded down: nothing is due later than it says. None beyond the calendar."""
    try:
        return on + timedelta(math.floor(months * DAYS_A_MONTH))
    except OverflowError:
        return None


def _per_month(
    standing: Standing, against: Against, rate: RateStated, exchange: Exchange, on: date
) -> Fraction | None:
    if against.limit.measure == "hours":
        return exact(rate.hours_per_month)
    flown = {k: n for k, text in rate.flown_per_month.items() if (n := exact(text)) is not None}
    if against.limit.measure == "starts":
        return sum((n for k, n in flown.items() if k in exchange.starts), Fraction(0))
    table = exchange.in_force(standing.part_number, on)
    rates = rates_of(table, rate.operating_class) if table else None
    if rates is None or not flown.keys() <= rates.keys():
        return None
    return cycles_used(flown, rates)
