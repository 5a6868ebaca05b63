"""Engines of the shop's history that share a confirmed cause: the same lot, gauge, balancer, calibration
period."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.crafts.testcell.diagnosis.model import Sister
from spoolwright.crafts.typefile.checking.mistake import choice
from spoolwright.errors import InputError

MODULES = (
    "compressor",
    "combustor",
    "gas_generator_turbine",
    "power_turbine",
    "exhaust",
    "gearbox",
    "accessories",
)
"""A column whose name begins with one of these belongs to that module."""
_OF_MODULES = ("lot", "gauge", "balancer")
"""Words in the names of columns through which something wrong in a module can reach other engines."""
_OF_READINGS = ("cell",)
"""The same for wrong readings and for what the bench does to the engine."""


@dataclass(frozen=True)
class Used:
    """A part lot, gauge, balancer, cell … that went into an engine.

    Parameters
    ----------
    name : which one
    calibrated_on : its last calibration before it was used; None where it has none or nobody wrote it down
    """

    name: str
    calibrated_on: date | None = None


@dataclass(frozen=True)
class Visit:
    """One engine's visit to the shop.

    Parameters
    ----------
    engine, visit : serial number and name of the visit
    released_on : when it was released; None while it is in the shop
    measured_on : when gauges, balancer and cell were used on it; None where nobody wrote it down
    used : by column, what it shares with others; a column that was left empty is absent
    """

    engine: str
    visit: str
    released_on: date | None
    measured_on: date | None
    used: Mapping[str, tuple[Used, ...]]


@dataclass(frozen=True)
class ShopHistory:
    """Visits of the shop's engines.

    Parameters
    ----------
    visits : in the order of the table
    columns : what engines can share, in the order of the table
    """

    visits: tuple[Visit, ...]
    columns: tuple[str, ...]

    def last_visit(self, engine: str) -> Visit:
        """The last visit of an engine: the one still in the shop, else the one released last.

        Raises
        ------
        InputError
            The engine is not in the history.
        """
        own = [v for v in self.visits if v.engine == engine]
        if not own:
            raise InputError(
                f"engine '{engine}' is not in the shop history.",
                mend=choice(engine, {v.engine for v in self.visits}, "engines"),
            )
        return max(reversed(own), key=lambda v: v.released_on or date.max)


def columns_for(cause: Cause, history: ShopHistory) -> tuple[str, ...]:
    """Columns through which a cause can reach other engines.

    Lots, gauges and balancers for something wrong in a module, those of other modules left out; the cell for
    a wrong reading and for the exhaust, which the cell's duct is part of.
    """
    out = []
    for column in history.columns:
        words = column.split("_")
        others = [m for m in MODULES if column.startswith(f"{m}_") and m != cause.module]
        of_cell = any(w in words for w in _OF_READINGS)
        of_module = any(w in words for w in _OF_MODULES) and not others
        if (of_cell and (cause.kind == "reading" or cause.module == "exhaust")) or (
            of_module and cause.kind == "module"
        ):
            out.append(column)
    return tuple(out)


def sisters_of(cause: Cause, engine: str, history: ShopHistory) -> tuple[Sister, ...]:
    """Engines that share with an engine what a confirmed cause can come from, newest first.

    Raises
    ------
    InputError
        The engine is not in the history.
    """
    return sharing(history.last_visit(engine), history, dict.fromkeys(columns_for(cause, history)))


def sharing(own: Visit, history: ShopHistory, shared: Mapping[str, str | None]) -> tuple[Sister, ...]:
    """Engines that share given columns with a visit, newest first; those still in the shop before all others.

    Parameters
    ----------
    own : the visit in which the cause was confirmed
    history : where to look
    shared : column to the lot, gauge … that is confirmed; None for all that the visit has in that column

    Notes
    -----
    Something that is calibrated is shared only by engines on which it was used since the last good
    calibration before it was used on this engine, and before the next one. Where a date is missing, an engine
    that cannot be ruled out is listed.
    """
    found = []
    for other in history.visits:
        if other.engine == own.engine:
            continue
        what = [t for column, name in shared.items() for t in _shared(own, other, column, name, history)]
        if what:
            found.append((other, tuple(what)))
    found.sort(key=lambda f: f[0].released_on or date.max, reverse=True)
    return tuple(_sister(v, what) for v, what in found)


def not_recorded(own: Visit, history: ShopHistory, columns: Sequence[str]) -> tuple[str, ...]:
    """Engines for which one of the columns was left empty: sharing cannot be ruled out."""
    empty = [
        v.engine for v in history.visits if v.engine != own.engine and any(c not in v.used for c in columns)
    ]
    return tuple(dict.fromkeys(empty))


def _sister(v: Visit, what: tuple[str, ...]) -> Sister:
    released = f"released {v.released_on}" if v.released_on else "still in the shop"
    visit = f", visit {v.visit}" if v.visit else ""
    return Sister(
        engine=v.engine,
        released_on=str(v.released_on) if v.released_on else "",
        shares=what,
        text=f"Engine {v.engine}{visit}, {released}: shares {'; '.join(what)}.",
    )


def _shared(own: Visit, other: Visit, column: str, name: str | None, history: ShopHistory) -> Iterator[str]:
    """What another engine shares in a column, in words."""
    mine = {u.name: u for u in own.used.get(column, ())}
    wanted = mine if name is None else {name: mine.get(name, Used(name))}
    for used in other.used.get(column, ()):
        if used.name in wanted:
            told = f"{column.replace('_', ' ')} {used.name}"
            period = _period(own, wanted[used.name], column, history)
            if period is None:
                yield told
            elif _within(other, used, period):
                yield told + _period_words(period, other)


@dataclass(frozen=True)
class _Period:
    """Between two calibrations; open where none is known."""

    first: date | None
    next: date | None


def _period(own: Visit, mine: Used, column: str, history: ShopHistory) -> _Period | None:
    """The calibration period in which something was used on an engine; None where it is never calibrated."""
    known = {
        u.calibrated_on
        for v in history.visits
        for u in v.used.get(column, ())
        if u.name == mine.name and u.calibrated_on is not None
    }
    if not known:
        return None
    used_on = own.measured_on or own.released_on
    first = mine.calibrated_on
    if first is None and used_on is not None:
        first = max((d for d in known if d <= used_on), default=None)
    after = used_on or first
    following = min((d for d in known if after is not None and d > after), default=None)
    return _Period(first, following)


def _within(other: Visit, used: Used, period: _Period) -> bool:
    """Whether something may have been used on an engine within a period. The days of calibration count as
    within."""
    if period.next is not None and used.calibrated_on is not None and used.calibrated_on >= period.next:
        return False
    earliest = other.measured_on or used.calibrated_on
    latest = other.measured_on or other.released_on
    if period.first is not None and latest is not None and latest < period.first:
        return False
    if period.next is None or used.calibrated_on is not None:
        return True
    return earliest is None or earliest <= period.next


def _period_words(period: _Period, other: Visit) -> str:
    if period.first is None:
        words = f", used before its calibration of {period.next}" if period.next else ""
    elif period.next is None:
        words = f", used since its calibration of {period.first}"
    else:
        words = f", used between its calibrations of {period.first} and {period.next}"
    return words + ("" if other.measured_on else " (day of use not recorded)")
