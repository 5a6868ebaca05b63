"""The plan of a stage against trying every choice of blades to blend."""

from __future__ import annotations

import cmath
import math
from itertools import product

import numpy as np
import pytest

from spoolwright.core.planning.stage import DamagedBlade, StageLimits, stage_plan
from spoolwright.errors import RangeError

TIP = frozenset({"tip"})
CASES = 15
"""Random stages here; `make prove ONLY=planning` runs 200."""


def random_stage(rng: np.random.Generator) -> tuple[list[DamagedBlade], StageLimits]:
    """Up to ten damaged blades of 12 to 40 under two lines; counts, neighbours, balance, earlier blends."""
    blades = int(rng.integers(12, 41))
    places = rng.choice(blades, int(rng.integers(2, 11)), replace=False) + 1
    lines = (frozenset({"a"}), frozenset({"b"}), frozenset({"a", "b"}))
    damaged = [
        DamagedBlade(
            int(n), None if rng.random() < 0.15 else float(rng.uniform(1e-6, 2e-5)), lines[rng.integers(3)]
        )
        for n in places
    ]
    free = [n for n in range(1, blades + 1) if n not in set(places)]
    carried = tuple(("a", int(n)) for n in rng.choice(free, int(rng.integers(0, 3)), replace=False))
    standing = sum(2e-6 * cmath.exp(2j * math.pi * n / blades) for _, n in carried)
    limits = StageLimits(
        blades,
        float(rng.uniform(1e-5, 4e-5)),
        {"a": int(rng.integers(2, 7)), "b": int(rng.integers(1, 5))},
        frozenset({"a"} if rng.random() < 0.5 else {"a", "b"}),
        carried,
        complex(standing),
    )
    return damaged, limits


def left_over(blend: tuple[DamagedBlade, ...], limits: StageLimits) -> float:
    """Unbalance that blends leave: metal is taken away, so each counts opposite to its blade."""
    vectors = [
        (b.unbalance or 0.0) * cmath.exp(2j * math.pi * (b.number - 1) / limits.blades + 1j * math.pi)
        for b in blend
    ]
    return abs(limits.standing + sum(vectors))


def allowed(blend: tuple[DamagedBlade, ...], limits: StageLimits) -> bool:
    for line, most in limits.most.items():
        mine = sum(line in b.lines for b in blend)
        if mine and mine + sum(name == line for name, _ in limits.carried) > most:
            return False
    for line in limits.apart:
        new = {b.number for b in blend if line in b.lines}
        every = new | {n for name, n in limits.carried if name == line}
        if any((a - b) % limits.blades in (1, limits.blades - 1) for a in new for b in every):
            return False
    return left_over(blend, limits) <= limits.unbalance * (1.0 + 1e-9)


def best_by_trying(damaged: list[DamagedBlade], limits: StageLimits) -> tuple[int, float] | None:
    """Most blends, then least unbalance."""
    free = [b for b in damaged if b.unbalance is not None]
    found = []
    for chosen in product((False, True), repeat=len(free)):
        blend = tuple(b for b, yes in zip(free, chosen, strict=True) if yes)
        if allowed(blend, limits):
            found.append((-len(blend), left_over(blend, limits)))
    return min(found, default=None)


def fault(damaged: list[DamagedBlade], limits: StageLimits) -> str:
    """Where the plan differs from trying every choice; empty: nowhere."""
    tried = best_by_trying(damaged, limits)
    if tried is None:
        with pytest.raises(RangeError):
            stage_plan(damaged, limits)
        return ""
    plan = stage_plan(damaged, limits)
    by_number = {b.number: b for b in damaged}
    blend = tuple(by_number[n] for n in plan.blend)
    if sorted([*plan.blend, *plan.replace]) != sorted(by_number) or not allowed(blend, limits):
        return f"a plan outside limits: {plan}"
    if len(blend) != -tried[0] or not math.isclose(plan.unbalance, tried[1], rel_tol=1e-9, abs_tol=1e-15):
        return f"{len(blend)} blends leave {plan.unbalance}, but {tried}"
    if not math.isclose(plan.unbalance, left_over(blend, limits), rel_tol=1e-9, abs_tol=1e-15):
        return "the unbalance is not that of its blends"
    return ""


def test_plan_equals_trying_every_choice() -> None:
    rng = np.random.default_rng(5201)
    for _ in range(CASES):
        assert fault(*random_stage(rng)) == ""


def test_blends_opposite_each_other_balance() -> None:
    """Two like blends at 0 and 180 degrees leave nothing; one alone leaves its own, opposite its blade."""
    limits = StageLimits(20, 5e-6, {"tip": 4})
    both = stage_plan([DamagedBlade(1, 1e-5, TIP), DamagedBlade(11, 1e-5, TIP)], limits)
    assert both.blend == (1, 11) and both.unbalance == pytest.approx(0.0, abs=1e-18)
    one = stage_plan([DamagedBlade(1, 4e-6, TIP)], limits)
    assert one.unbalance == pytest.approx(4e-6) and one.heavy_spot == pytest.approx(math.pi)


def test_earlier_blends_that_leave_too_much() -> None:
    limits = StageLimits(20, 1e-6, {"tip": 4}, standing=5e-6 + 0j)
    with pytest.raises(RangeError, match="carries already"):
        stage_plan([DamagedBlade(5, 1e-9, TIP)], limits)
