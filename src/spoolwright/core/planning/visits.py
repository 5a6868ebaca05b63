"""Opportunistic replacement: which parts to replace at which visit, when opening costs too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LifedPart:
    """A part that must not run beyond its life.

    Parameters
    ----------
    module : int
        Number of the module that must be opened to replace it, from 0 [-].
    left : int
        Whole steps that the part fitted now may still run; zero: it must be replaced at step 0 [-].
    life : int
        Whole steps that a new one runs [-].
    cost : float
        Of a replacement, any one unit of money [-].
    """

    module: int
    left: int
    life: int
    cost: float


@dataclass(frozen=True)
class VisitPlan:
    """Replacements and visits over the steps.

    Parameters
    ----------
    replace : ndarray of bool, shape (parts, steps)
        Which part at which step [-].
    opened : ndarray of bool, shape (modules, steps)
        Which module at which step [-].
    visits : ndarray of bool, shape (steps,)
        At which steps the engine comes in [-].
    cost : float
        Of everything [-].
    gap : float
        By how much a cheaper plan could exist at most, relative; zero: proved best [-].
    """

    replace: NDArray[np.bool_]
    opened: NDArray[np.bool_]
    visits: NDArray[np.bool_]
    cost: float
    gap: float


def visit_plan(
    parts: list[LifedPart],
    steps: int,
    opening: FloatArray,
    visit: float,
    *,
    coming_now: bool = False,
    seconds: float = 60.0,
) -> VisitPlan:
    """The cheapest plan under which no part runs beyond its life.

    Parameters
    ----------
    parts : list of LifedPart
        Remaining and new lives in steps, costs [-].
    steps : int
        Horizon; decisions stand at the steps 0 to steps - 1 [-].
    opening : ndarray, shape (modules,)
        Cost of opening each module at a visit [-].
    visit : float
        Cost of a visit [-].
    coming_now : bool
        The engine is in the shop at step 0 whatever is decided: that visit costs nothing more [-].
    seconds : float
        After which the best plan found so far is given with its gap [s].

    Returns
    -------
    VisitPlan
        Replacements, openings, visits, their cost [-].

    Raises
    ------
    RangeError
        A life is not at least one step, or no plan exists.

    Notes
    -----
    Every window of consecutive steps as long as a part's life holds a replacement of it; the first window
    is as long as what is left. A mixed-integer programme, solved by HiGHS. Only the openings need be whole
    numbers: once they stand, each part's windows form an interval matrix, whose best replacements are the
    latest openings within each life; visits follow. Costs are the same at every step.

    References
    ----------
    T. Almgren et al., The opportunistic replacement problem, Math. Methods Oper. Res. 76 (2012) 289-319.
    """
    if not parts or steps < 1 or any(p.life < 1 or p.left < 0 for p in parts):
        raise RangeError("a plan needs parts with lives of at least one step.", mend="Use shorter steps.")
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    n, modules = len(parts), len(opening)
    places = _Places(n, modules, steps)
    rows, columns, values, least = _constraints(parts, places)
    table = coo_array((values, (rows, columns)), shape=(len(least), places.size)).tocsr()
    cost = np.zeros(places.size)
    for i, p in enumerate(parts):
        cost[[places.replace(i, t) for t in range(steps)]] = p.cost
    for m in range(modules):
        cost[[places.open(m, t) for t in range(steps)]] = opening[m]
    cost[[places.visit(t) for t in range(steps)]] = visit
    if coming_now:
        cost[places.visit(0)] = 0.0
    whole = np.zeros(places.size)
    whole[places.open(0, 0) : places.visit(0)] = 1
    found = milp(
        cost,
        constraints=[LinearConstraint(table, np.array(least), np.inf)],
        integrality=whole,
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )
    if found.x is None:
        raise RangeError(
            f"no plan was found in {seconds:g} s.", mend="Use shorter steps, or give it more time."
        )
    opened = found.x[places.open(0, 0) : places.visit(0)].reshape(modules, steps) > 0.5
    replace = _latest(parts, opened)
    opened = _needed(parts, replace, modules)
    visits = np.asarray(np.any(opened, axis=0), dtype=bool)
    total = float(cost @ np.concatenate([replace.ravel(), opened.ravel(), visits]))
    return VisitPlan(replace, opened, visits, total, _gap(total, found.mip_dual_bound))


def _latest(parts: list[LifedPart], opened: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Each part replaced at the last opening of its module within its life: fewest times."""
    steps = opened.shape[1]
    replace = np.zeros((len(parts), steps), dtype=bool)
    for i, p in enumerate(parts):
        began, due = -1, p.left
        while due < steps:
            inside = np.flatnonzero(opened[p.module, began + 1 : due + 1])
            if inside.size == 0:
                raise RangeError("a part would run beyond its life.", mend="Use shorter steps.")
            began = began + 1 + int(inside[-1])
            replace[i, began] = True
            due = began + p.life
    return replace


def _needed(parts: list[LifedPart], replace: NDArray[np.bool_], modules: int) -> NDArray[np.bool_]:
    """The openings at which something is replaced."""
    opened = np.zeros((modules, replace.shape[1]), dtype=bool)
    for p, row in zip(parts, replace, strict=True):
        opened[p.module] |= row
    return opened


def _gap(cost: float, bound: float | None) -> float:
    """Relative distance to the proved bound; what floating point leaves counts as none."""
    if bound is None or not np.isfinite(bound):
        return 1.0
    gap = (cost - bound) / max(abs(cost), 1e-12)
    return gap if gap > 1e-9 else 0.0


@dataclass(frozen=True)
class _Places:
    """Where each choice stands in the programme."""

    parts: int
    modules: int
    steps: int

    @property
    def size(self) -> int:
        return (self.parts + self.modules + 1) * self.steps

    def replace(self, part: int, step: int) -> int:
        return part * self.steps + step

    def open(self, module: int, step: int) -> int:
        return (self.parts + module) * self.steps + step

    def visit(self, step: int) -> int:
        return (self.parts + self.modules) * self.steps + step


def _constraints(
    parts: list[LifedPart], places: _Places
) -> tuple[list[int], list[int], list[float], list[float]]:
    """Rows of the programme: each row's sum is at least its number."""
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    least: list[float] = []

    def add(terms: list[tuple[int, float]], at_least: float) -> None:
        for column, value in terms:
            rows.append(len(least))
            columns.append(column)
            values.append(value)
        least.append(at_least)

    for i, p in enumerate(parts):
        if p.left < places.steps:
            add([(places.replace(i, t), 1.0) for t in range(p.left + 1)], 1.0)
        for start in range(places.steps - p.life):
            add([(places.replace(i, t), 1.0) for t in range(start + 1, start + p.life + 1)], 1.0)
        for t in range(places.steps):
            add([(places.open(p.module, t), 1.0), (places.replace(i, t), -1.0)], 0.0)
    for m in range(places.modules):
        for t in range(places.steps):
            add([(places.visit(t), 1.0), (places.open(m, t), -1.0)], 0.0)
    return rows, columns, values, least
