"""Simulated years: engines whose parts have limits and wear, under one planner after the other.

Time goes in steps. A part may run until its limit; wear that a draw decides may end its life before. An
inspection at a visit sees wear that has few steps left (a finding within limits, with the steps it may still
run) and nothing of wear further off. A part at the end of its limit or wear must be replaced: the engine
comes in for it. Whoever plans decides what else goes at that visit. The clairvoyant planner knows every draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from heapq import heappop, heappush
from itertools import combinations

import numpy as np

from spoolwright.core.planning.visits import LifedPart, visit_plan

STEPS = 30
SEEN = 4
"""Wear with so many steps left, or fewer, is a finding."""
MODULES = (0, 0, 1, 1, 2)
LIMITS = (6, 10, 8, 14, 11)
WEAR = ((3.0, 11.0), (2.2, 14.0), (2.5, 9.0), (3.0, 17.0), (2.0, 15.0))
"""Weibull shape and scale of wear, in steps."""
TABLES = {
    "visit dear": (40.0, (6.0, 5.0, 4.0), (4.0, 6.0, 5.0, 8.0, 6.0)),
    "opening dear": (8.0, (24.0, 20.0, 16.0), (4.0, 6.0, 5.0, 8.0, 6.0)),
    "parts dear": (10.0, (5.0, 4.0, 3.0), (14.0, 24.0, 18.0, 30.0, 22.0)),
}
"""Money of a visit, of opening each module, of each part."""
Planner = Callable[["State", "Costs"], frozenset[int]]


@dataclass(frozen=True)
class Costs:
    """A cost table."""

    visit: float
    opening: tuple[float, ...]
    parts: tuple[float, ...]

    def of(self, chosen: frozenset[int]) -> float:
        """A visit at which these parts are replaced."""
        opened = {MODULES[i] for i in chosen}
        return self.visit + sum(self.opening[m] for m in opened) + sum(self.parts[i] for i in chosen)


@dataclass(frozen=True)
class State:
    """What a planner sees at a visit: steps to the end, steps left by limit and by a finding, ages."""

    to_go: int
    by_limit: tuple[int, ...]
    by_finding: tuple[int | None, ...]
    ages: tuple[int, ...]

    @property
    def forced(self) -> frozenset[int]:
        return frozenset(
            i for i, (a, b) in enumerate(zip(self.by_limit, self.by_finding, strict=True)) if a == 0 or b == 0
        )

    @property
    def findings(self) -> frozenset[int]:
        return frozenset(i for i, b in enumerate(self.by_finding) if b is not None)


@dataclass(frozen=True)
class Engine:
    """An engine's draws: life by wear of each successive part in each place, and ages at the beginning."""

    wear: np.ndarray
    ages: tuple[int, ...]

    def left(self, place: int, number: int, age: int) -> int:
        """Steps that a part may still run, limit and wear."""
        return min(LIMITS[place], int(self.wear[place, number])) - age


def draw_engine(rng: np.random.Generator) -> Engine:
    """Every part's wear, and an engine in the middle of its life."""
    shape, scale = np.array(WEAR).T
    wear = np.maximum(np.rint(scale[:, None] * rng.weibull(shape[:, None], (len(LIMITS), STEPS + 2))), 1)
    ages = [int(rng.integers(0, min(limit, int(wear[i, 0])) + 1)) for i, limit in enumerate(LIMITS)]
    return Engine(wear.astype(int), tuple(ages))


