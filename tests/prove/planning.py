"""Planning: stages, scopes and visits against trying everything; simulated years under three cost tables

Oracles are arithmetic of the tests' own: every choice of blades (tests/unit/test_planning_stage.py), every
choice of options (test_planning_scope.py), dynamic programming over every state (test_planning_visits.py).
The simulated years are in _planning_years.py. Times are processor time of one core.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))

import test_planning_scope as scopes
import test_planning_stage as stages
import test_planning_visits as visits
from _planning_years import (
    TABLES,
    Costs,
    all_findings,
    clairvoyant,
    draw_engine,
    forced_only,
    live,
    planned,
)

from spoolwright.core.planning.stage import DamagedBlade, StageLimits, stage_plan
from spoolwright.core.planning.visits import LifedPart, VisitPlan, visit_plan

EACH = 200
LARGE_STAGES, LARGE_PLANS = 10, 8
VISITS = 300
STAGE_SECONDS, PLAN_SECONDS = 2.0, 60.0
CLAIM = """
Blend plan, work scope and visits planner equal trying everything on 200 small cases each. A stage of 72
blades takes 2 s at most. Plans of 20 parts in one to five modules over 40 steps are proved best (gap 0)
within 60 s of one core. In simulated years of 300 visits the planner's regret against a clairvoyant one is
below that of 'repair all findings' and of 'only what limits force' under each of three cost tables, and no
part is ever left in beyond its limit.
"""
Report = Callable[[int, int], None]


def run(progress: Report) -> dict[str, Any]:
    """Everything, none dropped."""
    total, done = 3 * EACH + LARGE_STAGES + LARGE_PLANS + len(TABLES) * VISITS, 0

    def tick(n: int = 1) -> None:
        nonlocal done
        done = min(done + n, total)
        progress(done, total)

    differ = {"stages": _stages(tick), "scopes": _scopes(tick), "visits": _visits(tick)}
    slowest = _large_stages(tick)
    gap, longest = _large_plans(tick)
    measured: dict[str, object] = {
        f"small {name} that differ from trying everything": f"{n} of {EACH}" for name, n in differ.items()
    }
    measured["72 blades, all damaged: slowest"] = f"{slowest:.2f} s"
    measured["20 parts, 40 steps: largest gap"] = f"{gap:.1e}"
    measured["20 parts, 40 steps: slowest"] = f"{longest:.1f} s"
    holds = not any(differ.values()) and slowest <= STAGE_SECONDS and gap == 0.0 and longest <= PLAN_SECONDS
    for name, table in TABLES.items():
        regrets, over, came = _years(Costs(*table), tick)
        words = ("planner", "repair all findings", "only what limits force")
        told = ", ".join(f"{w} {100 * r:.1f} %" for w, r in zip(words, regrets, strict=True))
        measured[f"regret in {came} visits, {name}"] = told
        measured[f"parts left in beyond their limit, {name}"] = over
        holds = holds and over == 0 and regrets[0] < min(regrets[1:])
    return {"claim": " ".join(CLAIM.split()), "measured": measured, "cases": total, "holds": holds}


def _stages(tick: Callable[[], None]) -> int:
    rng, wrong = np.random.default_rng(5401), 0
    for _ in range(EACH):
        wrong += bool(stages.fault(*stages.random_stage(rng)))
        tick()
    return wrong


def _scopes(tick: Callable[[], None]) -> int:
    rng, wrong = np.random.default_rng(5402), 0
    for _ in range(EACH):
        wrong += bool(scopes.faults(scopes.random_case(rng), rng))
        tick()
    return wrong


def _visits(tick: Callable[[], None]) -> int:
    rng, wrong = np.random.default_rng(5403), 0
    for n in range(EACH):
        parts, steps, opening, visit = visits.random_case(rng)
        plan = visit_plan(parts, steps, opening, visit, coming_now=n % 2 == 0)
        least = visits.least_cost(parts, steps, opening, visit, n % 2 == 0)
        same = abs(plan.cost - least) <= 1e-9 * max(1.0, least)
        wrong += not (same and plan.gap == 0.0 and visits.kept(plan, parts, steps))
        tick()
    return wrong


def _large_stages(tick: Callable[[], None]) -> float:
    """Every one of 72 blades damaged, two lines, counts, neighbours, a narrow balance."""
    rng, slowest = np.random.default_rng(5404), 0.0
    for _ in range(LARGE_STAGES):
        damaged = [
            DamagedBlade(n, float(rng.uniform(1e-6, 2e-5)), frozenset({str(rng.choice(["a", "b"]))}))
            for n in range(1, 73)
        ]
        most = {"a": int(rng.integers(6, 20)), "b": int(rng.integers(6, 20))}
        limits = StageLimits(72, float(rng.uniform(2e-6, 2e-5)), most, frozenset({"a"}))
        began = time.process_time()
        stage_plan(damaged, limits)
        slowest = max(slowest, time.process_time() - began)
        tick()
    return slowest


def _large_plans(tick: Callable[[], None]) -> tuple[float, float]:
    """Twenty parts in one to four modules, lives of 6 to 30 steps; the last two: five modules, 5 to 19."""
    gap = longest = 0.0
    for seed in range(LARGE_PLANS):
        rng = np.random.default_rng(5500 + seed)
        hard = seed >= LARGE_PLANS - 2
        modules = 5 if hard else 1 + seed % 4
        lives = rng.integers(5, 20, 20) if hard else rng.integers(6, 31, 20)
        parts = [
            LifedPart(
                int(rng.integers(0, modules)), int(rng.integers(0, n + 1)), int(n), float(rng.uniform(1, 10))
            )
            for n in lives
        ]
        began = time.process_time()
        plan: VisitPlan = visit_plan(
            parts, 40, rng.uniform(1.0, 8.0, modules), float(rng.uniform(5.0, 30.0)), seconds=240.0
        )
        longest = max(longest, time.process_time() - began)
        gap = max(gap, plan.gap if visits.kept(plan, parts, 40) else 1.0)
        tick()
    return gap, longest


def _years(costs: Costs, tick: Callable[[int], None]) -> tuple[list[float], int, int]:
    """Regrets of the three planners, parts beyond their limit, visits of the planner."""
    rng, money, best, over, came = np.random.default_rng(5405), np.zeros(3), 0.0, 0, 0
    while came < VISITS:
        engine = draw_engine(rng)
        best += clairvoyant(engine, costs)
        lived = [live(engine, costs, planner) for planner in (planned, all_findings, forced_only)]
        money += [m for m, _, _ in lived]
        over += sum(o for _, _, o in lived)
        came += lived[0][1]
        tick(lived[0][1])
    return [float(m / best - 1.0) for m in money], over, came
