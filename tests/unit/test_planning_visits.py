"""Replacements over coming visits against dynamic programming over every state."""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest

from spoolwright.core.planning.visits import LifedPart, VisitPlan, visit_plan
from spoolwright.errors import RangeError

CASES = 15
"""Random cases here; `make prove ONLY=planning` runs 200."""


def random_case(rng: np.random.Generator) -> tuple[list[LifedPart], int, np.ndarray, float]:
    """Two to four parts in up to three modules over 5 to 9 steps."""
    modules = int(rng.integers(1, 4))
    parts = []
    for _ in range(int(rng.integers(2, 5))):
        life = int(rng.integers(1, 6))
        left, cost = int(rng.integers(0, life + 1)), float(rng.uniform(1.0, 10.0))
        parts.append(LifedPart(int(rng.integers(0, modules)), left, life, cost))
    return parts, int(rng.integers(5, 10)), rng.uniform(0.0, 8.0, modules), float(rng.uniform(0.0, 25.0))


def least_cost(
    parts: list[LifedPart], steps: int, opening: np.ndarray, visit: float, coming_now: bool
) -> float:
    """The cheapest plan by recursion: at each step every set of parts that may be replaced."""

    @cache
    def from_step(step: int, left: tuple[int, ...]) -> float:
        if step == steps:
            return 0.0
        best = np.inf
        for chosen in product((False, True), repeat=len(parts)):
            if any(not yes and left[i] <= 0 for i, yes in enumerate(chosen)):
                continue
            cost = sum(p.cost for p, yes in zip(parts, chosen, strict=True) if yes)
            cost += sum(opening[m] for m in {p.module for p, y in zip(parts, chosen, strict=True) if y})
            cost += visit if any(chosen) and not (coming_now and step == 0) else 0.0
            after = tuple((p.life if y else n) - 1 for p, y, n in zip(parts, chosen, left, strict=True))
            best = min(best, cost + from_step(step + 1, after))
        return best

    return float(from_step(0, tuple(p.left for p in parts)))


def kept(plan: VisitPlan, parts: list[LifedPart], steps: int) -> bool:
    """No part runs beyond its life, and whatever is replaced has its module open at a visit."""
    for i, p in enumerate(parts):
        left = p.left
        for t in range(steps):
            if plan.replace[i, t]:
                left = p.life
                if not (plan.opened[p.module, t] and plan.visits[t]):
                    return False
            elif left <= 0:
                return False
            left -= 1
    return True


def test_programme_equals_dynamic_programming() -> None:
    rng = np.random.default_rng(5101)
    for n in range(CASES):
        parts, steps, opening, visit = random_case(rng)
        plan = visit_plan(parts, steps, opening, visit, coming_now=n % 2 == 0)
        assert plan.gap == 0.0
        assert plan.cost == pytest.approx(least_cost(parts, steps, opening, visit, n % 2 == 0), rel=1e-9)
        assert kept(plan, parts, steps)


def test_a_visit_is_worth_an_early_replacement() -> None:
    """Lives 4 and 5 over 8 steps: an expensive visit makes both go together, a cheap one does not."""
    parts = [LifedPart(0, 4, 4, 1.0), LifedPart(1, 5, 5, 1.0)]
    dear = visit_plan(parts, 8, np.zeros(2), 50.0)
    cheap = visit_plan(parts, 8, np.zeros(2), 0.0)
    assert int(dear.visits.sum()) == 1 and dear.replace[:, 4].all()
    assert cheap.cost == 2.0


def test_lives_that_cannot_be_kept() -> None:
    with pytest.raises(RangeError, match="at least one step"):
        visit_plan([LifedPart(0, 0, 0, 1.0)], 4, np.zeros(1), 1.0)
    with pytest.raises(RangeError, match="at least one step"):
        visit_plan([], 4, np.zeros(1), 1.0)
