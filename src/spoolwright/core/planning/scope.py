"""The work scope of a visit: what is kept, repaired, replaced, exchanged, and what each choice gives up."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.planning.scope_case import Bounds, Scope, ScopeCase, WorkOption, scope_of
from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
_ROW_SCALE = 1.0
"""Rows are brought to this size, which the solver keeps to 1e-6: values closer than that count as equal."""
_EXACT = 1e-8


def best_scope(case: ScopeCase, first: str = "cost", bounds: Bounds | None = None) -> Scope | None:
    """The best scope in one aim, and among those of the same in the others, cost first.

    Parameters
    ----------
    case : ScopeCase
        Options, openings, margins [-].
    first : str
        `cost`, `days`, `margin` or `life` [-].
    bounds : Bounds, optional
        What it must keep [-].

    Returns
    -------
    Scope or None
        No other scope is better in one aim and no worse in the rest; none: the bounds leave no choice [-].

    Notes
    -----
    Mixed-integer programmes (HiGHS), one aim after the other, each held at its best while the next is sought.
    A scope within the bounds that is best in this order is dominated by none, within the bounds or outside.
    Options are taken as independent in cost and hours, effects on margins as additive: right for small ones.

    References
    ----------
    Y. Y. Haimes, L. S. Lasdon, D. A. Wismer, IEEE Trans. Syst. Man Cybern. 1 (1971) 296-297 (bounds on aims).
    """
    _check(case)
    programme = _Programme(case)
    order = [first, *(a for a in _AIMS if a != first)]
    held: dict[str, float] = {}
    chosen = None
    for aim in order:
        found = programme.solve(aim, bounds or Bounds(), held)
        if found is None:
            break
        chosen = found
        held[aim] = scope_of(case, chosen).aims[_AIMS.index(aim)]
    return None if chosen is None else scope_of(case, chosen)


def alternatives(
    case: ScopeCase, bounds: Bounds | None = None, *, most: int = 7, levels: int = 3
) -> list[Scope]:
    """A small set of scopes that lie far apart, none of them dominated by any scope there is.

    Parameters
    ----------
    case : ScopeCase
        Options, openings, margins [-].
    bounds : Bounds, optional
        What each must keep [-].
    most : int
        How many, four or more [-].
    levels : int
        Steps between the best and the cheapest in each aim [-].

    Returns
    -------
    list of Scope
        Cheapest first [-].

    Raises
    ------
    RangeError
        No scope keeps the bounds.

    Notes
    -----
    The best in each aim, and the cheapest at levels between; of those the ones that are farthest from each
    other, each aim over its own range.
    """
    asked = bounds or Bounds()
    ends = [best_scope(case, aim, asked) for aim in _AIMS]
    if any(e is None for e in ends):
        raise RangeError("no scope keeps what was asked.", mend="Ask for less life or margin, or more days.")
    corners = [e for e in ends if e is not None]
    found = {s.chosen: s for s in corners}
    for tighter in _between(corners, asked, levels):
        scope = best_scope(case, "cost", tighter)
        if scope is not None:
            found.setdefault(scope.chosen, scope)
    spread = _farthest(list(found.values()), len({s.chosen for s in corners}), most)
    return sorted(spread, key=lambda s: s.aims)


_AIMS = ("cost", "days", "margin", "life")


def _between(corners: list[Scope], asked: Bounds, levels: int) -> Iterator[Bounds]:
    """Bounds at levels between what the cheapest has and the best that can be had."""
    cheapest = corners[0]
    for step in range(1, levels + 1):
        share = step / (levels + 1)
        yield replace(asked, days=cheapest.days + share * (corners[1].days - cheapest.days))
        yield replace(asked, margin=cheapest.margin + share * (corners[2].margin - cheapest.margin))
        if math.isfinite(corners[3].life):
            yield replace(asked, life=cheapest.life + share * (corners[3].life - cheapest.life))


def _farthest(scopes: list[Scope], corners: int, most: int) -> list[Scope]:
    """The corners, then always the one that lies farthest from those taken."""
    aims = np.array([[x if math.isfinite(x) else 0.0 for x in s.aims] for s in scopes])
    low, high = aims.min(axis=0), aims.max(axis=0)
    at = (aims - low) / np.where(high > low, high - low, 1.0)
    taken = list(range(min(corners, most)))
    while len(taken) < min(most, len(scopes)):
        gap = np.min(np.abs(at[:, None, :] - at[None, taken, :]).sum(axis=2), axis=1)
        taken.append(int(np.argmax(gap)))
    return [scopes[i] for i in taken]


def _check(case: ScopeCase) -> None:
    if not case.items or any(not options for options in case.items) or not case.hours_a_day > 0.0:
        raise RangeError(
            "a scope needs items, each with an option, and bench hours a day.",
            mend="Say for each part what may be done about it.",
        )
    for o in (o for options in case.items for o in options):
        if not all(map(math.isfinite, (o.cost, o.hours, o.wait))) or min(o.cost, o.hours, o.wait) < 0.0:
            raise RangeError("an option has no finite cost, hours or wait.", mend="Enter them.")
        if any(c >= len(case.changes) for c in o.changes) or any(m >= len(case.openings) for m in o.opens):
            raise RangeError("an option names a change or module that the case does not hold.")
    if any(len(c) != len(case.margins) for c in case.changes):
        raise RangeError(f"a change does not speak of all {len(case.margins)} margins.")


@dataclass
class _Programme:
    """The programme's columns: options, modules, changes, longest wait, least margin, least life.

    Wait and life are told as shares of the longest, so that every column is of the same size.
    """

    case: ScopeCase
    rows: list[FloatArray] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        flat = [(i, o) for i, options in enumerate(self.case.items) for o in options]
        self.count, self.change = len(flat), len(flat) + len(self.case.openings)
        self.wait, self.margin, self.life = (self.change + len(self.case.changes) + k for k in range(3))
        self.size = self.life + 1
        lives = [o.life for _, o in flat if math.isfinite(o.life)]
        self.endless = max(lives, default=0.0) + 1.0
        self.owner = np.array([i for i, _ in flat])
        self.lives = np.array([min(o.life, self.endless) for _, o in flat])
        self.aim = {
            "cost": self._row([o.cost for _, o in flat], [m.cost for m in self.case.openings]),
            "days": self._row(
                [o.hours / self.case.hours_a_day for _, o in flat],
                [m.hours / self.case.hours_a_day for m in self.case.openings],
            ),
            "margin": np.zeros(self.size),
            "life": np.zeros(self.size),
        }
        self.longest = max(o.wait for _, o in flat) + 1.0
        self.aim["days"][self.wait] = self.longest
        self.aim["margin"][self.margin] = self.aim["life"][self.life] = -1.0
        self._build([o for _, o in flat])

    def _row(self, of_options: list[float], of_modules: list[float]) -> FloatArray:
        row = np.zeros(self.size)
        row[: self.count], row[self.count : self.change] = of_options, of_modules
        return row

    def _add(self, row: FloatArray, low: float, high: float) -> None:
        """A row that is kept between two numbers, brought to one size."""
        scale = _ROW_SCALE / max(float(np.abs(row).max()), 1e-300)
        self.rows.append(row * scale)
        self.low.append(low * scale)
        self.high.append(high * scale)

    def _build(self, options: list[WorkOption]) -> None:
        for i in range(len(self.case.items)):
            mine = np.zeros(self.size)
            mine[: self.count] = self.owner == i
            self._add(mine, 1.0, 1.0)
            waits, lives = mine.copy(), mine.copy()
            waits[: self.count] *= [-o.wait / self.longest for o in options]
            waits[self.wait] = 1.0
            self._add(waits, 0.0, np.inf)
            lives[: self.count] *= self.lives / self.endless
            lives[self.life] = -1.0
            self._add(lives, 0.0, np.inf)
        for n, o in enumerate(options):
            for m in o.opens:
                row = np.zeros(self.size)
                row[self.count + m], row[n] = 1.0, -1.0
                self._add(row, 0.0, np.inf)
        self._build_margins(options)

    def _build_margins(self, options: list[WorkOption]) -> None:
        """A change is made when any option that brings it is chosen, and counts once."""
        for c in range(len(self.case.changes)):
            bringing = np.zeros(self.size)
            bringing[self.change + c] = -1.0
            for n in (n for n, o in enumerate(options) if c in o.changes):
                bringing[n] = 1.0
                row = np.zeros(self.size)
                row[self.change + c], row[n] = 1.0, -1.0
                self._add(row, 0.0, np.inf)
            self._add(bringing, 0.0, np.inf)
        for k, margin in enumerate(self.case.margins or (0.0,)):
            row = np.zeros(self.size)
            row[self.change : self.wait] = [effects[k] for effects in self.case.changes]
            row[self.margin] = -1.0
            self._add(row, -margin, np.inf)

    def _margins(self) -> tuple[float, float]:
        """No margin lies above or below these: the solver is surer of a bounded programme."""
        margins = self.case.margins or (0.0,)
        up = [sum((max(c[k], 0.0) for c in self.case.changes), m) for k, m in enumerate(margins)]
        down = [sum((min(c[k], 0.0) for c in self.case.changes), m) for k, m in enumerate(margins)]
        return min(down) - 1.0, min(up) + 1.0

    def solve(self, aim: str, bounds: Bounds, held: dict[str, float]) -> tuple[int, ...] | None:
        """The choice that is best in an aim within bounds, the aims sought before held at their best."""
        from scipy.optimize import Bounds as Box
        from scipy.optimize import LinearConstraint, milp

        kept = len(self.rows)
        for name, most in {"cost": bounds.cost, "days": bounds.days, "margin": -bounds.margin}.items():
            most = min(most, held.get(name, math.inf))
            if math.isfinite(most):
                self._add(self.aim[name], -np.inf, most + _EXACT * abs(most))
        integral = np.zeros(self.size)
        integral[: self.count] = 1
        floor, top = np.zeros(self.size), np.ones(self.size)
        floor[self.margin], top[self.margin] = self._margins()
        least = min(max(bounds.life, -held.get("life", math.inf)), self.endless)
        top[: self.count][self.lives < least] = 0.0
        scale = _ROW_SCALE / max(float(np.abs(self.aim[aim]).max()), 1e-300)
        found = milp(
            self.aim[aim] * scale,
            constraints=LinearConstraint(np.array(self.rows), np.array(self.low), np.array(self.high)),
            integrality=integral,
            bounds=Box(floor, top),
            options={"mip_rel_gap": 0.0},
        )
        del self.rows[kept:], self.low[kept:], self.high[kept:]
        if found.x is None:
            return None
        x = found.x[: self.count]
        return tuple(int(np.argmax(x[self.owner == i])) for i in range(len(self.case.items)))
