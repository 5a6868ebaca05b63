"""The plan of a stage's blends against trying every choice; 200 stages of the same kind in `make prove`."""

from __future__ import annotations

import pytest
from stage_blends import best_by_trying, stage_of

from spoolwright.crafts.inspection.blend_plan import plan_blends


@pytest.mark.parametrize("seed", range(1000, 1016))
def test_no_choice_of_blades_is_better(seed: int) -> None:
    """As few blades go as in the best of all choices, and as little unbalance is left."""
    stage = stage_of(seed, damaged=6)
    found, best = plan_blends(stage), best_by_trying(stage)
    assert found is not None and best is not None
    assert len(found.plan.replace) == best[0]
    assert 1e6 * found.plan.unbalance == pytest.approx(best[1], abs=1e-6)
    assert found.waits == ()