def live(engine: Engine, costs: Costs, planner: Planner) -> tuple[float, int, int]:
    """An engine's years: money, visits, and how often a part ran beyond its limit or wear."""
    ages, numbers = list(engine.ages), [0] * len(LIMITS)
    money, visits, over = 0.0, 0, 0
    for step in range(STEPS):
        left = [engine.left(i, n, a) for i, (n, a) in enumerate(zip(numbers, ages, strict=True))]
        if min(left) <= 0:
            worn = [int(engine.wear[i, n]) - a for i, (n, a) in enumerate(zip(numbers, ages, strict=True))]
            state = State(
                STEPS - step,
                tuple(limit - a for limit, a in zip(LIMITS, ages, strict=True)),
                tuple(w if w <= SEEN else None for w in worn),
                tuple(ages),
            )
            chosen = planner(state, costs)
            money, visits = money + costs.of(chosen), visits + 1
            for i in chosen:
                ages[i], numbers[i] = 0, numbers[i] + 1
            left = [engine.left(i, n, a) for i, (n, a) in enumerate(zip(numbers, ages, strict=True))]
        over += min(left) <= 0
        ages = [a + 1 for a in ages]
    return money, visits, over


def forced_only(state: State, _costs: Costs) -> frozenset[int]:
    """Only what limits force."""
    return state.forced


def all_findings(state: State, _costs: Costs) -> frozenset[int]:
    """What limits force, and every finding."""
    return state.forced | state.findings


@cache
def _life(place: int, age: int) -> int:
    """Whole steps that a part of an age may be expected to run on, no wear seen: the median."""
    shape, scale = WEAR[place]
    seen_none = age + SEEN if age else 0
    median = scale * ((seen_none / scale) ** shape + np.log(2.0)) ** (1.0 / shape)
    return int(min(LIMITS[place], max(median, seen_none + (1 if age else 0)))) - age


def planned(state: State, costs: Costs) -> frozenset[int]:
    """The first visit of the plan over all steps to come, with lives as they are expected."""
    parts = []
    for i, (limit, finding, age) in enumerate(zip(state.by_limit, state.by_finding, state.ages, strict=True)):
        left = min(limit, finding if finding is not None else max(_life(i, age), 1))
        parts.append(LifedPart(MODULES[i], left, max(_life(i, 0), 1), costs.parts[i]))
    plan = visit_plan(parts, state.to_go, np.array(costs.opening), costs.visit, coming_now=True)
    return frozenset(int(i) for i in np.flatnonzero(plan.replace[:, 0]))


def clairvoyant(engine: Engine, costs: Costs) -> float:
    """The least money with every draw known, among all planners that act when the engine comes in.

    Best-first search over visits; what is still to be paid at least is bounded by each part run to its ends.
    """
    places = range(len(LIMITS))

    @cache
    def times(i: int, end: int, number: int) -> int:
        """How often a part must still be replaced at least."""
        return 0 if end >= STEPS else 1 + times(i, end + engine.left(i, number + 1, 0), number + 1)

    def bound(ends: tuple[int, ...], numbers: tuple[int, ...]) -> float:
        n = [times(i, ends[i], numbers[i]) for i in places]
        opened = [max(n[i] for i in places if MODULES[i] == m) for m in range(len(costs.opening))]
        parts = sum(c * k for c, k in zip(costs.parts, n, strict=True))
        return parts + sum(o * k for o, k in zip(costs.opening, opened, strict=True)) + costs.visit * max(n)

    begin = (tuple(engine.left(i, 0, a) for i, a in enumerate(engine.ages)), (0,) * len(LIMITS))
    paid, waiting = {begin: 0.0}, [(bound(*begin), 0.0, begin)]
    while True:
        _, so_far, state = heappop(waiting)
        ends, numbers = state
        due = min(ends)
        if due >= STEPS:
            return so_far
        if so_far > paid[state]:
            continue
        forced = frozenset(i for i in places if ends[i] <= due)
        rest = [i for i in places if i not in forced]
        for chosen in (forced.union(m) for k in range(len(rest) + 1) for m in combinations(rest, k)):
            after = tuple(n + (i in chosen) for i, n in enumerate(numbers))
            then = tuple(due + engine.left(i, after[i], 0) if i in chosen else ends[i] for i in places)
            total, new = so_far + costs.of(chosen), (then, after)
            if total < paid.get(new, np.inf):
                paid[new] = total
                heappush(waiting, (total + bound(then, after), total, new))
