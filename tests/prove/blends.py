"""Blend plans: fewest blades replaced, against trying every choice; 72 blades in seconds

The stages are drawn by tests/reference/stage_blends.py, which tries every choice of blades that go and asks
the judge of the limits anew for each; the planner is not asked.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))
from stage_blends import best_by_trying, left_of, stage_of, unbalance_of

from spoolwright.crafts.inspection.blend_plan import plan_blends

SMALL = 200
LARGE = 30
SECONDS = 2.0
CLAIM = """
On 200 drawn stages of 12 blades with 7 damaged (counts, neighbours, spacing, chord left, earlier blends,
balance) the plan replaces as few blades as the best of all choices and leaves as little unbalance; nothing
that a plan leaves is outside limits; a stage of 72 blades, 14, 36 or all of them damaged, is planned in 2 s.
"""
Report = Callable[[int, int], None]


def run(progress: Report) -> dict[str, Any]:
    """Everything, none dropped."""
    total = SMALL + LARGE
    more = worse = outside = 0
    for seed in range(SMALL):
        stage = stage_of(seed)
        found, best = plan_blends(stage), best_by_trying(stage)
        assert found is not None and best is not None
        more += len(found.plan.replace) != best[0]
        worse += abs(1e6 * found.plan.unbalance - best[1]) > 1e-6
        outside += unbalance_of(left_of(stage, frozenset(found.plan.replace))) is None
        progress(seed + 1, total)
    slowest = 0.0
    for seed in range(LARGE):
        stage = stage_of(seed, blades=72, damaged=(14, 36, 72)[seed % 3])
        start = time.perf_counter()
        found = plan_blends(stage)
        slowest = max(slowest, time.perf_counter() - start)
        assert found is not None
        outside += unbalance_of(left_of(stage, frozenset(found.plan.replace))) is None
        progress(SMALL + seed + 1, total)
    measured = {
        "stages whose plan replaces more or fewer blades than the best of all choices": f"{more} of {SMALL}",
        "stages whose plan leaves another unbalance": f"{worse} of {SMALL}",
        "plans that leave something outside limits": f"{outside} of {total}",
        "slowest plan of 72 blades": f"{slowest:.2f} s",
    }
    holds = more == worse == outside == 0 and slowest <= SECONDS
    return {"claim": " ".join(CLAIM.split()), "measured": measured, "cases": total, "holds": holds}
