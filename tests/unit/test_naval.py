"""A small slice of the proof on the open naval data set, where the set is at hand.

The bounds are the errors of a linear fit as the set's notes give them; see `tests/prove/naval.py`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "prove"))
import naval

pytestmark = pytest.mark.skipif(naval.absent() is not None, reason=str(naval.absent()))


@pytest.fixture(scope="module")
def slice_() -> naval.Trial:
    return naval.trial(0.0025, range(1, 2), 2, lambda: None, every_nth=4)


def test_no_coefficient_of_a_tested_state_was_seen() -> None:
    rows = naval.states()
    for fold in range(naval.FOLDS):
        seen, unseen = naval.split(rows, fold)
        assert len(unseen) >= 50
        for column in (16, 17):
            assert not set(seen[:, 0, column]) & set(unseen[:, 0, column])


def test_unseen_states_are_estimated_better_than_by_the_linear_fit(slice_: naval.Trial) -> None:
    assert np.all(slice_.whole.rms <= naval.GIVEN[0.0025])
    assert np.all(slice_.whole.rms < 0.8 * np.sqrt(np.mean(slice_.fit**2, axis=0)))


def test_stated_intervals_hold(slice_: naval.Trial) -> None:
    count = len(slice_.fit)
    for scored in (slice_.whole, slice_.top):
        for share in naval.SHARES:
            low, high = stats.binom.interval(0.999, count, share)
            held = scored.held(share) * count
            assert np.all((low <= held) & (held <= high)), (share, held)
